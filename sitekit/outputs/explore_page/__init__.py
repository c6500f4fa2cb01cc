"""A page on which planners try weights: one file, no server; a preview, only a run makes the plan.

- coding: responses in 10 bits, so that the page's scores agree with the run's
- scene: what the page is given
- pack: responses, exclusions and depths as one deflated block
- write: puts the page together
"""
