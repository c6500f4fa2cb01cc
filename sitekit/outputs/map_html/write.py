"""Writes the map: one page with everything in it."""

from __future__ import annotations

import html
from pathlib import Path
from typing import Any

from sitekit.base.files import write_text
from sitekit.base.wording import caution, labels, length_unit, say, wording
from sitekit.outputs.map_html.colonies import pack_colonies
from sitekit.outputs.map_html.contours import contour_lines
from sitekit.outputs.map_html.folium_page import Picture, page_html
from sitekit.outputs.map_html.mercator import Screen, longitude_latitude, screen_of
from sitekit.outputs.map_html.overlays import (
    Overlay,
    mask_uri,
    picture_overlay,
    raster_overlay,
    reason_overlay,
    relief_overlay,
)
from sitekit.outputs.map_html.plain_text import plain_text, script_json
from sitekit.outputs.map_html.ramps import class_count, ramp
from sitekit.outputs.map_html.scene import MapScene
from sitekit.outputs.map_html.shell import filled
from sitekit.outputs.map_html.snapshot import Shown, still_picture
from sitekit.outputs.map_html.vectors import names_of, vector_layer

PAGE = "page."  # labels of the page's own scripts and frame
_DRAWN = (
    "protected",
    "work_areas",
    "candidates",
    "contours",
    "plots",
    "tape_lines",
    "existing",
    "standing",
    "sites",
)  # low to high


def write_map(target: Path, scene: MapScene) -> None:
    """Write the map as one HTML file that needs no network.

    Parameters
    ----------
    target : Path
        The file; written beside and renamed.
    scene : MapScene
        Everything to show, already worked out.

    Raises
    ------
    InputFault
        If the scene does not hold together (see `MapScene`).
    FileFault
        If the picture cannot be read or the file cannot be written.

    Notes
    -----
    Same scene, same bytes. Rasters are drawn by nearest cell on EPSG:3857; the true values stay in the GeoTIFF files.
    """
    write_text(target, map_page(scene))


def map_page(scene: MapScene) -> str:
    """Return the HTML of the map."""
    screen = screen_of(scene.grid)
    relief = None if scene.depth is None else relief_overlay(scene.depth, scene.grid, screen)
    photo = None if scene.picture is None else picture_overlay(scene.picture, screen)
    rasters = [raster_overlay(layer, scene.grid, screen) for layer in scene.rasters]
    reasons = {r.name: reason_overlay(r, scene.grid, screen) for r in scene.reasons}
    drawn = [name for name in _DRAWN if name != "standing" or scene.standing is not None]
    layers = [_vector(name, scene, screen) for name in drawn]
    colonies = pack_colonies(scene.colonies, screen)
    outline = (screen.west, screen.south, screen.east, screen.north)
    first = scene.rasters[0] if scene.rasters else None
    still = still_picture(
        Shown(
            photo or relief,
            rasters[0] if rasters else None,
            plain_text(f"{first.label}, {first.unit}" if first.unit else first.label) if first else "",
            first.opacity if first else 1.0,
            reasons.get(first.reasons) if first else None,
        ),
        layers,
        colonies,
        outline,
    )

    pictures = [_picture("relief", relief, 1.0, photo is None)] if relief else []
    pictures += [_picture("photo", photo, 1.0, True)] if photo else []
    pictures += [
        _picture(f"r{i}", overlay, layer.opacity, i == 0)
        for i, (layer, overlay) in enumerate(zip(scene.rasters, rasters, strict=True))
    ]
    missing = _missing(scene, layers)
    data: dict[str, Any] = {
        "west": screen.west,
        "south": screen.south,
        "east": screen.east,
        "north": screen.north,
        "cell": screen.cell,
        "scout": scene.scout,
        "notation": scene.notation.lower(),
        "relief": relief is not None,
        "photo": photo is not None,
        "rasters": [_raster(i, scene, overlay, screen.cell) for i, overlay in enumerate(rasters)],
        "reasons": {name: _reasons(overlay, scene, name) for name, overlay in reasons.items()},
        "layers": layers,
        "colonies": colonies,
        "classes": ramp("classes", class_count()),
        "missing": missing,
        "words": {key.removeprefix(PAGE): say(key) for key in labels() if key.startswith(PAGE)},
        "units": wording().units,
    }
    west, south, east, north = outline
    lon, lat = longitude_latitude((west + east) / 2, (south + north) / 2)
    return page_html(
        title=plain_text(scene.title),
        centre=(lat, lon),
        pictures=pictures,
        data_json=script_json(data),
        body=_body(scene, still, missing),
    )


def _vector(name: str, scene: MapScene, screen: Screen) -> dict[str, Any]:
    if name != "contours":
        return vector_layer(name, getattr(scene, name), screen, scene.grid.cell)
    if scene.depth is None:
        return vector_layer(name, None, screen, scene.grid.cell)
    import geopandas as gpd

    unit, per = length_unit()
    lines = contour_lines(scene.depth, scene.grid, scene.contour_interval_m)
    frame = gpd.GeoDataFrame(
        {"name": [f"{round(d / per, 6):g} {unit}" for d, _ in lines]},
        geometry=[g for _, g in lines],
        crs=scene.grid.crs,
    )
    return vector_layer(name, frame, screen, scene.grid.cell)


def _picture(key: str, overlay: Overlay, opacity: float, show: bool) -> Picture:
    west, south = longitude_latitude(overlay.west, overlay.south)
    east, north = longitude_latitude(overlay.east, overlay.north)
    return Picture(key, overlay.data_uri(), south, west, north, east, opacity, show)


def _raster(place: int, scene: MapScene, overlay: Overlay, cell: float) -> dict[str, Any]:
    layer = scene.rasters[place]
    note = [plain_text(layer.note)] if layer.note else []
    if overlay.pixel > 1.01 * cell:
        note.append(say("layer.coarser"))
    if layer.classes and len(layer.classes) > class_count():
        note.append(say("layer.colours_repeat", number=class_count()))
    return {
        "key": f"r{place}",
        "label": plain_text(layer.label),
        "group": plain_text(layer.group),
        "unit": plain_text(layer.unit),
        "classes": bool(layer.classes),
        "opacity": layer.opacity,
        "reasons": plain_text(layer.reasons),
        "legend": overlay.legend,
        "note": " ".join(note),
    }


def _reasons(overlay: Overlay, scene: MapScene, name: str) -> dict[str, Any]:
    label = next(r.label for r in scene.reasons if r.name == name)
    return {
        "label": plain_text(label),
        "legend": overlay.legend,
        "image": overlay.data_uri(),
        "excluded": mask_uri(overlay, "excluded"),
        "unknown": mask_uri(overlay, "unknown"),
        "box": [overlay.west, overlay.south, overlay.east, overlay.north],
    }


def _missing(scene: MapScene, layers: list[dict[str, Any]]) -> list[str]:
    found = names_of(layers)
    if not scene.rasters:
        found.insert(0, say("layer.not_part", layer=say("layer.rasters")))
    if scene.depth is None:
        found.append(say("layer.not_part", layer=say("layer.depth")))
    if scene.scout:
        found.append(say("layer.colonies_scout"))
    elif scene.colonies is None:
        found.append(say("layer.not_part", layer=say("page.colonies")))
    elif not len(scene.colonies):
        found.append(say("layer.none", layer=say("page.colonies")))
    return found


def _body(scene: MapScene, still: str, missing: list[str]) -> str:
    def text(value: str) -> str:
        return f"<bdi>{html.escape(plain_text(value))}</bdi>"

    def items(values: Any, none: str) -> str:
        rows = "".join(f"<li>{text(v)}</li>" for v in values)
        return f"<ul>{rows}</ul>" if rows else f"<p>{none}</p>"

    stamps = [*([say("fictional")] if scene.fictional else []), *scene.stamps]
    ribbon = " ".join(f'<strong class="sk-ribbon">{text(s)}</strong>' for s in stamps)
    scout = f'<strong class="sk-scout">{html.escape(say("layer.scout"))}</strong>' if scene.scout else ""
    notes = f"<h3>{html.escape(say('layer.copy'))}</h3>{items(scene.notes, '')}" if scene.notes else ""
    none = html.escape(say("layer.none_given"))
    unreviewed = "" if wording().reviewed else f"<p><strong>{text(say('unreviewed').capitalize())}.</strong></p>"
    template = (Path(__file__).parent / "page" / "page.html").read_text("utf-8").replace("\r\n", "\n")
    parts = {
        "title": text(scene.title),
        "ribbon": ribbon,
        "scout": scout,
        "date": text(scene.date),
        "run": text(scene.run_id),
        "datum": text(scene.datum),
        "cautions": unreviewed + items([caution(c) for c in scene.cautions], none),
        "sources": items(scene.sources, none),
        "missing": items(missing, html.escape(say("layer.all_shown"))),
        "notes": notes,
        "still": f'<img src="{still}" alt="{html.escape(say("page.still"))}">',
        **{key: html.escape(say(key)) for key in labels() if key.startswith(PAGE)},
    }
    return filled(template, parts)
