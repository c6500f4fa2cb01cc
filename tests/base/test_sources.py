"""The shipped folder: citations found, marked by how they are known, and words."""

import pytest

from sitekit.base.sources import Source, cite, shared_file, sources, vocabulary
from sitekit.errors import FileFault, InputFault


def test_every_citation_has_a_text_and_a_known_way_of_knowing():
    """A citation that says nothing, or a word the printer does not mark."""
    assert sources()
    for key, source in sources().items():
        assert source.key == key
        assert source.citation.strip()
        assert source.known in ("SEEN", "RAN", "MEMORY", "PRACTICE")


@pytest.mark.parametrize(
    ("known", "end", "verified"),
    [
        ("SEEN", "1977", True),
        ("RAN", "1977", True),
        ("MEMORY", " [recalled, unverified]", False),
        ("PRACTICE", " [common practice, no source]", False),
    ],
)
def test_what_nobody_read_is_marked_in_print(known, end, verified):
    """A recalled value printed as if it had been read."""
    source = Source("a", "Author 1977", known)
    assert source.line().endswith(end)
    assert source.verified is verified


def test_a_listed_key_is_found_and_another_refused():
    """A citation that leads nowhere."""
    key = next(iter(sources()))
    assert cite(key).key == key
    with pytest.raises(InputFault, match=r"source 'no-such': is not listed; due: a key of shared/sources\.json"):
        cite("no-such")


def test_a_file_the_installation_lacks_is_refused():
    """A missing table found only deep in a run."""
    with pytest.raises(FileFault, match=r"shared/none\.json: is missing.*Install sitekit again"):
        shared_file("none.json")
    assert shared_file("tables.json").is_file()


def test_every_word_has_a_meaning():
    """A term without an explanation."""
    assert all(row["meaning"].strip() for row in vocabulary().values())
