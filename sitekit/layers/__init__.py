"""What a user brings, made comparable.

- grid: square cells in one projected system
- tiled: rasters read and written by window
- cluster: the same blocks on a cluster of workers
- blocks: rasters of any size, tile by tile, in threads
- vertical: sign, unit and datum of depths
- source_raster: a raster as somebody made it, read by window
- sampling: values of a source at the centres of grid cells
- aligned: what became of a source, with figures
- raster: rasters and polygons brought onto the grid
- polygons: outlines as somebody drew them
- substrate: bottom types mapped to the classes of the standard
- shapes: areas, lines and points as somebody drew them
- protected: areas with a rule each
- points: existing colonies
- sea_tables: wind, swell and tide as columns of numbers
- series: temperatures, daily or monthly, gaps told
"""
