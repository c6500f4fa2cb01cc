"""From settings to written files: one file per stage, in the order in which they run.

- project: a folder with its settings, its results and the machine it runs on
- samples: the made-up reef and the first plan.toml
- skip: what was written before, whether it was edited, and which stages may be left out
- places: sites, named places, nursery and harbour of a plan
- fields: what criteria read, per block
- keep_clear: seagrass, heritage, cables, anchorages, the coast: read, kept, kept clear of
- layers: stage 1, every file on one grid
- score: stage 2, a score per species and cell
- bottoms: the bottom of one candidate as the layout sees it
- plotting: plots and bundled points on one bottom
- capacities: what a candidate holds
- candidates: stage 3, patches of passing cells and what they offer
- given: results that a person edited
- choose: stage 4, which sites to work at
- allocate: stage 5, who gets which genets
- place: stage 6, where each unit stands
- responses: how well each cell suits each criterion
- map_scene: everything the map shows
- warm: kernels compiled beside the first stages
- export: stage 7, the files people read
- stages: the list, and the run
- explore: the page on which planners try weights
- report: what `check` and a run print
- api: the commands as functions, for scripts and notebooks
"""
