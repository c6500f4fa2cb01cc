"""One chromium for all tests of pages."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = Path("/usr/bin/chromium")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Debian's chromium, opened once."""
    if not CHROMIUM.exists():
        pytest.skip("chromium is not installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture
def visit(browser: Any) -> Iterator[Callable[..., Any]]:
    """Open a file with the network cut; `page.said` and `page.asked` hold what it told and asked for."""
    contexts = []

    def show(path: Path, size: tuple[int, int], ready: str) -> Any:
        context = browser.new_context(viewport={"width": size[0], "height": size[1]})
        contexts.append(context)
        context.set_offline(True)
        page = context.new_page()
        page.said, page.asked = [], []
        page.on("console", lambda message: page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        page.on("request", lambda r: page.asked.append(r.url) if not r.url.startswith(("file:", "data:")) else None)
        page.goto(path.as_uri())
        page.wait_for_function(ready)
        return page

    yield show
    for context in contexts:
        context.close()
