"""Coming back to count what lives: when visits are due, what each unit's visits come to, and the share that lives.

Plain numbers. Units of one plot share its fate: every interval here treats them as independent and is too narrow for
a plot.

- schedule: when visits are due after planting
- histories: visits made into one row per unit: how long it was followed, and whether it died
- shares: a share with its interval, the difference of two, a share brought to a year
- curves: the share alive over time where some units were lost from sight, and whether groups differ
"""
