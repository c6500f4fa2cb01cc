"""What knows no reef: numbers, places, files.

- units: exact factors to metres, square metres, degrees Celsius
- crs: coordinate systems, the best UTM zone, how much its metres are stretched
- geodesy: distances, bearings, areas on the ellipsoid
- north: true, grid and magnetic
- notation: positions written as DD, DDM, DMS
- positions: positions read from text
- files: written beside and renamed, hashed
- sources: the shared folder, wherever it was installed, and its citations
- wording: words and lengths printed for people, in the plan's language and units
- tables: columns of every table, checked on each read and write
- compile_cache: where compiled kernels are kept
- compiled: the one door to numba
- elementary: arc tangent, logarithm, power of two, the same bits everywhere
"""
