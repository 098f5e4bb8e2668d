"""The take-away map: one HTML file that opens with the network off and answers for every tree."""

from __future__ import annotations

import base64
import hashlib
import html
import re
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import folium
from branca.element import Element

from gridmap.errors import InputRefused
from maps.scene import Scene
from maps.takeaway_data import scene_json
from maps.takeaway_words import colours_css, head, patterns_svg, sheet

_LEAFLET: Final = files("maps") / "page" / "lib" / "leaflet"
# Nothing may be fetched from anywhere; scripts are the library, given as data, and the page's own, named by their
# hashes.
_POLICY: Final = "; ".join((
    "default-src 'none'", "img-src data:", "style-src 'unsafe-inline' data:", "script-src data: {hashes}",
    "base-uri 'none'", "form-action 'none'",
))  # fmt: skip


class _Raw(Element):
    """Markup that is finished. The library would read it as a template, and a name such as ``{{ x }}`` would be run."""

    def __init__(self, markup: str) -> None:
        super().__init__()
        self.markup = markup

    def render(self, **_kwargs: Any) -> str:
        return self.markup


class _OfflineMap(folium.Map):
    """A folium map whose libraries travel inside the file, and whose name doesn't change from run to run."""

    def __init__(self, after: str, **settings: Any) -> None:
        super().__init__(**settings)
        self._name, self._id = "Map", "grove"
        self.after = after
        self.default_js = [("leaflet", _data_address("leaflet.js", "text/javascript"))]
        self.default_css = [("leaflet_css", _data_address("leaflet.css", "text/css"))]

    def render(self, **kwargs: Any) -> Any:
        """Put the sheet behind the map, and the page's script behind the map's."""
        super().render(**kwargs)
        figure: Any = self.get_root()
        figure.html.add_child(_Raw(self.after), name="sheet")
        figure.script.add_child(_Raw((files("maps") / "page" / "takeaway.js").read_text("utf-8")), name="page")


def takeaway_map(scene: Scene, path: Path | str) -> Path:
    """Write the map to take along: layers, legend, every tree's numbers, all in one file that asks nobody for anything.

    Parameters
    ----------
    scene : Scene
        The grove and its walk.
    path : Path or str
        Where the HTML goes; an older one is replaced.

    Returns
    -------
    Path
        Where it lies. The same scene gives the same bytes.

    Raises
    ------
    InputRefused
        When the grove holds nothing to draw, or the folder is not there.
    """
    target = Path(path)
    if not target.parent.is_dir():
        raise InputRefused(f"{target.parent} is no folder", "the map needs one to lie in", "make the folder first")
    target.write_text(_page(scene), "utf-8")
    return target


def _page(scene: Scene) -> str:
    data, centre = scene_json(scene)
    after = f'<script type="application/json" id="scene">{data}</script>{sheet(scene)}'
    chart = _OfflineMap(
        after,
        location=centre,
        zoom_start=17,
        tiles=None,
        zoom_snap=0,
        zoom_delta=0.5,
        max_zoom=23,
        attribution_control=False,
    )
    figure: Any = chart.get_root()
    style = (files("maps") / "page" / "takeaway.css").read_text("utf-8")
    title = html.escape(f"{scene.grove}: what the walk found")
    figure.header.add_child(
        _Raw('<meta name="viewport" content="width=device-width, initial-scale=1">'), name="viewport"
    )
    figure.header.add_child(_Raw(f"<title>{title}</title>"), name="title")
    figure.html.add_child(_Raw(patterns_svg() + head(scene)), name="head")
    page = figure.render()
    # After folium's own rules, so that ours hold.
    page = page.replace("</head>", f"<style>{colours_css()}{style}</style></head>", 1)
    return _with_policy(page.replace("<html>", '<html lang="en">', 1))


def _with_policy(page: str) -> str:
    inline = re.findall(r"<script>(.*?)</script>", page, flags=re.DOTALL)
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()}'" for code in inline
    )
    policy = f'<meta http-equiv="Content-Security-Policy" content="{_POLICY.format(hashes=hashes)}">'
    return page.replace("<head>", f"<head>{policy}", 1)


def _data_address(name: str, kind: str) -> str:
    text = (_LEAFLET / name).read_text("utf-8")
    # Pictures of controls that are not used, and the map of the library's source: a browser would ask for them.
    text = re.sub(r"url\(images/[^)]*\)", "none", text)
    # Remarks in the style sheet name addresses of bug reports.
    text = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL) if name.endswith(".css") else text
    text = re.sub(r"\n//# sourceMappingURL=.*", "", text)
    return f"data:{kind};base64,{base64.b64encode(text.encode()).decode()}"
