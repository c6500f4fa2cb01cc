"""Where each unit stands: separation, the bound, plots along tape lines, genets side by side, numbers.

- buckets: points kept apart, found again by place
- lattice: hexagonal lattices over one patch
- sweep: rows swept by exact contact
- renewal: small discs cleared and laid anew
- portfolio: the layouts that compete on one bottom
- spacing: as many points as fit, or the best N
- mixed: several species together, a separation per pair
- hulls: what convex pieces of bottom can hold
- rim: how much beyond the bottom must be counted along its edges
- bound: what no layout can beat
- capacity: how many units a bottom holds, beside its bound
- tape: along and offset beside a line between two pins
- readings: what a diver reads off the tape, in steps of 0.1 m, with the separation kept
- robustness: the share of plots displaced by the pin error that still stand on allowed bottom
- shelves: rectangles of one bearing, and the best straight shelves of them
- keep_off: what new plots keep clear of
- placing: rectangles of any bearing a gap apart, picked by quality
- exchange: room made by taking out one rectangle at a time and laying it elsewhere
- packing: as many plots as fit, or the wanted number of the best
- plots: rectangular plots along a tape line
- circles: circular plots around a pin
- slots: numbered slots inside a plot, bad ones skipped
- bundles: tape lines fitted to points that are placed already
- neighbours: like neighbours, the nearest like and unlike unit, what cannot be avoided
- genets: exact counts, each plot its own mix, unlike genets side by side
- routes: short ways from plot to plot, and the order in which a diver swims
- numbering: the only maker of plot names, sequence numbers and tags
"""
