"""Makes the pages that repeat shared data: vocabulary.md, sources.md, tables.md. Run: python docs/make_pages.py."""

from __future__ import annotations

from pathlib import Path

from sitekit.base.sources import sources, vocabulary
from sitekit.base.tables import table, table_names

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
    return {
        "vocabulary.md": "\n".join(words) + "\n",
        "sources.md": "\n".join(cited) + "\n",
        "tables.md": "\n".join(tables),
    }


if __name__ == "__main__":
    for name, text in pages().items():
        (HERE / name).write_text(text, encoding="utf-8", newline="\n")
