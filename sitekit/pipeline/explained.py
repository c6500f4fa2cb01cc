"""What an explanation of a place holds, and its lines for people."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from sitekit.base.sources import sources
from sitekit.pipeline.sea_values import SeaValue
from sitekit.suitability.explain import Answer, Explanation


@dataclass(frozen=True)
class SpeciesHere:
    """One species at the place.

    Parameters
    ----------
    code, name : str
        Of the species.
    cell : Explanation
        Criteria, exclusions, score.
    passing : float
        Score from which cells pass.
    weights : str
        How the weights came about.
    share_best : float or None
        Share of the draws in which the cell is among the best; None without that stage or a score.
    standing : dict or None
        The row of `candidate_ranks` of the candidate here, if there is one.
    """

    code: str
    name: str
    cell: Explanation
    passing: float
    weights: str
    share_best: float | None
    standing: dict[str, Any] | None


@dataclass(frozen=True)
class ChoiceHere:
    """What the choice says of the place.

    Parameters
    ----------
    site : str
        Code, or the candidate's label.
    chosen : bool
        Whether work is planned there.
    reason : str
        Why, or why not.
    units : int or None
        Planned there, where the choice settled them.
    verdict : str or None
        What the go/no-go answers come to.
    scouted : str or None
        When and by whom; None where nobody has looked.
    """

    site: str
    chosen: bool
    reason: str
    units: int | None
    verdict: str | None
    scouted: str | None

    def line(self) -> str:
        """Return it in one line for people."""
        said = "chosen" if self.chosen else "not chosen"
        reason = self.reason.removeprefix("chosen: ").removeprefix("not chosen: ")
        seen = f"scouted on {self.scouted}" if self.scouted else "NOT SCOUTED"
        answers = f"; go/no-go answers: {self.verdict}" if self.verdict else ""
        return f"choice: {self.site} is {said}: {reason}{answers}; {seen}"


@dataclass(frozen=True)
class PlaceExplained:
    """Everything that bears on the score of one place.

    Parameters
    ----------
    asked : str
        What was asked for.
    longitude_deg, latitude_deg : float
        Centre of the cell, WGS 84.
    position : str
        The same in the plan's notation.
    row, col : int
        The cell; row 0 is the north.
    depth_m, depth_error_m : float or None
        Charted depth, positive down, and its stated error.
    datum : str
        What depths are counted from.
    candidate, site, nearest_name : str or None
        Of the candidate that holds the place, and the nearest named place.
    protected : tuple of str
        Every protected area that the cell touches, with its rule.
    constraints : tuple of str
        Other layers to keep clear of that reach the cell.
    species : tuple of SpeciesHere
        In the order of the plan.
    fictional : bool
        Whether the plan is made up.
    sea : tuple of SeaValue
        Tide, waves, light and heat of the cell.
    choice : ChoiceHere or None
        Of the candidate or site here; None where there is none, or the stage `choose` is older than the plan.
    """

    asked: str
    longitude_deg: float
    latitude_deg: float
    position: str
    row: int
    col: int
    depth_m: float | None
    depth_error_m: float
    datum: str
    candidate: str | None
    site: str | None
    nearest_name: str | None
    protected: tuple[str, ...]
    constraints: tuple[str, ...]
    species: tuple[SpeciesHere, ...]
    fictional: bool
    sea: tuple[SeaValue, ...] = ()
    choice: ChoiceHere | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return everything JSON-like, each source with its citation."""
        found = asdict(self)
        for one in found["species"]:
            for answer in one["cell"]["answers"]:
                answer["citation"] = source_line(answer["source"])
        return found


def source_line(key: str) -> str:
    """Return the citation of a source key, or the team's own words as they stand."""
    known = sources()
    return known[key].line() if key in known else key


def lines_of_explanation(place: PlaceExplained) -> list[str]:
    """Return an explanation as lines for people."""
    lines = ["FICTIONAL: made-up data"] if place.fictional else []
    depth = "no depth" if place.depth_m is None else f"{place.depth_m:.1f} m deep (± {place.depth_error_m:g} m)"
    lines.append(f"{place.asked}: {place.position}; {depth}, datum {place.datum}")
    here = f"candidate {place.candidate}" if place.candidate else "in no candidate"
    here += f", site {place.site}" if place.site else ""
    here += f"; nearest named place: {place.nearest_name}" if place.nearest_name else ""
    lines.append(f"{here}; cell at row {place.row}, column {place.col}")
    if place.choice is not None:
        lines.append(place.choice.line())
    lines.append("protected areas here: " + ("; ".join(place.protected) or "none"))
    if place.constraints:
        lines.append("keep clear: " + "; ".join(place.constraints))
    if place.sea:
        lines += ["tide, waves, light, heat:", *(f"  {value.line()}" for value in place.sea)]
    for one in place.species:
        lines += ["", *_species_lines(one)]
    cited = {a.source: a.verified for one in place.species for a in one.cell.answers}
    lines += ["", "sources of the curves:"]
    for key in cited:
        line = source_line(key)
        lines.append(f"  {key}: {line}" if line != key else f"  {key}")
    noted = dict.fromkeys(
        f"{one.code} {a.name}: {a.note}" for one in place.species for a in one.cell.answers if a.note and not a.verified
    )
    if noted:
        lines += ["", "unverified, in part or whole:", *(f"  {line}" for line in noted)]
    return lines


def _species_lines(one: SpeciesHere) -> list[str]:
    cell = one.cell
    if cell.score is not None:
        verdict = "passes" if np.float32(cell.score) >= np.float32(one.passing) else "does not pass"
        head = f"{one.code} {one.name}: score {cell.score:.3f}, {verdict} (from {one.passing:g})"
    else:
        head = f"{one.code} {one.name}: excluded: {'; '.join(cell.reasons)}"
        if cell.without_exclusions is not None:
            head += f" (the criteria alone would give {cell.without_exclusions:.3f})"
    lines = [head]
    if cell.limiting is not None and cell.best_possible is not None:
        lines.append(f"  limited by {cell.limiting}: at its best the score would be {cell.best_possible:.3f}")
    if cell.unknown_share > 0:
        unknown = ", ".join(a.name for a in cell.answers if a.response is None)
        lines.append(f"  unknown: {100 * cell.unknown_share:.0f} % of the weight ({unknown}); the rest is renormalised")
    if one.share_best is not None:
        lines.append(f"  this cell is among the best in {100 * one.share_best:.0f} % of the draws of the weights")
    if one.standing is not None:
        row = one.standing
        said = (
            f"  {row['candidate']} ranks {row['rank']} of {row['of']}; {row['rank_low']} to {row['rank_high']} in draws"
        )
        said += f"; {row['rank_depth_low']} to {row['rank_depth_high']} if depths are off by their error"
        lines.append(said + (f"; FRAGILE: {row['holds_not_under']}" if row["fragile"] else ""))
    said = one.weights if one.weights.startswith("weights") else f"weights: {one.weights}"
    lines.append(f"  {said}")
    shown = [("criterion", "value", "response", "weight", "curve")]
    shown += [_answer_row(a) for a in cell.answers]
    widths = [max(len(r[k]) for r in shown) for k in range(4)]
    lines += ["  " + "  ".join([*(r[k].ljust(widths[k]) for k in range(4)), r[4]]) for r in shown]
    return lines


def _answer_row(answer: Answer) -> tuple[str, str, str, str, str]:
    response = "unknown" if answer.response is None else f"{answer.response:.3f}"
    mark = "" if answer.verified else " [unverified]"
    return (
        answer.name,
        answer.shown,
        response,
        f"{100 * answer.weight:.0f} %",
        f"{answer.curve} ({answer.source}){mark}",
    )
