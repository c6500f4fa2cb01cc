"""Makes the pages that repeat shared data: vocabulary.md, sources.md, tables.md, bottom.md. Run: python docs/make_pages.py."""

from __future__ import annotations

from pathlib import Path

from sitekit.base.sources import sources, vocabulary
from sitekit.base.tables import table, table_names
from sitekit.layers.substrate import hard_codes, substrate_codes

HERE = Path(__file__).resolve().parent


def pages() -> dict[str, str]:
    """Return file name -> text of every made page."""
    words = [
        "# Words",
        "",
        "Made from `shared/vocabulary.csv`.",
        "",
        "| word | unit | meaning |",
        "| --- | --- | --- |",
    ]
    words += [f"| {term} | {row['unit']} | {row['meaning']} |" for term, row in sorted(vocabulary().items())]
    cited = [
        "# Sources",
        "",
        "Made from `shared/sources.json`. SEEN: read in the named source. RAN: answer of a named program.",
        "MEMORY: recalled, prints as unverified. PRACTICE: common practice without a source.",
        "",
        "| key | known | citation | note |",
        "| --- | --- | --- | --- |",
    ]
    cited += [f"| {s.key} | {s.known} | {s.citation} | {s.note} |" for _, s in sorted(sources().items())]
    tables = [
        "# Tables",
        "",
        "Made from `shared/tables.json`; they stand in `out/season.gpkg` (season) and `records.gpkg` (records).",
        "",
    ]
    for name in [*table_names("season"), *table_names("records")]:
        one = table(name)
        tables += [f"## {name}", "", f"{one.file}: {one.meaning}" + (f" ({one.geometry})" if one.geometry else ""), ""]
        tables += ["| column | type | unit | may be empty | meaning |", "| --- | --- | --- | --- | --- |"]
        tables += [
            f"| {c.name} | {c.type} | {c.unit} | {'yes' if c.empty else 'no'} | {c.meaning} |" for c in one.columns
        ]
        tables.append("")
    bottom = [
        "# Classes of bottom",
        "",
        "Made from `shared/cmecs_substrate.json`: what the right side of `[layers.substrate.classes]` may name, besides",
        '"unknown". FGDC-STD-018-2012, Substrate Component. Hard is this project\'s reading.',
        "",
        *(f"- {name}" + (" (hard)" if code in hard_codes() else "") for name, code in substrate_codes().items()),
    ]
    return {
        "bottom.md": "\n".join(bottom) + "\n",
        "vocabulary.md": "\n".join(words) + "\n",
        "sources.md": "\n".join(cited) + "\n",
        "tables.md": "\n".join(tables),
    }


if __name__ == "__main__":
    for name, text in pages().items():
        (HERE / name).write_text(text, encoding="utf-8", newline="\n")
