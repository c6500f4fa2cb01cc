"""Places that people name, and who plants what where.

- codes: a site's code, given to a point or a polygon, meets the candidate that holds it
- allocate: the stock handed out to the sites
"""
