"""What is left in English on a page in another language."""

from __future__ import annotations

import re

from sitekit.base.wording import labels

LEAST_LETTERS = 5  # shorter words stand in names and abbreviations of all three languages


def english_left(text: str, code: str, families: tuple[str, ...], *, typed: str = "") -> list[str]:
    """Return the pieces of English labels that a translated text holds.

    Parameters
    ----------
    text : str
        Of the page, line ends as spaces; English in brackets beside a translation is passed over.
    code : str
        Its language.
    families : tuple of str
        Beginnings of the keys that are looked for.
    typed : str
        What the team itself typed, which is printed as it is.
    """
    said = " ".join(re.sub(r"\[[^\]]*\]", " ", text).split())
    passed = " ".join([typed, *(row[code] for row in labels().values())])
    found = []
    for key, row in labels().items():
        if not key.startswith(families):
            continue
        for part in re.split(r"\{\w+\}", row["en"]):
            words = part.strip(" ,.;:·()")
            if len(words) < LEAST_LETTERS or words not in said:
                continue
            whole = re.compile(rf"(?<![\w’'])({re.escape(words)})(?![\w’'])")
            if whole.search(said) and not whole.search(passed):
                found.append(f"{key}: {words}")
    return found
