"""What is worked out from the layers: numbers in, numbers out.

- windows: sums over discs and rings, exact
- gradient: slopes to the east and south, their angles
- ruggedness: how much unit normals disagree
- position: above or below the surroundings
- terrain: slope, aspect, ruggedness, position index
- distance: to the nearest marked cell
"""
