"""What a user brings, made comparable.

- grid: square cells in one projected system
- tiled: rasters read and written by window
- blocks: rasters of any size, tile by tile, in threads
"""
