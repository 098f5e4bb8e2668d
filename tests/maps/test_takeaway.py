"""The take-away map: asks nobody for anything, answers for every tree, keeps names as text."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser

import geopandas as gpd
import pytest
from scene_factory import make_scene
from shapely.geometry import Polygon

from gridmap.errors import InputRefused
from gridmap.ground import cells
from maps.scene import Scene
from maps.takeaway import takeaway_map
from maps.takeaway_data import scene_json

# Names of XML vocabularies (they are never fetched), and the library's own mark, which is switched off.
ALLOWED = {
    "http://www.w3.org/2000/svg",
    "http://www.w3.org/1999/xhtml",
    "http://www.w3.org/1999/xlink",
    "https://leafletjs.com",
}
FETCHING = {"src", "srcset", "data", "poster", "action", "formaction", "background", "xlink:href", "ping", "manifest"}


class Page(HTMLParser):
    """The page as a browser reads it: elements, attributes, text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    handle_startendtag = handle_starttag

    def handle_data(self, data):
        self.words.append(data)


def unpacked(text: str) -> str:
    """Decode the page's data: addresses, so that nothing hides in them."""
    return re.sub(
        r"data:[\w/]+;base64,([A-Za-z0-9+/=]+)", lambda found: base64.b64decode(found.group(1)).decode(), text
    )


@pytest.fixture(scope="module")
def page(scene, tmp_path_factory):
    return takeaway_map(scene, tmp_path_factory.mktemp("map") / "pressure.html").read_text("utf-8")


def test_page_names_no_remote_address(page):
    whole = unpacked(page)
    named = set(re.findall(r"(?:https?:)?//[a-z0-9][\w.-]*\.[a-z]{2,}(?:/[\w./-]*)?", whole, flags=re.IGNORECASE))
    assert {address.rstrip("/") for address in named} <= ALLOWED
    for word in ("cdn", "@import", "XMLHttpRequest(", "fetch(", "importScripts", "WebSocket", "sendBeacon"):
        assert word not in whole, word
    assert not re.search(r"url\((?!#|data:)", whole)


def test_every_element_that_could_fetch_holds_its_data(page):
    for tag, attributes in Page(page).elements:
        for name, value in attributes.items():
            if name in FETCHING or (name == "href" and tag != "a"):
                assert (value or "").startswith("data:"), (tag, name)


def test_policy_forbids_remote_hosts_and_names_each_script(page):
    policy = next(attributes["content"] for tag, attributes in Page(page).elements
                  if attributes.get("http-equiv") == "Content-Security-Policy")  # fmt: skip
    assert "default-src 'none'" in policy
    # W3C, Content Security Policy Level 3, 2.3.1: sources without a host or scheme of the network.
    for source in policy.replace(";", " ").split():
        assert "." not in source
        assert source not in ("*", "http:", "https:", "blob:", "'unsafe-eval'")
    # CSP 3, 6.7.3: the base64 SHA-256 of exactly what stands between the tags.
    for code in re.findall(r"<script>(.*?)</script>", page, flags=re.DOTALL):
        digest = base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy
    assert page.index("Content-Security-Policy") < page.index("<script")


def test_names_stay_text(tmp_path):
    wild = {"Lower Gate": "<img src=x onerror=alert(1)>", "Ridge": "</script><script>alert(2)</script>",
            "Old Well": "{{ 7 * 191 }}{% raw %}", "dam": "</textarea><svg onload=alert(3)>",
            "bush": '" onclick="alert(4)', "Far Side": "بستان & Ελιά"}  # fmt: skip
    scene = make_scene(grove="</title><script>alert(5)</script>{{ 7 * 191 }}", names=wild)
    scene = replace(scene, attribution="<b>{{ 7 * 191 }}</b>", software="<i>gridmap</i>")
    text = takeaway_map(scene, tmp_path / "p.html").read_text("utf-8")
    plain = takeaway_map(make_scene(), tmp_path / "q.html").read_text("utf-8")
    read, usual = Page(text), Page(plain)
    assert [tag for tag, _ in read.elements] == [tag for tag, _ in usual.elements]
    assert not any(name.startswith("on") for _, attributes in read.elements for name in attributes)
    assert not re.search(r"\b1337\b", "".join(words for words in read.words if len(words) < 2_000))
    for name in wild.values():
        assert name in read.words or name in "".join(read.words)


def test_every_tree_stands_in_the_table_in_the_order_of_the_map(scene, page):
    body = re.search(r'<table id="trees">.*?</table>', page, flags=re.DOTALL).group(0)
    rows = [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in re.findall(r"<tr>(<td.*?)</tr>", body)]
    trees = scene.trees
    assert [(row[0], row[1], row[2]) for row in rows] == [
        (block, str(row), str(position))
        for block, row, position in zip(trees["block"], trees["row"], trees["position"], strict=True)
    ]
    unknown = (scene.tree_pressure()["knowledge"] == "unknown").to_numpy()
    assert all((row[3] == "too few to say") == gone for row, gone in zip(rows, unknown, strict=True))
    assert sum(bool(row[6]) for row in rows) == len(scene.beaten_trees())
    drawn = json.loads(
        re.search(r'<script type="application/json" id="scene">(.*?)</script>', page, flags=re.DOTALL).group(1)
    )
    assert len(drawn["trees"]) == len(rows)
    assert [tree[2] == 2 for tree in drawn["trees"]] == unknown.tolist()


def test_cells_return_to_where_they_were(scene):
    # Round trip through WGS 84 and whole ten-millionths of a degree (1.1 cm of latitude).
    drawn = json.loads(scene_json(scene)[0])
    latitude, longitude = drawn["origin"]
    shapes = [Polygon([(longitude + corners[i] * 1e-7, latitude + corners[i + 1] * 1e-7) for i in range(0, 8, 2)])
              for corners, _, _ in drawn["trees"]]  # fmt: skip
    back = gpd.GeoSeries(shapes, crs=4326).to_crs(scene.trees.crs)
    truth = cells(scene.trees, scene.blocks).geometry
    assert back.hausdorff_distance(truth).max() < 0.02


def test_legend_layers_and_marks_are_there(page, scene):
    for words in ("well known", "doubtful", "unknown", "nymphs and adults expected in one beat", "Show a tree",
                  "All trees as a table", "Invented demo grove", "The label and permit are the law",
                  "12 November 2025"):  # fmt: skip
        assert words in page, words
    for words in ("Keep-outs and setbacks", "Expected count", "Beaten trees", "Hot spots", "Runs", "L.control.scale"):
        assert words in page, words
    for name in ("doubtful", "unknown", "setback", "water", "bush"):
        assert f'id="{name}"' in page


def test_same_scene_same_bytes_and_light(scene, page, tmp_path):
    assert takeaway_map(scene, tmp_path / "p.html").read_text("utf-8") == page
    assert len(page.encode()) < 3_000_000


def test_bare_grove_and_no_threshold(scene, tmp_path):
    bare = Scene(grove="Bare", blocks=scene.blocks, trees=scene.trees)
    assert "No walk yet" in takeaway_map(bare, tmp_path / "a.html").read_text("utf-8")
    assert "no chance is worked out" in takeaway_map(make_scene(threshold=None), tmp_path / "b.html").read_text("utf-8")
    with pytest.raises(InputRefused, match="is no folder"):
        takeaway_map(scene, tmp_path / "none" / "p.html")


@pytest.mark.slow
def test_page_opens_in_a_browser_without_network(page, scene, tmp_path):
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("no chromium on this computer")
    file = tmp_path / "pressure.html"
    file.write_text(page, "utf-8")
    done = subprocess.run(
        [browser, "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={tmp_path / 'profile'}",
         "--virtual-time-budget=3000", "--dump-dom", file.as_uri()],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    assert f'data-ready="{len(scene.trees)}"' in done.stdout
    assert 'class="hatch-unknown' in done.stdout
