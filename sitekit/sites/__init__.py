"""Places that people name, and who plants what where.

- codes: a site's code, given to a point or a polygon, meets the candidate that holds it
- scout: the scout's form and what came back
- questions: go/no-go answers and what they come to
- sea_distance: routes by sea around land
- cost: dives, boat days and money by rates that the team types
- survival: the share of units alive, by a curve of the user's with its source
- spread: which candidates lie too near each other
- problem: what a choice is about: candidates, limits, an answer
- program: the choice as a whole-number program, solved by HiGHS
- choose: the most that all limits allow: summed suitability, or units alive by the user's curve
- alternatives: next-best choices, gain against budget, the limit that binds
- controls: unplanted areas to compare with
- allocate: the stock handed out to the sites
- work_areas: plots with the error of their pins, in few corners, no unit cut off
- rules: which protected areas and constraints a work area meets; the strictest decides
- sections: where a section view is cut
"""
