"""The only user of folium: a bare Leaflet map in one page that asks the network for nothing.

folium's own links (jQuery, Bootstrap, fonts, tiles) are taken away, Leaflet is written into the page, ids come from a
counter instead of chance, and every script and style is named by its hash in the content-security policy. Text from
data never passes through folium: it would be read as a template and as HTML.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib import resources
from typing import Any

import folium
import numpy as np
from branca.element import Element, Figure
from folium.raster_layers import ImageOverlay
from folium.template import Template

from sitekit.base.wording import say
from sitekit.outputs.map_html.shell import assemble

_FILES = resources.files("sitekit.outputs.map_html")
PAGE_SCRIPTS = (
    "geodesy",
    "words",
    "unpack",
    "canvas",
    "draw",
    "facts",
    "panel",
    "tools",
    "start",
)  # page/*.js, in this order


@dataclass(frozen=True)
class Picture:
    """A picture for the map: `data:` address, south-west and north-east corners [degrees], opacity, shown at first."""

    key: str
    data_uri: str
    south: float
    west: float
    north: float
    east: float
    opacity: float
    show: bool


class _BareMap(folium.Map):
    """folium's map without its links and without the header that forbids zooming the page."""

    default_js: list[tuple[str, str]] = []
    default_css: list[tuple[str, str]] = []
    sk_said = ""  # what a screen reader says of the map
    _template = Template(
        """
        {% macro html(this, kwargs) %}<div id="{{ this.get_name() }}" class="sk-map" role="application"
        aria-label="{{ this.sk_said|e }}">
        </div>{% endmacro %}
        {% macro script(this, kwargs) %}const {{ this.get_name() }} = L.map({{ this.get_name()|tojson }}, {
            crs: L.CRS.{{ this.crs }}, center: {{ this.location|tojson }},
            ...{{ this.options|tojavascript }} });{% endmacro %}
        """
    )


class _Raw(Element):
    """Text written as it is: branca reads any other text as a template."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text

    def render(self, **kwargs: Any) -> str:
        """Return the text."""
        return self.text


def page_html(*, title: str, centre: tuple[float, float], pictures: list[Picture], data_json: str, body: str) -> str:
    """Return the whole page.

    Parameters
    ----------
    title : str
        Of the page; escaped here.
    centre : tuple of float
        Latitude, longitude at first [degrees].
    pictures : list of Picture
        Overlays, lowest first.
    data_json : str
        From `plain_text.script_json`: safe inside a script block.
    body : str
        HTML around the map, with the mark `<!--map-->` where the map goes; its texts are escaped by its maker.
    """
    count = iter(range(1, 10_000))
    figure = _named(Figure(), count)
    plan = _BareMap(
        location=list(centre),
        tiles=None,
        zoom_start=16,
        max_zoom=26,
        min_zoom=3,
        zoom_control=False,
        attribution_control=False,
        zoom_animation=False,
        fade_animation=False,
        marker_zoom_animation=False,
        zoom_snap=0.25,
        zoom_delta=0.5,
        wheel_px_per_zoom_level=90,
        double_click_zoom=False,
    )
    plan.sk_said = say("page.map")
    _named(plan, count).add_to(figure)
    overlays = []
    for picture in pictures:
        layer = ImageOverlay(
            np.zeros((1, 1)),
            [[picture.south, picture.west], [picture.north, picture.east]],
            pixelated=False,
            name=picture.key,
            show=picture.show,
            opacity=picture.opacity,
            class_name="sk-raster",
            alt="",
        )
        layer.url = picture.data_uri
        _named(layer, count).add_to(plan)
        overlays.append((picture.key, layer.get_name()))
    for child in list(figure._children.values()):
        child.render()
    names = ", ".join(f"{key!r}: {name}" for key, name in overlays)
    figure.script.add_child(_Raw(f"sitekit.start({plan.get_name()}, {{{names}}});"), name="start")
    scripts = [leaflet_script(), _page_script(), figure.script.render().strip()]
    styles = [leaflet_style(), _text("page/page.css")]
    whole = body.replace("<!--map-->", figure.html.render().strip())
    return assemble(title, scripts, styles, whole, {"sk-data": ("application/json", data_json)})


def leaflet_script() -> str:
    """Return Leaflet 1.9.4 without the line that points a debugger to a file that is not there."""
    return re.sub(r"\n?//# sourceMappingURL=\S+", "", _text("vendor/leaflet.js")).strip()


def leaflet_style() -> str:
    """Return Leaflet's style without its pictures: this page has no use for them, and they would be asked for."""
    return re.sub(r"[^;{}]*:\s*url\([^)]*\)[^;}]*;?", "", _text("vendor/leaflet.css")).strip()


def _page_script() -> str:
    return "\n".join(_text(f"page/{name}.js") for name in PAGE_SCRIPTS).strip()


def _named(element: Any, count: Any) -> Any:
    element._id = f"{next(count):04d}"
    return element


def _text(name: str) -> str:
    return _FILES.joinpath(name).read_text("utf-8").replace("\r\n", "\n")
