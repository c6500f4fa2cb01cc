"""What is worked out from the layers: numbers in, numbers out.

- windows: sums over discs and rings, exact
- gradient: slopes to the east and south, their angles
- ruggedness: how much unit normals disagree
- position: above or below the surroundings
- terrain: slope, aspect, ruggedness, position index
- distance: to the nearest marked cell
- tide: depth at a time
- fetch: open water upwind of every cell
- wind: tables of wind and of sea from outside, checked
- wave_theory: length, near-bed motion, breaking
- wave_growth: height and period from wind and fetch
- open_water: what lies beyond the maps
- way: what a wind meets before it reaches a cell
- arriving: the sea of each wind and swell at each cell
- at_bed: what it does at the depth of a cell
- waves: exposure of every cell of a small grid
- exposure: exposure of large grids, thinned
- shelter: how a site lies to each wind
- light: share of surface light at the bottom
- climatology: monthly means and the warmest of them
- heat: degree heating weeks and alerts
"""
