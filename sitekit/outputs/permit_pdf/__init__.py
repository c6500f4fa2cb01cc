"""The permit packet: drawings to scale in black ink, tables, the same as text; everything it prints is given to it.

- packet: what the sheets show, already worked out
- window: a piece of sea floor on a piece of paper, at a round scale
- symbols: how each thing is drawn, told apart without colour, and the legend
- chart: graticule, contours, areas and marks of one map
- section_view: the charted depths along a cut, with water lines and heights of units
- site_sheet: plan view, norths, corners and section of a site
- vicinity_sheet: the coast, the harbour and all work areas
- table_sheets: tables, schedule, cautions and open items
- amendment_sheet: old and new outlines and what changed
- write: all sheets into one file
- as_text: the tables and texts of the packet as files for forms
- shapes: work areas for other programs
"""
