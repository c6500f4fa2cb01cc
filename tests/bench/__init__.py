"""Benches: `python -m tests.bench NAME [--short]`; each file has `main(short: bool)`."""
