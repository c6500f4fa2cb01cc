"""What was understood of the tables that decide, for `check`."""

from __future__ import annotations

from typing import Any

from sitekit.pipeline.project import Project
from sitekit.pipeline.scout import returned_forms
from sitekit.pipeline.weighing import asked_questions, given_answers
from sitekit.sites.questions import verdicts


def decide_rows(project: Project) -> list[dict[str, Any]]:
    """Return a row for questions, budget, rules of the choice, controls and returned forms, where the plan has them."""
    settings = project.settings
    rows: list[dict[str, Any]] = []
    if settings.question:
        found = verdicts([s.code for s in settings.site], asked_questions(settings), given_answers(settings))
        silent = {s: v.unanswered for s, v in found.items() if v.unanswered}
        rows.append(
            {
                "layer": "go/no-go questions",
                "said": [f"{site}: {v.verdict}, {v.reason}" for site, v in found.items()],
                "source": ", ".join(sorted({q.who for q in settings.question})),
                "notes": [
                    f"{site}: not answered, treated as unknown: {', '.join(keys)}" for site, keys in silent.items()
                ],
            }
        )
    budget = settings.budget
    if budget is not None:
        given = [(n, getattr(budget, n)) for n in ("units", "dives", "boat_days", "money")]
        said = ", ".join(f"at most {v:g} {n.replace('_', ' ')}" for n, v in given if v is not None)
        notes = []
        if budget.boat_speed_kn is not None and settings.harbour is None:
            notes.append("no [harbour]: no travel is counted")
        rows.append({"layer": "budget", "said": [said], "source": "rates of the team", "notes": notes})
    choose = settings.choose
    if choose.limits:
        plain = type(choose)()
        said = ", ".join(
            f"{n} = {getattr(choose, n)}" for n in type(choose).model_fields if getattr(choose, n) != getattr(plain, n)
        )
        rows.append({"layer": "choose", "said": [said], "source": "the plan", "notes": _choose_notes(project)})
    forms = returned_forms(project)
    if forms:
        rows.append(
            {
                "layer": "scout forms",
                "said": [f"{f.site}: {f.date}, {f.observer}, {f.go}" for f in forms],
                "source": str(settings.scout.from_file),
                "notes": [
                    f"line {f.line}: no site has the code {f.site!r}; kept, not used" for f in forms if not f.known
                ],
            }
        )
    return rows


def _choose_notes(project: Project) -> list[str]:
    choose, settings = project.settings.choose, project.settings
    notes = []
    lacks_depth = settings.nursery is None or settings.nursery.depth_m is None
    if lacks_depth and (choose.depth_fall_off_m or choose.greatest_depth_difference_m):
        notes.append("[nursery] has no depth_m: depths cannot be matched")
    if choose.greatest_to_harbour_m and settings.harbour is None:
        notes.append("no [harbour]: no site can keep greatest_to_harbour_m")
    return notes
