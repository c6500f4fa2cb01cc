"""What a diver and a leader carry: dive sheets, boat list, day plan; black ink, readable wet and at arm's length.

- scene: everything the pages show, as finished figures
- marks: QR codes, shapes for left and right, boxes to write in, foot of each page
- head: the head of a plot's page: pin, bearings, depths
- diagram: the tape with its units, to scale
- rows: the planter's and the recorder's tables
- guided: the planter's and the recorder's tables where the diver picks the spots
- front: cautions, emergency boxes, tasks, how to read a sheet, letters
- boat: the waypoint list and an overview of each site
- sheets: dive_sheets.pdf
- survey_sheets: survey_sheets.pdf, for those who come back
- days: day_plan.pdf
"""
