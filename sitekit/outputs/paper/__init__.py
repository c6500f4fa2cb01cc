"""Shared pieces of printed sheets: black ink, embedded fonts, text that fits its box, the same bytes every time.

Lengths are in points (1/72 inch) from the lower left corner of the sheet unless a name says otherwise.

- fonts: the two fonts, widths, line breaks, text that fits, scripts the font lacks
- pen: lines, outlines and text in black ink, and a memory of where text stands
- hatches: fills that survive a black-and-white copy
- book: sheets one by one, n of N, the same bytes
- frame: margins, title block, stamps, the 100 mm check line
- scales: round map scales, and scale bars in metres and feet
- norths: true, grid and magnetic north in one figure
- listing: tables over as many sheets as they need
"""
