"""Makes again what the guides print and show, on a fresh demo. Run: python docs/make_guides.py.

A block that begins with `$ sitekit …` is run in order, in a folder of its own per guide, and its output put below it. A
comment above a block says what to keep: `<!-- keep: ^APAL | ^ACER -->` keeps lines that match one of the patterns (`…`
stands for the rest). `<!-- edit: old => new -->` changes plan.toml first; `<!-- write: FILE -->` writes the next block
to a file; `<!-- draw: NAME -->` draws a picture of what stands after the block. Needs
the extra `test` (pypdfium2, chromium). Blocks that begin with anything else are left alone.
"""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pypdfium2
from PIL import Image
from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
PICTURES = HERE / "pictures"
GUIDES = ("guide-planner.md", "guide-permit-writer.md", "guide-dive-leader.md")
PROJECT = "demo-reef"
MOST_BYTES = 120_000  # of a picture: a guide must open on a slow line
# a comment with an order, then a fenced block; a block alone is run too
_BLOCK = re.compile(r"((?:<!-- (?:keep|edit|write|draw): .*? -->\n)*)```(console|csv|toml)\n(.*?)```", re.DOTALL)
# picture: file in out/ or scout/, page (0 first) or window [px], part of the page (left, top, right, bottom as shares)
PDF_PICTURES = {
    "scout-form": ("scout/scout_forms.pdf", 0, (0, 0, 1, 1)),
    "map-sheet": ("out/map.pdf", 0, (0, 0, 1, 1)),
    "permit-vicinity": ("out/permit.pdf", 0, (0, 0, 1, 1)),
    "permit-site": ("out/permit.pdf", 1, (0, 0, 1, 1)),
    "day-plan": ("out/day_plan.pdf", 1, (0, 0, 1, 0.437)),
    "boat-list": ("out/dive_sheets.pdf", "PINS IN VISITING ORDER", (0, 0, 1, 0.392)),
    "site-overview": ("out/dive_sheets.pdf", "SITE OT", (0, 0, 1, 1)),
    "planter": ("out/dive_sheets.pdf", "PLANTER", (0, 0, 1, 1)),
    "recorder": ("out/dive_sheets.pdf", "RECORDER", (0, 0, 1, 1)),
}
DRAWN_LATER = {  # on the way through a guide
    "planter-es": ("out/dive_sheets.pdf", "PLANTADOR", (0, 0, 1, 1)),
    "survey-sheet": ("out/survey_sheets.pdf", "PIN B FOUND", (0, 0, 1, 1)),
}
HTML_PICTURES = {"map": ("out/map.html", (900, 600)), "explore": ("out/explore.html", (900, 600))}


def guide(text: str, folder: Path) -> str:
    """Return a guide with the output of its commands as they answer now.

    Parameters
    ----------
    text : str
        Of the page.
    folder : Path
        Where its commands run.
    """

    def again(found: re.Match[str]) -> str:
        orders, kind, body = found.groups()
        keep, drawn = "", []
        for order, value in re.findall(r"<!-- (keep|edit|write|draw): (.*?) -->", orders):
            if order == "keep":
                keep = value
            elif order == "draw":
                drawn.append(value)
            elif order == "edit":
                _edit(folder / PROJECT / "plan.toml", *value.split(" => "))
            else:
                (folder / value).write_text(body, "utf-8")
        first = body.split("\n", 1)[0]
        if kind != "console" or not first.startswith("$ sitekit "):
            return found.group(0)
        told = _kept(_answer(first[2:], folder), keep)
        for name in drawn:
            _draw_page(folder / PROJECT, PICTURES / f"{name}.png", *DRAWN_LATER[name])
        return f"{orders}```console\n{first}\n{told}```"

    return _BLOCK.sub(again, text)


def _edit(plan: Path, old: str, new: str) -> None:
    text = plan.read_text("utf-8")
    if text.count(old) != 1:
        raise SystemExit(f"{old!r} stands {text.count(old)} times in {plan}")
    plan.write_text(text.replace(old, new), "utf-8")


def _answer(command: str, folder: Path) -> list[str]:
    words = [w.strip('"') for w in re.findall(r'"[^"]*"|\S+', command)]
    done = subprocess.run(
        [sys.executable, "-m", "sitekit.cli.entry", *words[1:]], cwd=folder, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", "COLUMNS": "110"},
    )  # fmt: skip
    if done.returncode not in (0, 4):
        raise SystemExit(f"{command}: {done.stderr}")
    text = (done.stdout + (done.stderr if not done.stdout else "")).replace(str(folder) + os.sep, "")
    return [line.rstrip() for line in text.splitlines()]


def _kept(lines: list[str], keep: str) -> str:
    patterns = [re.compile(p.strip()) for p in keep.split(" | ")] if keep else []
    out: list[str] = []
    for line in lines:
        line = re.sub(r" \(\d+\.\d s\)", "", line)  # seconds are those of one machine on one day
        if not patterns or any(p.search(line) for p in patterns):
            out.append(line if len(line) <= 160 else line[:158].rstrip() + " …")
        elif not out or out[-1] != "…":
            out.append("…")
    if patterns and not [line for line in out if line != "…"]:
        raise SystemExit(f"no line of the output matches {keep!r}")
    return "\n".join(out) + "\n"


def pictures(project: Path, target: Path) -> None:
    """Draw every picture of the guides from a finished project into `target`, each at most 120 kB."""
    for name, where in PDF_PICTURES.items():
        _draw_page(project, target / f"{name}.png", *where)
    with sync_playwright() as driver:
        chromium = shutil.which("chromium") or shutil.which("chromium-browser")
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for name, (file, size) in HTML_PICTURES.items():
            page_ = browser.new_context(viewport={"width": size[0], "height": size[1]}, offline=True).new_page()
            page_.goto((project / file).as_uri())
            page_.wait_for_timeout(2000)
            shot = Image.open(io.BytesIO(page_.screenshot())).convert("RGB")
            _save(shot, target / f"{name}.png", 256)
        browser.close()


def _draw_page(project: Path, target: Path, file: str, page: int | str, part: tuple[float, ...]) -> None:
    book = pypdfium2.PdfDocument(str(project / file))
    k = page if isinstance(page, int) else _page_with(book, page)
    picture = book[k].render(scale=min(2.2, 900 / book[k].get_width())).to_pil().convert("L")
    w, h = picture.size
    part_px = (round(part[0] * w), round(part[1] * h), round(part[2] * w), round(part[3] * h))
    _save(picture.crop(part_px).convert("RGB"), target, 8)
    book.close()


def _page_with(book: pypdfium2.PdfDocument, text: str) -> int:
    return next(k for k in range(len(book)) if text in book[k].get_textpage().get_text_range())


def _save(picture: Image.Image, path: Path, colours: int) -> None:
    """Save with a small palette, narrower until the file is small enough."""
    while True:
        data = io.BytesIO()
        # this method keeps rare colours apart: a legend's steps must not melt into one another
        few = picture.quantize(colours, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
        few.save(data, "PNG", optimize=True)
        if len(data.getvalue()) <= MOST_BYTES:
            path.write_bytes(data.getvalue())
            return
        picture = picture.resize((round(picture.width * 0.9), round(picture.height * 0.9)), Image.Resampling.LANCZOS)


def main() -> None:
    """Make all guides and pictures again."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as made:
        first = Path(made) / "first"
        first.mkdir()
        _answer(f"sitekit demo {PROJECT}", first)
        _answer(f"sitekit scout {PROJECT}", first)
        _answer(f"sitekit explore {PROJECT}", first)
        pictures(first / PROJECT, PICTURES)
        shutil.rmtree(first / PROJECT / "scout")
        (first / PROJECT / "out" / "explore.html").unlink(missing_ok=True)
        for name in GUIDES:
            folder = Path(made) / name.removesuffix(".md")
            shutil.copytree(first, folder)
            page = HERE / name
            page.write_text(guide(page.read_text("utf-8"), folder), "utf-8", newline="\n")


if __name__ == "__main__":
    main()
