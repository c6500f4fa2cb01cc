"""What the nursery holds: checked rows, gates for size and health, and the mix of genets.

- inventory: rows of the stock list, every fault at once, and the size and health gate
- diversity: genets, evenness, share of alleles, and whole numbers that add up
"""
