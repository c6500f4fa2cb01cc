"""Pages made from shared data are up to date, and links lead somewhere."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import click
import pytest

from sitekit.cli.entry import root

ROOT = Path(__file__).resolve().parents[2]


def made_pages() -> dict[str, str]:
    spec = importlib.util.spec_from_file_location("make_pages", ROOT / "docs" / "make_pages.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return dict(module.pages())


@pytest.mark.parametrize("name", ["vocabulary.md", "sources.md", "tables.md", "bottom.md"])
def test_made_pages_are_up_to_date(name: str) -> None:
    """A page that lags behind its data misleads; run python docs/make_pages.py."""
    assert (ROOT / "docs" / name).read_text("utf-8") == made_pages()[name]


@pytest.mark.parametrize("page", sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")]), ids=lambda p: p.name)
def test_links_between_pages_lead_somewhere(page: Path) -> None:
    """A dead link ends a reader's search."""
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text("utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name} -> {target}"


def test_guides_call_commands_that_exist_and_show_pictures_that_are_small() -> None:
    """A reader types what stands there; a heavy picture keeps a guide from opening on a boat. Run docs/make_guides.py."""
    guides = sorted((ROOT / "docs").glob("guide-*.md"))
    assert len(guides) == 3
    shown: set[str] = set()
    for page in guides:
        text = page.read_text("utf-8")
        steps = re.findall(r"^## (\d+)\. ", text, re.MULTILINE)
        assert steps == [str(k) for k in range(1, 11)], page.name
        for line, after in re.findall(r"^\$ sitekit (.*)\n(.*)$", text, re.MULTILINE):
            words = re.findall(r'"[^"]*"|\S+', line)
            command = root.get_command(click.Context(root), words[0])
            if isinstance(command, click.Group):
                command = command.get_command(click.Context(command), words[1])
            assert command is not None, (page.name, line)
            known = {o for p in command.params for o in p.opts}
            assert {w for w in words if w.startswith("--")} <= known, (page.name, line)
            assert after != "```", f"{page.name}: no output below {line!r}"
        shown |= set(re.findall(r"\]\(pictures/([^)]+)\)", text))
    there = {p.name: p.stat().st_size for p in (ROOT / "docs" / "pictures").iterdir()}
    assert set(there) == shown
    assert max(there.values()) <= 120_000


def test_top_level_holds_the_agreed_list() -> None:
    """A stray file at the top hides the ones that matter."""
    agreed = {
        "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "sitekit", "data_samples", "tests", "notebooks",
        "docs", "shared",
    }  # fmt: skip
    made = {"demo-reef", "build", "dist"}  # what the two commands make, ignored by git
    found = {p.name for p in ROOT.iterdir() if not p.name.startswith(".") and not p.name.endswith(".egg-info")}
    assert found - made <= agreed
