"""Files for people and for other programs, written as given; a number that first appears here is a fault.

- vector: GeoJSON after RFC 7946
- tables: CSV that spreadsheets open without running anything
- gpx: pins for a boat's receiver
- kml: the same pins for a globe
- waypoints: the same pins in every notation
- paper: shared pieces of printed sheets, black ink, the same bytes every time
- dive_pdf: what a diver and a leader carry
- scout_pdf: the scout's form, its waypoints and the table to type into
- charts: rank ranges, and gain against budget, as SVG
- decision: the decision record as Markdown
- map_html: the plan as one page that opens without a network
- explore_page: a page on which planners try weights, one file
- permit_pdf: the permit packet, drawings to scale and tables
- map_sheet: the map on one printed page, to scale
"""
