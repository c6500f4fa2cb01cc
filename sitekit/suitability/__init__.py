"""How well a cell suits a species, and why.

- curves: value to response
- weights: given, ranked, or from pairwise judgements
- judgements: weights of named criteria, and how they came about
- criteria: what counts, and the sets that ship
- exclusions: what rules a cell out, and the code that says why
- score: responses combined, limiting criterion, unknown weight
- terms: responses turned so that a score is a weighted sum
- explain: why one cell has the score it has
- draws: weights drawn around the chosen ones
- stability: how often a cell is among the best
- sensitivity: whether a ranking holds, and what each criterion changes alone
- candidates: passing cells joined into patches
"""
