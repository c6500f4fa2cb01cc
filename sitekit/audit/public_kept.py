"""Whether the list of living colonies tells their places as `[outputs] public` says: exactly, or coarsened."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from sitekit.audit.living_again import living
from sitekit.audit.promises import Finding, asked, judged
from sitekit.audit.written import Written
from sitekit.season.settings import Settings

PUBLIC = "a public list of living colonies tells their places to 0.01 degrees and no better"
EXACT = "the list of living colonies tells their places as the team's files do"
LIST = "living_colonies.csv"
STEP_DEG = 0.01
# Columns that would tell a place beside a coarse position: depth, error, and the line of the team's own file.
_TELLING = ("latitude_wgs84_deg", "longitude_wgs84_deg", "depth_m", "position_error_m", "line")


def audit_public(project: Path, settings: Settings, written: Written) -> list[Finding]:
    """Return the finding on the list of living colonies; nothing where there is no such list.

    Parameters
    ----------
    project : Path
        Folder with the team's files.
    settings : Settings
        The plan.
    written : Written
        What was read from `out/`.
    """
    path = written.out / LIST
    if not path.is_file() or not settings.layers.colonies:
        return []
    public = settings.outputs.public
    where = f"out/{LIST}, " + ", ".join(dict.fromkeys(layer.file for layer in settings.layers.colonies))

    def check() -> Finding:
        listed = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
        there = living(project, settings, written.crs)
        broken = _coarse(listed) if public else []
        ending = "coarse_deg" if public else "deg"
        columns = [f"longitude_wgs84_{ending}", f"latitude_wgs84_{ending}"]
        places = listed[columns].apply(pd.to_numeric).to_numpy(dtype=np.float64)
        known = cKDTree(there[["lon", "lat"]].to_numpy(dtype=np.float64))
        away, _ = known.query(places, p=np.inf)
        # half a step, or 0.1 m where the reader of the audit shifts a datum by itself
        most = STEP_DEG / 2 + 1e-6 if public else 1e-6
        broken += [f"row {i + 2}: no colony of the team stands there" for i in np.flatnonzero(~(away <= most))]
        return judged(
            PUBLIC if public else EXACT, broken, len(listed), where, unit="colonies",
            kept="nearest colony of the team's own files",
        )  # fmt: skip

    return asked(PUBLIC if public else EXACT, where, check)


def _coarse(listed: pd.DataFrame) -> list[str]:
    broken = [f"column {name} stands in a public copy" for name in _TELLING if name in listed.columns]
    for name in ("longitude_wgs84_coarse_deg", "latitude_wgs84_coarse_deg"):
        steps = pd.to_numeric(listed[name]).to_numpy(dtype=np.float64) / STEP_DEG
        finer = np.flatnonzero(np.abs(steps - np.round(steps)) > 1e-6)
        broken += [f"row {i + 2}: {name} {listed[name].iloc[i]} is finer than {STEP_DEG:g} degrees" for i in finer]
    if "PUBLIC_COPY" not in listed.columns or not (listed["PUBLIC_COPY"] != "").all():
        broken.append("the list does not say in every row that it is a public copy")
    return broken
