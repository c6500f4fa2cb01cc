"""Every finding of a project, in the order in which a reader asks: files, agreement, counts, places, distances."""

from __future__ import annotations

from pathlib import Path

from sitekit.audit.answers_kept import audit_answers
from sitekit.audit.choice_kept import audit_choice
from sitekit.audit.clearances_kept import audit_clearances
from sitekit.audit.counts_agree import audit_counts
from sitekit.audit.divers_kept import audit_divers
from sitekit.audit.files_whole import audit_files
from sitekit.audit.permits_kept import audit_permits
from sitekit.audit.places_allowed import audit_places
from sitekit.audit.planted_kept import audit_planted
from sitekit.audit.plots_kept import audit_plots
from sitekit.audit.positions_agree import audit_agreement
from sitekit.audit.promises import Finding
from sitekit.audit.public_kept import audit_public
from sitekit.audit.spacing_kept import audit_spacing
from sitekit.audit.written import read_written
from sitekit.errors import Fault, FileFault
from sitekit.season.settings import Settings


def audit_plan(project: Path, settings: Settings) -> list[Finding]:
    """Read the written files of a project again and judge every promise.

    Parameters
    ----------
    project : Path
        Folder with `plan.toml`, the team's files and `out/`.
    settings : Settings
        The plan as it stands.

    Returns
    -------
    list of Finding
        One per promise that the plan makes; a broken one is a finding too, never an error.

    Raises
    ------
    FileFault
        If nothing was written yet.
    """
    out = Path(project) / "out"
    if not out.is_dir() or not any(out.iterdir()):
        raise FileFault(Fault("out/", "holds no plan", "the files of a run", "Run: sitekit run plan.toml"))
    written = read_written(out)
    return [
        *audit_files(Path(project), settings, written),
        *audit_agreement(written),
        *audit_counts(Path(project), settings, written),
        *audit_places(Path(project), settings, written),
        *audit_spacing(settings, written),
        *audit_plots(Path(project), settings, written),
        *audit_clearances(Path(project), settings, written),
        *audit_public(Path(project), settings, written),
        *audit_permits(Path(project), settings, written),
        *audit_choice(settings, written),
        *audit_answers(Path(project), settings, written),
        *audit_divers(written),
        *audit_planted(Path(project), settings, written),
    ]
