"""Made-up packets of any size, place and wording, for the drawing functions; and what faults a printed page can have."""

from __future__ import annotations

import io
from typing import Any

import geopandas as gpd
import numpy as np
import pdfplumber
import pypdfium2
import shapely

from sitekit.base.crs import WGS84, transform_points, utm_zone
from sitekit.base.tables import build
from sitekit.layers.grid import Grid
from sitekit.outputs.paper.frame import TitleBlock
from sitekit.outputs.paper.norths import Norths
from sitekit.outputs.permit_pdf.packet import Height, Mark, Packet, Sea, Water
from sitekit.pipeline.work_outlines import Outline, corner_rows, printed, printed_area
from sitekit.sites.sections import section_line
from sitekit.sites.work_areas import corner_count, work_areas

CAUTIONS = ("Planning aid only: not a permit.", "Not for navigation.")


def made_up(
    *,
    sites: int = 3,
    size_m: float = 80.0,
    lon: float = -50.298,
    lat: float = 18.05,
    paper: str = "letter",
    words: str = "Pavement Field",
    existing: bool = True,
    scout: bool = False,
    **changes: Any,
) -> Packet:
    """A packet with so many sites, each so wide, at a place, all names made of `words`."""
    crs = utm_zone(lon, lat)
    x0, y0 = (float(v[0]) for v in transform_points([lon], [lat], WGS84, crs))
    rng = np.random.default_rng(sites)
    step = size_m * 1.7
    plots: list[dict[str, Any]] = []
    shapes: list[Any] = []
    areas: list[dict[str, Any]] = []
    outlines: list[Any] = []
    corners: list[dict[str, Any]] = []
    sections: list[dict[str, Any]] = []
    sea: dict[str, Sea] = {}
    norths = {}
    for k in range(sites):
        code = f"S{k + 1:02d}"
        cx, cy = x0 + step * (k % 5), y0 - step * (k // 5)
        own = []
        for j in range(3):
            turn = float(rng.uniform(0, np.pi))
            way = np.array([np.cos(turn), np.sin(turn)])
            a = np.array([cx, cy]) + rng.uniform(-0.3, 0.3, 2) * size_m
            b = a + way * min(18.0, 0.5 * size_m)
            box = shapely.LineString([a, b]).buffer(min(2.0, 0.05 * size_m), cap_style="flat")
            own.append((box, a, b))
            plots.append(
                {
                    "plot": f"{code}-{j + 1:02d}", "site": code, "role": ("planted", "control", "reference")[j],
                    "shape": "rectangle", "pin_x_m": a[0], "pin_y_m": a[1], "second_pin_x_m": b[0],
                    "second_pin_y_m": b[1], "bearing_true_deg": 0.0, "length_m": 18.0, "tape_m": 18.0, "width_m": 4.0,
                    "hard_pct": 100.0, "robust_pct": 90.0, "depth_min_m": 4.0, "depth_max_m": 6.0, "units": 40,
                    "numbers": "1–40", "note": "species APAL",
                }
            )  # fmt: skip
            shapes.append(box)
        hull = work_areas([o[0] for o in own], reach_m=0.05 * size_m, join_m=10 * size_m)[0][0]
        outline = Outline(code, code, printed(hull, crs, WGS84), (), True, "")
        rows = corner_rows(outline, crs, WGS84, "WGS 84")
        corners += rows
        outlines.append(outline.shape)
        area = printed_area(outline, rows, WGS84, "minutes")
        areas.append(
            {
                "work_area": code, "site": code, "name": words, "kind": "area to scout" if scout else "work area",
                "area_m2": area, "area_ha": area / 1e4, "area_acre": area / 4046.8564224, "outline_area_m2": area,
                "degrees_area_m2": area, "difference_m2": 0.1, "perimeter_m": 100.0,
                "corners": corner_count(outline.shape), "plots": 3, "units": 120, "fragments": 120, "buffer_m": 5.2,
                "depth_min_m": 4.0, "depth_max_m": 6.0, "longitude_deg": lon, "latitude_deg": lat,
                "harbour_m": 3900.0, "whole": True, "rules": None, "note": None,
            }
        )  # fmt: skip
        ends = section_line(hull, [o[0] for o in own], [(o[1], o[2]) for o in own])
        length = float(np.hypot(*(ends[1] - ends[0])))
        at = np.linspace(0, length, 60)
        for s in at:
            x, y = ends[0] + (ends[1] - ends[0]) * s / length
            sections.append(
                {
                    "work_area": code,
                    "at_m": s,
                    "easting_m": x,
                    "northing_m": y,
                    "depth_m": 5 + 2 * np.sin(s / length * 9),
                }
            )
        cell = max(size_m / 60, 0.5)
        grid = Grid(crs, cx - 120 * cell, cy + 120 * cell, cell, (240, 240))
        gx, gy = np.meshgrid(*grid.centres())
        sea[code] = Sea(
            (6 + 4 * np.sin((gx - cx) / size_m * 2) + 2 * np.cos((gy - cy) / size_m * 3)).astype(np.float32), grid
        )
        norths[code] = Norths(0.3, -14.2, 0.06, 0.3, "World Magnetic Model 2025", "2026-04-15", crs.name)
    norths[""] = norths["S01"]
    frame = build("work_areas", areas, outlines, crs)
    bounds = shapely.MultiPolygon([p for o in outlines for p in o.geoms]).bounds
    park = shapely.box(*bounds).buffer(0.2 * size_m)
    beds = [shapely.Point(bounds[0], bounds[1]).buffer(0.3 * size_m), shapely.LineString([bounds[:2], bounds[2:]])]
    living = [shapely.Point(*p) for p in rng.uniform(bounds[:2], bounds[2:], (60, 2))]
    facts: dict[str, Any] = {
        "paper": paper,
        "block": TitleBlock(words, "F-26-014", words, words, "2026-04-15", "A"),
        "stamps": ("AREAS TO SCOUT", "DRAFT", "FICTIONAL") if scout else ("DRAFT", "FICTIONAL"),
        "small_print": (*CAUTIONS, "Corners in WGS 84.", f"Plan {words}, run 12345678."),
        "crs": crs,
        "datum": WGS84,
        "datum_name": "WGS 84",
        "crs_name": crs.name,
        "areas": gpd.GeoDataFrame(frame),
        "corners": build("corners", corners),
        "rules": build("work_rules", _rules([a["work_area"] for a in areas], words)),
        "permitted": build(
            "permitted",
            [
                {
                    "permit": words,
                    "what": "fragments of APAL",
                    "planned": "150",
                    "permitted": "at most 200",
                    "kept": True,
                }
            ],
        ),
        "planting": build(
            "planting",
            [
                {
                    "site": a["site"],
                    "species": "APAL",
                    "plots": 3,
                    "plot_area_m2": 216.0,
                    "units": 120,
                    "fragments": 120,
                    "genets": 8,
                    "density_per_m2": 0.5,
                    "size_min_cm": 9.0,
                    "size_max_cm": 14.0,
                    "regions": words,
                }
                for a in areas
            ],
        ),
        "sections": build("sections", sections),
        "open_items": build("open_items", [{"item": words, "place": "permit[1].contact", "kind": "missing fact"}]),
        "amendments": build("amendments", []),
        "texts": build("packet_texts", [{"name": "abstract", "text": words, "characters": len(words), "fits": True}]),
        "plots": gpd.GeoDataFrame(build("plots", [] if scout else plots, [] if scout else shapes, crs)),
        "existing": gpd.GeoDataFrame({"origin": ["wild", "outplant"] * 30}, geometry=living, crs=crs)
        if existing
        else None,
        "protected": gpd.GeoDataFrame({"name": [words], "rule": ["permit"]}, geometry=[park], crs=crs),
        "constraints": gpd.GeoDataFrame(
            {"name": [words] * 2, "label": [words, "cable"], "constraint": ["a", "b"]}, geometry=beds, crs=crs
        ),
        "coast": gpd.GeoDataFrame(
            {"name": ["land"]}, geometry=[shapely.Point(x0 - 40 * size_m, y0).buffer(20 * size_m)], crs=crs
        ),
        "sea": sea,
        "norths": norths,
        "water": Water("MLLW", 0.3, 0.55, 0.0),
        "marks": (
            Mark(words, "harbour", x0 - 21 * size_m, y0),
            Mark("Nursery", "nursery", x0 + size_m, y0 - size_m / 2),
            Mark("Marker A", "buoy", x0, y0, "18° 03.0′ N, 050° 17.0′ W", "orange ball"),
        ),
        "heights": (Height("APAL", 12, 60, 5),),
        "facts": (("applicant", words), ("contact", words)),
        "materials": ((words, "32", "yes", "—", ""),),
        "monitoring": (("1 month", words),),
        "conditions": (words,),
        "cautions": CAUTIONS,
        "notes": ("A note.",),
        "scout": scout,
    }
    return Packet(**{**facts, **changes})


def _rules(names: list[str], words: str) -> list[dict[str, Any]]:
    common: dict[str, Any] = {"nearest_unit_m": 6.0}
    rows = []
    for name in names:
        rows.append(
            {**common, "work_area": name, "kind": "protected area", "name": words, "rule": "permit", "inside": True,
             "overlap_m2": 100.0, "overlap_pct": 100.0, "distance_m": 0.0, "keep_clear_m": None, "decides": True,
             "permit": words, "verdict": "permit named"}
        )  # fmt: skip
        rows.append(
            {**common, "work_area": name, "kind": "seagrass", "name": words, "rule": "keep clear", "inside": False,
             "overlap_m2": 0.0, "overlap_pct": 0.0, "distance_m": 31.0, "keep_clear_m": 5.0, "decides": False,
             "permit": None, "verdict": "kept clear"}
        )  # fmt: skip
    return rows


def page_faults(data: bytes, *, with_pdfplumber: bool = False) -> list[str]:
    """What an officer would strike out: letters printed over others or beyond the margins, on any sheet.

    Read by pdfium, or by pdfplumber (twenty times slower, an independent witness), which tells fonts too.
    """
    found: list[str] = []
    if with_pdfplumber:
        with pdfplumber.open(io.BytesIO(data)) as pdf:
            for page in pdf.pages:
                chars = [c for c in page.chars if c["text"].strip()]
                strange = {c["fontname"] for c in chars if "DejaVuSans" not in c["fontname"]}
                found += [f"page {page.page_number}: font {n}" for n in strange]
                box = np.array([[c["x0"], c["top"], c["x1"], c["bottom"]] for c in chars], dtype=float)
                size = (float(page.width), float(page.height))
                found += _faults(f"page {page.page_number}", [c["text"] for c in chars], box, size)
        return found
    for number, page in enumerate(pypdfium2.PdfDocument(data), start=1):
        letters = page.get_textpage()
        size = page.get_size()
        text = letters.get_text_range()
        inked = [k for k in range(letters.count_chars()) if text[k : k + 1].strip()]
        raw = np.array([letters.get_charbox(k, loose=True) for k in inked], dtype=float)
        box = np.column_stack([raw[:, 0], size[1] - raw[:, 3], raw[:, 2], size[1] - raw[:, 1]])
        found += _faults(f"page {number}", [text[k] for k in inked], box, size)
    return found


def page_texts(data: bytes) -> list[str]:
    """The text of each sheet, line ends as spaces."""
    return [" ".join(p.get_textpage().get_text_range().split()) for p in pypdfium2.PdfDocument(data)]


def _faults(where: str, letters: list[str], box: Any, size: tuple[float, float]) -> list[str]:
    width, height = size
    out = (box[:, 0] < 36 - 0.2) | (box[:, 2] > width - 36 + 0.2)
    out |= (box[:, 1] < 72 - 2) | (box[:, 3] > height - 36 + 2)
    found = [f"{where}: {letters[k]!r} at {box[k].round(1)} is outside the margins" for k in np.flatnonzero(out)[:5]]
    tree = shapely.STRtree(shapely.box(box[:, 0], box[:, 1], box[:, 2], box[:, 3]))
    one, other = tree.query(tree.geometries, predicate="intersects")
    one, other = one[one < other], other[one < other]
    wide = np.minimum(box[one, 2], box[other, 2]) - np.maximum(box[one, 0], box[other, 0])
    high = np.minimum(box[one, 3], box[other, 3]) - np.maximum(box[one, 1], box[other, 1])
    least_wide = np.minimum(box[one, 2] - box[one, 0], box[other, 2] - box[other, 0])
    least_high = np.minimum(box[one, 3] - box[one, 1], box[other, 3] - box[other, 1])
    over = (wide > np.maximum(0.35 * least_wide, 0.5)) & (high > 0.3 * least_high)
    return found + [
        f"{where}: {letters[a]!r} over {letters[b]!r} at x {box[a, 0]:.0f}, y {box[a, 1]:.0f} from above"
        for a, b in zip(one[over], other[over], strict=True)
    ]
