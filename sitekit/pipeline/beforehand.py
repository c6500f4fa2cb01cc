"""Every fault of a plan that can be seen before the long work: settings beside each other, stock, forms, series."""

from __future__ import annotations

from collections.abc import Callable

from sitekit.base.crs import WGS84
from sitekit.errors import Fault, InputFault
from sitekit.pipeline.project import Project


def early_faults(project: Project) -> list[Fault]:
    """Return the faults that need no grid.

    Criteria, positions, partners' names, stock list, list of tags, named places, returned forms, tide, wind, swell and
    temperature, dives to the nursery.
    """
    from sitekit.pipeline import crew, fields, partners, place, places, scout, sea_inputs, sea_rules, stocks

    settings = project.settings
    checks: list[Callable[[], object]] = [
        lambda: fields.check_fields(settings, fields.species_criteria(settings)),
        lambda: [places.position_of(s.at, f"site {s.code}.at") for s in settings.site if s.at],
        lambda: partners.partner_names(project),
        lambda: stocks.read_stock_rows(project),
        lambda: place.listed_tags(project),
        lambda: places.places_reading(project, WGS84),
        lambda: scout.returned_forms(project),
        lambda: sea_rules.check_work_depth(settings, fields.species_criteria(settings)),
        lambda: sea_inputs.read_sea_inputs(project),
        lambda: crew.check_nursery(project),
    ]
    faults: list[Fault] = []
    for check in checks:
        try:
            check()
        except InputFault as error:
            faults += [f for f in error.faults if f not in faults]
    return faults


def with_faults_of(faults: list[Fault], work: Callable[[], object]) -> None:
    """Do the next work only for its faults and raise them together with those found; do nothing if there are none.

    Raises
    ------
    InputFault
        With all of them.
    """
    if not faults:
        return
    found = list(faults)
    try:
        work()
    except InputFault as error:
        found += [f for f in error.faults if f not in found]
    raise InputFault(*found)
