"""From settings to written files: one file per stage, in the order in which they run.

- project: a folder with its settings, its results and the machine it runs on
- samples: the made-up reef and the first plan.toml
- skip: what was written before, whether it was edited, and which stages may be left out
- layers: stage 1, every file on one grid
- fields: what criteria read, per block
- score: stage 2, a score per species and cell
- candidates: stage 3, patches of passing cells and what they offer
- choose: stage 4, which sites to work at
- allocate: stage 5, who gets which genets
- place: stage 6, where each unit stands
- export: stage 7, the files people read
- stages: the list, and the run
- report: what `check` prints before a run
"""
