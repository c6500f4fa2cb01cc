"""Go/no-go questions: what the answers of a site come to.

No: the site is out. Unknown or unanswered: a pilot of at least a year, with no more units than the team allows a pilot.
Yes to all: go.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from sitekit.errors import Faults

Answer = Literal["yes", "no", "unknown"]
# "Unknown cause of decline: pilot of at least 1 year", practitioner course page [source key: course-deciding].
PILOT_LEAST_YEARS = 1


@dataclass(frozen=True)
class Answered:
    """One answer.

    Parameters
    ----------
    site, about : str
        Code of the site, key of the question.
    answer : str
        `yes`, `no` or `unknown`.
    note, who, when : str
        As given; `when` in ISO 8601; empty where nobody answered.
    """

    site: str
    about: str
    answer: Answer
    note: str = ""
    who: str = ""
    when: str = ""


@dataclass(frozen=True)
class Verdict:
    """What the answers of one site come to.

    Parameters
    ----------
    verdict : str
        `go`, `pilot` or `no`.
    reason : str
        For people: the questions that decided.
    answers : tuple of Answered
        One per question, in the order of the questions; unanswered ones as unknown, without `who`.
    """

    verdict: Literal["go", "pilot", "no"]
    reason: str
    answers: tuple[Answered, ...]

    @property
    def unanswered(self) -> tuple[str, ...]:
        """Keys of the questions that nobody answered."""
        return tuple(a.about for a in self.answers if not a.who)


def verdicts(sites: Sequence[str], questions: Mapping[str, str], answers: Iterable[Answered]) -> dict[str, Verdict]:
    """Return what the answers come to, per site.

    Parameters
    ----------
    sites : sequence of str
        Codes of all sites.
    questions : mapping of str to str
        Key -> the question in words, asked of every site.
    answers : iterable of Answered
        At most one per site and question.

    Returns
    -------
    dict of str to Verdict

    Raises
    ------
    InputFault
        Naming every answer about a site or a question that is not known, and every one given twice.
    """
    found: dict[tuple[str, str], Answered] = {}
    with Faults() as faults:
        for one in answers:
            where = f"question about {one.site}, {one.about!r}"
            if one.site not in sites:
                faults.add(where, f"site {one.site!r}", ", ".join(sites) or "a [[site]]", "Correct the code.")
            if one.about not in questions:
                faults.add(where, f"question {one.about!r}", ", ".join(questions), "Correct it.")
            if (one.site, one.about) in found:
                faults.add(where, "answered twice", "one answer", "Keep the newer one.")
            found[one.site, one.about] = one
    return {site: _verdict(site, questions, found) for site in sites}


def _verdict(site: str, questions: Mapping[str, str], found: Mapping[tuple[str, str], Answered]) -> Verdict:
    rows = tuple(found.get((site, key), Answered(site, key, "unknown")) for key in questions)
    against = [a for a in rows if a.answer == "no"]
    open_ones = [a for a in rows if a.answer == "unknown"]
    if against:
        return Verdict("no", "answered no: " + "; ".join(_said(a, questions) for a in against), rows)
    if open_ones:
        silent = sum(not a.who for a in open_ones)
        said = f"{len(open_ones)} of {len(rows)} questions unknown" + (
            f", {silent} of them not answered" if silent else ""
        )
        return Verdict("pilot", f"pilot of at least {PILOT_LEAST_YEARS} year: {said}", rows)
    return Verdict("go", "every question answered yes", rows)


def _said(answer: Answered, questions: Mapping[str, str]) -> str:
    return questions[answer.about].rstrip("?") + (f" ({answer.note})" if answer.note else "")
