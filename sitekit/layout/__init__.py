"""Where each unit stands: separation, the bound, plots along tape lines, genets side by side, numbers.

- tape: along and offset beside a line between two pins
- readings: what a diver reads off the tape, in steps of 0.1 m, with the separation kept
- neighbours: like neighbours, the nearest like and unlike unit, what cannot be avoided
- genets: exact counts, each plot its own mix, unlike genets side by side
"""
