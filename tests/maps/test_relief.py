"""Hill shade, contours, gates and refill points on the drawings."""

from __future__ import annotations

import base64
import json
import re
import struct
import xml.etree.ElementTree as ET
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import rasterio.io
import shapely

from gridmap.errors import CRSRefused, InputRefused
from gridmap.ground import Dem
from maps import draw_plan, relief, sheet
from maps.look import PRINT_LOOK
from maps.style import LIGHT
from maps.takeaway_data import scene_json
from maps.view import extent

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def hilly(scene):
    """Return the scene on a plane that rises by 0.2 toward the north, with a gate and two refill points."""
    west, south, east, north = extent(scene)
    x0, y0 = west - 150, north + 150
    rows, columns = int((north - south + 300) / 5), int((east - west + 300) / 5)
    z = 0.2 * (y0 - (np.arange(rows) + 0.5) * 5 - south)
    dem = Dem(np.repeat(z[:, None], columns, axis=1), x0, y0, (5, 5), 7855)
    places = [shapely.Point(west + 60, south + 5), shapely.Point(300_122, 6_100_095), shapely.Point(east, north)]
    points = gpd.GeoDataFrame(
        {"name": ["<b>gate", "near tank", "far tank"], "kind": ["gate", "refill", "refill"]}, geometry=places, crs=7855
    )
    return replace(scene, dem=dem, points=points)


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_the_picture_of_shade_is_a_png_that_another_reader_opens():
    """Outside check: GDAL reads what was written."""
    picture = np.random.default_rng(1).integers(0, 256, (7, 5, 2)).astype(np.uint8)
    with rasterio.io.MemoryFile(relief.png(picture)) as memory, memory.open(driver="PNG") as found:
        assert np.array_equal(np.moveaxis(found.read(), 0, -1), picture)


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_a_slope_away_from_the_light_is_dark_and_toward_it_is_light():
    """Physical sense: the light stands in the north-west."""
    z = np.add.outer(np.arange(8.0), np.zeros(8))  # falls toward the north: toward the light
    for height, grey in ((z, 255), (z[::-1], 0)):
        x, y = np.meshgrid([40.0], [40.0])
        address = relief.shade_address(Dem(height * 3, 0, 80, (10, 10), 7855), x, y)
        with rasterio.io.MemoryFile(base64.b64decode(address.split(",")[1])) as memory, memory.open() as found:
            assert found.read()[0, 0, 0] == grey


def test_contours_lie_at_their_heights(hilly):
    """Geometry: on the plane a contour of z metres lies z / 0.2 metres north of its foot."""
    bounds = extent(hilly)
    lines = relief.contours(hilly, bounds, keep_m=0.0)
    assert len(lines) > 5
    for line, z in zip(lines.geometry, lines["elevation_m"], strict=True):
        assert shapely.get_coordinates(line)[:, 1] == pytest.approx(bounds[1] + z / 0.2, abs=1e-6)
    step = np.diff(np.unique(lines["elevation_m"]))[0]
    assert (lines["is_index"] == (np.round(lines["elevation_m"] / step) % 5 == 0)).all()


def test_the_plan_draws_shade_then_contours_then_the_rest(hilly, scene):
    drawn = draw_plan(hilly, width_px=1000, height_px=900)
    root = ET.fromstring(drawn.svg)
    order = [child.tag for child in root]
    assert order.index(f"{SVG}image") < next(
        i for i, child in enumerate(root) if child.get("fill") == LIGHT.paper and child.tag == f"{SVG}path"
    )
    widths = {child.get("stroke-width") for child in root if child.get("stroke") == LIGHT.contour}
    assert widths == {"0.8", "1.6"}
    words = ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]
    assert any(re.fullmatch(r"\d+ m", word) and not word.startswith("100") for word in words)
    assert {"<b>gate", "near tank", "far tank"} <= set(words)
    assert draw_plan(hilly, width_px=1000, height_px=900).svg == drawn.svg
    assert "<image" not in draw_plan(scene, width_px=1000, height_px=900).svg


def test_paper_gets_gates_but_no_shade(hilly):
    drawn = draw_plan(hilly, width_px=700, height_px=500, look=PRINT_LOOK).svg
    assert "<image" not in drawn
    assert "near tank" in drawn


def test_the_take_away_map_holds_ground_and_points(hilly, scene):
    data = json.loads(scene_json(hilly)[0])
    assert [point["kind"] for point in data["points"]] == ["gate", "refill", "refill"]
    assert data["relief"]["image"].startswith("data:image/png;base64,")
    png = base64.b64decode(data["relief"]["image"].split(",")[1])
    assert struct.unpack(">2I", png[16:24]) == (240, 240)
    (south, west), (north, east) = data["relief"]["bounds"]
    assert south < data["bounds"][0] < data["bounds"][2] < north
    assert west < data["bounds"][1] < data["bounds"][3] < east
    assert {heavy for heavy, _ in data["relief"]["contours"]} == {True, False}
    assert data["relief"]["heights"]
    bare = json.loads(scene_json(scene)[0])
    assert (bare["relief"], bare["points"]) == (None, [])


def test_level_ground_has_no_contours_and_a_gap_no_shade(hilly):
    level = replace(hilly, dem=Dem(np.full((80, 80), 12.0), hilly.dem.west_m, hilly.dem.north_m, (5, 5), 7855))
    assert relief.contours(level, extent(level), keep_m=0).empty
    empty = replace(hilly, dem=Dem(np.full((80, 80), np.nan), hilly.dem.west_m, hilly.dem.north_m, (5, 5), 7855))
    assert "<image" not in draw_plan(empty, width_px=600, height_px=600).svg
    far = replace(hilly, dem=Dem(np.ones((80, 80)), 0, 0, (5, 5), 7855))
    assert "<image" not in draw_plan(far, width_px=600, height_px=600).svg


def test_heights_of_another_crs_and_points_of_no_kind_are_refused(hilly):
    with pytest.raises(CRSRefused, match="The heights to draw are in EPSG:28355"):
        replace(hilly, dem=replace(hilly.dem, crs=28355))
    with pytest.raises(CRSRefused, match="Points to draw are in"):
        replace(hilly, points=hilly.points.to_crs(28355))
    with pytest.raises(InputRefused, match="Points has no column 'kind'"):
        replace(hilly, points=hilly.points.drop(columns="kind"))


def test_the_sheet_names_the_nearest_refill_point_with_its_distance(hilly, scene):
    tree = hilly.trees.iloc[0]
    far = hilly.points.set_index("name").distance(tree["geometry"])
    expected = f" ({far[['near tank', 'far tank']].idxmin()}, {far[['near tank', 'far tank']].min():.0f} m away)"
    assert sheet._nearest_refill(hilly, tree["tree"]) == expected
    assert sheet._nearest_refill(scene, tree["tree"]) == ""
