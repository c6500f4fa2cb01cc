"""Benches: `python -m tests.bench NAME [--short]`; `main(short)` of each file prints and returns its figures."""
