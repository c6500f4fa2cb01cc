"""What knows no reef: numbers, places, files.

- files: written beside and renamed, hashed
- sources: the shared folder, wherever it was installed, and its citations
- tables: columns of every table, checked on each read and write
- compiled: the one door to numba
- elementary: arc tangent, logarithm, power of two, the same bits everywhere
"""
