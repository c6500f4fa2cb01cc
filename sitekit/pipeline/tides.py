"""Height of tide for sheets and dives: from the predictions of `[tide]`, from its three numbers, or none."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitekit.fieldwork.calendar import tide_range, tide_windows
from sitekit.layers.sea_tables import read_times
from sitekit.pipeline.project import Project

NO_TIDE = "TIDE NOT GIVEN: charted depth only"


@dataclass(frozen=True)
class Tides:
    """Heights above the datum of the depths [m].

    Parameters
    ----------
    times : ndarray of datetime64, height_m : ndarray
        Predictions on the file's own clock; empty without a file.
    lowest_m, highest_m : float or None
        Of the predictions, or as typed in; None without any tide.
    source : str
        As the settings name it.
    """

    times: NDArray[np.datetime64]
    height_m: NDArray[np.float64]
    lowest_m: float | None
    highest_m: float | None
    source: str

    def between(self, date: datetime.date, start: str, end: str) -> tuple[float, float] | None:
        """Lowest and highest tide between two local times of a date, None where predictions do not reach."""
        return tide_range(self.times, self.height_m, _time(date, start), _time(date, end))

    def window(
        self, date: datetime.date, start: str, end: str, least_m: float | None, greatest_m: float | None
    ) -> str | None:
        """Hours within the team's limits as text, `none` if there are none; None without limits or predictions."""
        if least_m is None and greatest_m is None:
            return None
        found = tide_windows(
            self.times, self.height_m, _time(date, start), _time(date, end), least_m=least_m, greatest_m=greatest_m
        )
        if found is None:
            return None
        return ", ".join(f"{str(a)[11:16]}–{str(b)[11:16]}" for a, b in found) or "none"

    @property
    def planning_m(self) -> float:
        """Height added to charted depths for gas and table: the highest known; 0 without any."""
        return max(self.highest_m or 0.0, 0.0)


def read_tides(project: Project) -> Tides:
    """Return the tides of a plan.

    Raises
    ------
    FileFault
        If the file cannot be read.
    """
    setting = project.settings.tide
    nothing = np.array([], dtype="datetime64[m]"), np.zeros(0)
    if setting is None:
        return Tides(*nothing, None, None, "")
    if setting.file is None:
        return Tides(*nothing, setting.lowest_m, setting.highest_m, setting.source)
    series = read_times(
        project.input(setting.file, "tide.file"), setting.time, [setting.height_m], "tide.file", setting.reading
    )
    height = series.values[setting.height_m] + (setting.offset_m or 0.0)
    known = np.isfinite(height)
    times, height = series.time[known], height[known]
    return Tides(times, height, float(height.min()), float(height.max()), setting.source)


def _time(date: datetime.date, clock: str) -> np.datetime64:
    """Local time; hours beyond 24 run into the next day."""
    hours, minutes = (int(v) for v in clock.split(":"))
    return np.datetime64(date.isoformat(), "m") + np.timedelta64(60 * hours + minutes, "m")
