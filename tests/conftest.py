"""What all tests share: hypothesis without a clock (a first call may compile), with the same examples every time.

The mark `few(n)` lets the first n cases of a test stand for the rest in the default suite; the others are slow.
"""

from collections import Counter

import pytest
from hypothesis import settings

settings.register_profile("sitekit", deadline=None, derandomize=True)
settings.load_profile("sitekit")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the cases beyond those that `few` keeps as slow."""
    seen: Counter[str] = Counter()
    for item in items:
        few = item.get_closest_marker("few")
        if few is None:
            continue
        test = item.nodeid.split("[")[0]
        seen[test] += 1
        if seen[test] > few.args[0]:
            item.add_marker(pytest.mark.slow)
