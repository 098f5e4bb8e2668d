"""Heights, arrows, gates and refill points through the command line; what can't be used changes nothing on disk.

No published example for the doors. The ground is a tilted plane, whose heights, fall and area follow from geometry; the
formulas behind them are checked against published windows in tests/gridmap/ground.
"""

from __future__ import annotations

import csv
import hashlib
import json
import math
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from affine import Affine
from typer.testing import CliRunner

from api.cli import app
from api.steps.places_ground import lay_again
from api.store import GroveFile
from api.store.tables import PLACE

LONGITUDE, LATITUDE = -9.40, -31.90
METRE_EAST, METRE_NORTH = 1 / 94_500, 1 / 110_880
RISE = 0.2  # metres up for each metre toward grid north
UTM = 32729


def run(*words: object, status: int = 0) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == status, result.stderr or result.stdout
    return result.stdout if status == 0 else result.stderr


def at(east: float, north: float) -> list[float]:
    return [LONGITUDE + east * METRE_EAST, LATITUDE + north * METRE_NORTH]


def geojson(path: Path, *features: tuple[dict, dict]) -> Path:
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": properties, "geometry": shape} for properties, shape in features]}))
    return path


def box(west: float, south: float, east: float, north: float) -> dict:
    ring = [at(west, south), at(east, south), at(east, north), at(west, north), at(west, south)]
    return {"type": "Polygon", "coordinates": [ring]}


@pytest.fixture
def grove(tmp_path) -> Path:
    """Return a grove of two blocks, the upper one's arrow typed wrong way round."""
    path = tmp_path / "home.gpkg"
    run("new", path, "--name", "Home", "--at", f"{LONGITUDE},{LATITUDE}", "--time-zone", "Atlantic/St_Helena",
        "--season-start", "07-01", "--currency", "XTS")
    run("import-outlines", path, geojson(tmp_path / "blocks.geojson", ({"name": "Low"}, box(0, 0, 60, 40)),
                                         ({"name": "Top"}, box(0, 60, 60, 100))))
    for block, uphill in (("Low", 0), ("Top", 180)):
        run("make-rows", path, "--block", block, "--row-bearing", 90, "--row-spacing", 7, "--tree-spacing", 5,
            "--headland", 3, "--uphill", uphill)
    return path


def places(path: Path):
    with GroveFile.open(path, read_only=True) as grove:
        return grove.places()


def bounds(path: Path):
    with GroveFile.open(path, read_only=True) as grove:
        return grove.blocks().total_bounds


def height(north, south):
    return 100 + RISE * (north - south)


def write_dem(path: Path, west, south, east, north, *, base, cell=5.0, unit="metre", factor=1.0) -> Path:
    """Write the tilted plane as a GeoTIFF in the grove's CRS."""
    columns, rows = round((east - west) / cell), round((north - south) / cell)
    y = north - (np.arange(rows) + 0.5) * cell
    z = np.repeat((height(y, base) * factor)[:, None], columns, axis=1)
    with rasterio.open(path, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float32",
                       crs=f"EPSG:{UTM}", transform=Affine(cell, 0, west, 0, -cell, north), nodata=-9999) as target:
        target.write(z.astype("float32"), 1)
        if unit:
            target.units = (unit,)
    return path


@pytest.fixture
def dem(grove, tmp_path) -> Path:
    west, south, east, north = bounds(grove)
    return write_dem(tmp_path / "hill.tif", west - 200, south - 200, east + 200, north + 200, base=south)


def test_without_heights_the_arrows_give_metres_upslope_of_each_block(grove):
    """Physical sense: along an arrow to the north the rows, 7 m apart, stand 0, 7, 14, ... m up."""
    found = places(grove)
    low = found[found["block"] == "Low"]
    assert low.groupby("row")["upslope_m"].mean().round(2).tolist() == pytest.approx([0, 7, 14, 21, 28], abs=0.2)
    top = found[found["block"] == "Top"]
    assert np.corrcoef(top["upslope_m"], -top.geometry.y)[0, 1] > 0.9999
    assert json.loads(run("show", grove, "--json"))["trees_with_metres_upslope"] == len(found)


def test_a_dem_gives_every_place_its_height_and_no_row_another_number(grove, dem):
    before = places(grove)
    said = run("import-dem", grove, dem)
    after = places(grove)
    unchanged = ["place", "block", "row", "position", "tree", "geometry"]
    assert after[unchanged].equals(before[unchanged])
    south = bounds(grove)[1]
    assert after["elevation_m"].to_numpy() == pytest.approx(height(after.geometry.y, south).to_numpy(), abs=0.01)
    # On a plane metres upslope are the map distance along the fall, from the lowest tree of the grove.
    north = after.geometry.y - after.geometry.y.min()
    assert after["upslope_m"].to_numpy() == pytest.approx(north.to_numpy(), abs=0.05)
    assert "110 of 110 places" in said
    assert "Top: your arrow says 180 degrees, the heights 0. Yours is kept" in said
    assert "Low: your arrow" not in said
    with GroveFile.open(grove, read_only=True) as store:
        assert store.blocks().set_index("block")["uphill_bearing_deg"].to_dict() == {"Low": 0.0, "Top": 180.0}


def test_the_file_remembers_the_dem_and_undo_takes_everything_back(grove, dem):
    before = places(grove)
    run("import-dem", grove, dem)
    dem_bytes = dem.read_bytes()
    dem.unlink()
    with GroveFile.open(grove, read_only=True) as store:
        kept = store.terrain()["dem"]
    assert (kept.file_name, kept.crs, kept.vertical_unit) == ("hill.tif", f"EPSG:{UTM}", "metre")
    assert kept.file_sha256 == hashlib.sha256(dem_bytes).hexdigest()
    assert kept.cell_width_m == 5.0
    assert "Taken back: import heights from hill.tif" in run("undo", grove)
    assert places(grove).equals(before)
    assert json.loads(run("show", grove, "--json"))["heights_from"] == {}


def test_ground_area_stands_beside_map_area(grove, dem):
    """Geometry: a plane that rises by 0.2 has sqrt(1 + 0.2^2) = 1.0198 times its map area."""
    assert "ground ha" not in run("show", grove)
    run("import-dem", grove, dem)
    assert "ground ha" in run("show", grove)
    for area in json.loads(run("show", grove, "--json"))["ground_areas"]:
        assert area["ground_area_ha"] / area["map_area_ha"] == pytest.approx(math.sqrt(1 + RISE**2), rel=0.004)
        assert area["covered_percent"] == 100


def test_a_dem_in_degrees_gives_the_same_heights(grove, tmp_path):
    """Outside check: the same plane on a grid of longitude and latitude, each cell's place by PROJ."""
    south, cell = bounds(grove)[1], 5e-5
    west, top, size = LONGITUDE - 0.002, LATITUDE + 0.003, 80
    lon, lat = np.meshgrid(west + (np.arange(size) + 0.5) * cell, top - (np.arange(size) + 0.5) * cell)
    _, y = pyproj.Transformer.from_crs(4326, UTM, always_xy=True).transform(lon, lat)
    with rasterio.open(tmp_path / "degrees.tif", "w", driver="GTiff", width=size, height=size, count=1,
                       dtype="float32", crs="EPSG:4326", transform=Affine(cell, 0, west, 0, -cell, top)) as target:
        target.write(height(y, south).astype("float32"), 1)
        target.units = ("metre",)
    run("import-dem", grove, tmp_path / "degrees.tif")
    found = places(grove)
    assert found["elevation_m"].to_numpy() == pytest.approx(height(found.geometry.y, south).to_numpy(), abs=0.02)
    with GroveFile.open(grove, read_only=True) as store:
        assert store.terrain()["dem"].crs == "EPSG:4326"


def test_a_dem_that_covers_a_part_says_of_which_blocks(grove, tmp_path):
    west, south, east, _ = bounds(grove)
    dem = write_dem(tmp_path / "part.tif", west - 100, south - 100, east + 100, south + 80, base=south)
    said = run("import-dem", grove, dem)
    assert "Heights for a part only of: Top (" in said
    found = places(grove)
    assert found[found["block"] == "Low"]["elevation_m"].notna().all()
    assert found["upslope_m"].notna().all()
    least = write_dem(tmp_path / "least.tif", west - 100, south - 100, east + 100, south + 45, base=south)
    assert "No heights at all in: Top." in run("import-dem", grove, least)


def test_the_unit_of_heights_is_asked_for_and_never_assumed(grove, tmp_path):
    west, south, east, north = bounds(grove)
    feet = write_dem(tmp_path / "feet.tif", west - 100, south - 100, east + 100, north + 100, base=south, unit="",
                     factor=1 / 0.3048)
    before = grove.read_bytes()
    said = run("import-dem", grove, feet, status=1)
    assert "doesn't say the unit of its heights: nothing is assumed" in said
    assert grove.read_bytes() == before
    run("import-dem", grove, feet, "--vertical-unit", "foot")
    found = places(grove)
    assert found["elevation_m"].to_numpy() == pytest.approx(height(found.geometry.y, south).to_numpy(), abs=0.01)


@pytest.mark.parametrize(("content", "message"), [(b"", "is empty"), (b"II*\x00 nothing", "can't be read")])
def test_a_broken_dem_changes_nothing(grove, tmp_path, content, message):
    (tmp_path / "bad.tif").write_bytes(content)
    before = grove.read_bytes()
    assert message in run("import-dem", grove, tmp_path / "bad.tif", status=1)
    assert grove.read_bytes() == before


def test_trees_planted_after_the_dem_stand_on_it_and_rows_need_no_arrow(grove, dem, tmp_path):
    run("import-dem", grove, dem)
    run("import-outlines", grove, geojson(tmp_path / "c.geojson", ({"name": "Later"}, box(0, 110, 60, 150))))
    dem.unlink()
    run("make-rows", grove, "--block", "Later", "--row-bearing", 90, "--row-spacing", 7, "--tree-spacing", 5,
        "--headland", 3)
    found = places(grove)
    later = found[found["block"] == "Later"]
    expected = height(later.geometry.y, bounds(grove)[1])
    assert later["elevation_m"].to_numpy() == pytest.approx(expected.to_numpy(), abs=0.02)
    by_row = later.groupby("row")["elevation_m"].mean()
    assert by_row.is_monotonic_increasing


def heights_csv(path: Path, found, south: float, *, noise_m=0.0, wrong=None, coordinates=False) -> Path:
    """Write the plane's heights at places, by label or by coordinates."""
    noise = np.random.default_rng(4).normal(0, noise_m, len(found)) if noise_m else np.zeros(len(found))
    lonlat = found.to_crs(4326).geometry
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        label = ["block", "row", "position"]
        writer.writerow([*(["longitude", "latitude"] if coordinates else label), "elevation_m"])
        for i, place in enumerate(found.itertuples()):
            named = (place.block, place.row, place.position)
            z = (wrong or {}).get(named, height(place.geometry.y, south) + noise[i])
            where = [f"{lonlat.x.iloc[i]:.8f}", f"{lonlat.y.iloc[i]:.8f}"] if coordinates else named
            writer.writerow([*where, f"{z:.2f}"])
    return path


def test_heights_of_trees_lay_a_smooth_ground_and_wrong_ones_are_named(grove, tmp_path):
    found, south = places(grove), bounds(grove)[1]
    file = heights_csv(tmp_path / "z.csv", found.iloc[::2], south, noise_m=0.5, wrong={("Low", 1, 3): 900.0})
    said = run("import-heights", grove, file)
    assert "1 of them are plainly wrong and left out: Low/1/3" in said
    after = places(grove)
    assert after["elevation_m"].notna().all()
    error = after["elevation_m"] - height(after.geometry.y, south)
    assert error.abs().max() < 0.6
    assert after[["row", "position", "tree"]].equals(found[["row", "position", "tree"]])
    assert "Top: your arrow says 180 degrees" in said


def test_heights_by_coordinates_far_from_some_places_leave_those_alone(grove, tmp_path):
    found, south = places(grove), bounds(grove)[1]
    low = found[(found["block"] == "Low") & (found["row"] < 3)]
    said = run("import-heights", grove, heights_csv(tmp_path / "z.csv", low, south, coordinates=True))
    after = places(grove)
    far = after.geometry.distance(low.union_all()) > 50.5
    assert far.any()
    assert after[far]["elevation_m"].isna().all()
    assert after[~far & (after["block"] == "Low")]["elevation_m"].notna().all()
    assert after["upslope_m"].notna().all()
    assert "too few heights to tell" in said


def test_heights_of_an_unknown_tree_and_no_heights_are_refused(grove, tmp_path):
    (tmp_path / "z.csv").write_text("block,row,position,elevation_m\nLow,1,1,100\nLow,99,1,100\n")
    before = grove.read_bytes()
    assert "there is no place Low/99/1" in run("import-heights", grove, tmp_path / "z.csv", status=1)
    assert "No file with heights is named" in run("import-heights", grove, status=1)
    (tmp_path / "w.csv").write_text("block,row,position,elevation_m\nLow,1,1,9000\nLow,1,2,abc\n")
    said = run("import-heights", grove, tmp_path / "w.csv", status=1)
    assert "elevation_m is 9000: it must be between" in said
    assert grove.read_bytes() == before


def test_heights_that_trees_carry_are_used(tmp_path, grove):
    lines = ["block,row,position,longitude,latitude,elevation_m"]
    for row in range(1, 5):
        for position in range(1, 7):
            east, north = at(100 + 5 * position, 7 * row)
            lines.append(f"Wild,{row},{position},{east:.8f},{north:.8f},{50 + row}")
    (tmp_path / "trees.csv").write_text("\n".join(lines) + "\n")
    run("import-trees", grove, tmp_path / "trees.csv")
    found = places(grove)
    wild = found[found["block"] == "Wild"]
    assert wild.groupby("row")["upslope_m"].mean().tolist() == pytest.approx([0, 7, 14, 21], abs=0.2)
    assert "24 heights from the trees" in run("import-heights", grove)


def test_the_arrow_of_the_grove_joins_the_blocks(grove):
    before = places(grove)
    said = run("uphill", grove, 360)
    assert "toward 0 degrees. Rows keep their numbers" in said
    after = places(grove)
    north = after.geometry.y - after.geometry.y.min()
    assert after["upslope_m"].to_numpy() == pytest.approx(north.to_numpy(), abs=0.01)
    assert after[["row", "position"]].equals(before[["row", "position"]])
    assert "Uphill bearing is 400 degrees" in run("uphill", grove, 400, status=1)
    assert "There is no block 'Nix'" in run("uphill", grove, 10, "--block", "Nix", status=1)


def test_an_arrow_against_the_dem_is_told_and_kept(grove, dem):
    run("import-dem", grove, dem)
    said = run("uphill", grove, 90, "--block", "Low")
    assert "Low: the DEM rises toward 0 degrees. Your arrow is kept" in said
    with GroveFile.open(grove, read_only=True) as store:
        assert store.blocks().set_index("block")["uphill_bearing_deg"]["Low"] == 90


def gates(path: Path, *points: tuple[str, str, float, float]) -> Path:
    return geojson(path, *(({"name": name, "kind": kind}, {"type": "Point", "coordinates": at(east, north)})
                           for name, kind, east, north in points))


def test_gates_and_refill_points_come_in_by_kind(grove, tmp_path):
    both = gates(tmp_path / "p.geojson", ("road gate", "gate", -5, 50), ("tank", "refill", 70, 20))
    said = run("import-points", grove, both)
    assert "starts at the gate" in said
    assert "nearest to where each load runs dry" in said
    shown = json.loads(run("show", grove, "--json"))
    assert shown["points"] == [{"name": "road gate", "kind": "gate"}, {"name": "tank", "kind": "refill"}]
    with GroveFile.open(grove, read_only=True) as store:
        found = store.points()
    assert isinstance(found.geometry.iloc[0], shapely.Point)
    before = grove.read_bytes()
    assert "already" in run("import-points", grove, tmp_path / "p.geojson", status=1)
    bad = gates(tmp_path / "bad.geojson", ("door", "doors", 0, 0))
    assert "kind is 'doors': it must be one of gate, refill, other" in run("import-points", grove, bad, status=1)
    area = geojson(tmp_path / "area.geojson", ({"kind": "gate"}, box(0, 0, 5, 5)))
    assert "it must be a Point" in run("import-points", grove, area, status=1)
    assert grove.read_bytes() == before


def test_a_place_that_moves_gets_the_height_of_its_new_ground(grove, dem):
    run("import-dem", grove, dem)
    with GroveFile.open(grove) as store:
        place = store.places().iloc[0]
        with store.act("move") as act:
            act.update(PLACE, place["place"], {"geom": shapely.Point(place.geometry.x, place.geometry.y + 10)})
            lay_again(store, moved=[place["place"]])
        after = store.places().set_index("place")
    assert after.loc[place["place"], "elevation_m"] == pytest.approx(place["elevation_m"] + 10 * RISE, abs=0.02)
    assert after.loc[place["place"], "upslope_m"] == pytest.approx(place["upslope_m"] + 10, abs=3)
