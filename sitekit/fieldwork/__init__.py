"""Gas, bottom time, materials and days: plain rates typed in by the team, and the arithmetic of a day's work.

Planning aid only: no decompression or repetitive-dive advice is computed here. The dive supervisor, the team's own
tables, computers and manual, and local rules decide.

- gas: what a cylinder gives at a depth, and the pressure at which to leave
- bottom_time: published no-stop tables as data, and the shorter of gas and table
- calendar: which dates may be worked on, and the tide on them
- weather: the team's own limits, and leeward places
- work: what a plot asks for, cut into dives
- harvest: which fragments to take from which structure, into which crate
- days: a queue of work laid into days
- materials: adhesive, nails, ties, tags
- visits: the order of a boat, names a receiver keeps, bearings as a compass is read
- segments: counts per genet and stretch of tape, for sheets that guide
"""
