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
- open_water: what lies beyond the grid
- waves: exposure of every cell
- shelter: how a site lies to each wind
- light: share of surface light at the bottom
- climatology: monthly means and the warmest of them
- heat: degree heating weeks and alerts
"""
