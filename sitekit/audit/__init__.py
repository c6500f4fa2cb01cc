"""The written files against the promises: read again, with none of the code that made them.

- promises: one finding per promise, with its figure
- written: the files of a run as a stranger would read them
- inputs_again: the team's own files, asked again at single places
- looks_again: what scouting divers brought back, asked again
- files_whole: hashes, missing and foreign files, settings and inputs since the run
- spacing_kept: every pair of units on the ellipsoid
- plots_kept: plots apart, pinned, read off right
- places_allowed: candidates, forbidden areas, bottom, depth, score
- positions_agree: the same places, rows and outlines in every file
- counts_agree: counts, sequence numbers, tags, genets, stock
- living_again: the lists of living colonies, asked again
- clearances_kept: living colonies and edges, planned on paper
- public_kept: living colonies listed exactly or coarsened, as the plan says
- permits_kept: caps, areas, dates, regions and methods of permits; corners of work areas; what is kept clear of
- choice_kept: budget, numbers, distances, genets and sums of the choice of sites
- answers_kept: go/no-go answers, scout forms, unplanted areas, ranks
- divers_kept: pins in receiver files, units on dives, minutes, fragments
- planted_kept: units as planted, dives beside them, counts of what lives
- plan: every finding of a project
"""
