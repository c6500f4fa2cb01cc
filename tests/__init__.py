"""Tests: a folder per room; `python -m tests.bench` measures."""
