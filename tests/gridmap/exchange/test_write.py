"""Layers out, read again by a general library."""

from __future__ import annotations

import json
import math
import os
import sqlite3
import string
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gridmap.crs import to_grove
from gridmap.errors import CRSRefused, FileRefused, InputRefused
from gridmap.exchange import write_layer

EAST, NORTH = 500_000, 5_900_000
NOTE = "The grove is invented: <not> a real place & none of its figures is a fact."
FORMATS = ["geojson", "gpkg", "kml", "gpx", "shp.zip", "csv"]


def zone(epsg=7855):
    ring = shapely.box(EAST, NORTH, EAST + 90, NORTH + 60).difference(
        shapely.box(EAST + 20, NORTH + 20, EAST + 40, NORTH + 40)
    )
    parts = shapely.MultiPolygon([ring, shapely.box(EAST + 200, NORTH, EAST + 260, NORTH + 30)])
    return gpd.GeoDataFrame(
        {"zone": ["Z1", "Z2"], "trees": [31, 12], "litres": [77.5, float("nan")]},
        geometry=[parts, shapely.box(EAST, NORTH + 100, EAST + 50, NORTH + 120)],
        crs=epsg,
    )


def runs():
    lines = [shapely.LineString([(EAST, NORTH + 6 * i), (EAST + 80, NORTH + 6 * i + 1)]) for i in range(3)]
    table = {
        "run": [1, 2, 3],
        "block": ["Creek", "Creek <&> 'Top'", "Bächli"],
        "row": [1, 2, 3],
        "from_position": [4, 1, 2],
        "to_position": [9, 9, 8],
        "litres": [12.5, 20.0, 17.25],
    }
    return gpd.GeoDataFrame(table, geometry=lines, crs=7855)


def read(path: Path) -> gpd.GeoDataFrame:
    name = str(path)
    if name.endswith(".csv"):
        table = pd.read_csv(
            path, encoding="utf-8-sig", keep_default_na=False, na_values=[""], dtype={"block": str, "text": str}
        )
        return gpd.GeoDataFrame(
            table,
            geometry=gpd.GeoSeries.from_wkt(table["wkt"])
            if "wkt" in table
            else gpd.points_from_xy(table["longitude"], table["latitude"]),
            crs=4326,
        )
    return gpd.read_file(path, layer="tracks") if name.endswith(".gpx") else gpd.read_file(path)


@pytest.mark.parametrize(
    ("kind", "epsg"),
    [("geojson", 4326), ("gpkg", 7855), ("kml", 4326), ("gpx", 4326), ("shp.zip", 7855), ("csv", 4326)],
)
def test_a_general_library_reads_it_in_the_right_crs_with_the_right_area(tmp_path, kind, epsg):
    path = tmp_path / f"zone.{kind}"
    write_layer(zone(), path, wkt=True)
    back = read(path)
    assert back.crs.to_epsg() == epsg
    moved, _ = to_grove(back, 7855)
    shapes = moved.geometry.to_numpy()
    if kind == "gpx":
        shapes = shapely.build_area(shapes)
    assert shapely.area(shapes) == pytest.approx(zone().area.to_numpy(), rel=0.001)
    assert len(back) == 2


@pytest.mark.parametrize("kind", FORMATS)
def test_runs_keep_their_place_length_and_text(tmp_path, kind):
    path = tmp_path / f"runs.{kind}"
    renamed = write_layer(runs(), path, wkt=True)
    back, _ = to_grove(read(path), 7855)
    assert back.length.to_numpy() == pytest.approx(runs().length.to_numpy(), rel=0.001)
    # A centimetre: seven decimals of a degree.
    assert shapely.hausdorff_distance(back.geometry.to_numpy(), runs().geometry.to_numpy()).max() < 0.02
    names = {"gpx": "ogr_block"}
    assert back[names.get(kind, "block")].tolist() == runs()["block"].tolist()
    assert renamed == ({"from_position": "from_posit", "to_position": "to_positio"} if kind == "shp.zip" else {})
    assert kind != "shp.zip" or {"from_posit", "to_positio"} <= set(back.columns)


def test_geojson_follows_its_standard(tmp_path):
    # RFC 7946: section 3.1.6 outer rings counter-clockwise, holes clockwise; section 4 no member crs; 7 decimals.
    path = tmp_path / "zone.geojson"
    clockwise = zone().set_geometry(shapely.orient_polygons(zone().geometry.to_numpy(), exterior_cw=True))
    write_layer(clockwise, path, note=NOTE)
    content = json.loads(path.read_text(encoding="utf-8"))
    assert "crs" not in content
    assert content["description"] == NOTE
    for feature in content["features"]:
        for shape in shapely.get_parts(shapely.from_geojson(json.dumps(feature["geometry"]))):
            assert shape.exterior.is_ccw
            assert not any(hole.is_ccw for hole in shape.interiors)
            xy = shapely.get_coordinates(shape)
            assert np.abs(xy - xy.round(7)).max() == 0
    assert content["features"][1]["properties"]["litres"] is None


def test_gpx_holds_runs_as_named_tracks(tmp_path):
    # GPX 1.1 schema: gpx > trk > name, trkseg > trkpt with lat and lon.
    path = tmp_path / "runs.gpx"
    write_layer(runs(), path, note=NOTE)
    spell = {"g": "http://www.topografix.com/GPX/1/1"}
    root = ET.parse(path).getroot()
    assert root.get("version") == "1.1"
    tracks = root.findall("g:trk", spell)
    assert [track.findtext("g:name", namespaces=spell) for track in tracks][1] == "Creek <&> 'Top', row 2, 1 to 9"
    assert tracks[0].findtext("g:desc", namespaces=spell) == NOTE
    assert len(tracks[0].findall("g:trkseg/g:trkpt", spell)) == 2
    assert root.findtext("g:metadata/g:desc", namespaces=spell) == NOTE


def test_kml_carries_names_and_the_note(tmp_path):
    # OGC 12-007r2: coordinates are longitude, latitude.
    path = tmp_path / "zone.kml"
    write_layer(zone(), path, note=NOTE)
    root = ET.parse(path).getroot()
    assert root.tag == "{http://www.opengis.net/kml/2.2}kml"
    text = [element.text for element in root.iter() if element.tag.endswith("}description")]
    assert text.count(NOTE) >= 3
    names = [element.text for element in root.iter() if element.tag.endswith("}name")]
    assert "Z1" in names
    first = next(element.text for element in root.iter() if element.tag.endswith("}coordinates")).split()[0]
    assert [round(float(number)) for number in first.split(",")] == [147, -37, 0]


@pytest.mark.parametrize("kind", FORMATS)
def test_the_note_travels_with_every_format(tmp_path, kind):
    path = tmp_path / f"runs.{kind}"
    write_layer(runs(), path, note="The grove is invented.")
    content = path.read_bytes()
    if kind == "shp.zip":
        with zipfile.ZipFile(path) as archive:
            content = archive.read("runs-note.txt")
    assert b"The grove is invented." in content


def test_geopackage_passes_the_official_checker(tmp_path, geopackage_faults):
    path = tmp_path / "zone.gpkg"
    write_layer(zone(), path, note=NOTE)
    assert geopackage_faults(path) == []


def test_shapefile_says_what_its_short_names_mean(tmp_path):
    path = tmp_path / "p.shp.zip"
    table = {"mean_per_beat": [1.5], "median_per_beat": [1.0], "mean_per_beats": [2.0], "Row": [1], "row_": ["x" * 300]}
    renamed = write_layer(gpd.GeoDataFrame(table, geometry=[shapely.Point(EAST, NORTH)], crs=7855), path)
    assert renamed == {"mean_per_beat": "mean_per_b", "median_per_beat": "median_per", "mean_per_beats": "mean_per_2"}
    back = gpd.read_file(path)
    assert back["mean_per_2"].tolist() == [2.0]
    assert back["row_"].iloc[0] == "x" * 254
    with zipfile.ZipFile(path) as archive:
        assert "mean_per_2,mean_per_beats" in archive.read("p-columns.csv").decode()


def test_csv_runs_nothing_in_a_spreadsheet(tmp_path):
    path = tmp_path / "t.csv"
    frame = gpd.GeoDataFrame(
        {"block": ["=1+1", "@x", "-A", "B"], "litres": [-1.5, 2, 3, 4]},
        geometry=gpd.points_from_xy([EAST] * 4, [NORTH] * 4),
        crs=7855,
    )
    write_layer(frame, path)
    raw = pd.read_csv(path, encoding="utf-8-sig")
    assert raw["block"].tolist() == ["'=1+1", "'@x", "'-A", "B"]
    assert raw["litres"].tolist() == [-1.5, 2, 3, 4]


@pytest.mark.parametrize("kind", FORMATS)
def test_an_empty_zone_is_a_file_too(tmp_path, kind):
    path = tmp_path / f"zone.{kind}"
    write_layer(zone().head(0), path)
    assert len(pd.read_csv(path) if kind == "csv" else read(path)) == 0


@pytest.mark.parametrize("kind", FORMATS)
def test_names_that_a_format_keeps_for_itself(tmp_path, kind):
    path = tmp_path / f"t.{kind}"
    names = [
        "fid",
        "geom",
        "id",
        "time",
        "number",
        "type",
        "description",
        "name",
        "longitude",
        "wkt",
        "a b",
        "2x",
        "Ünit",
        "note",
    ]
    frame = gpd.GeoDataFrame(
        {name: ["one"] for name in names}, geometry=[shapely.LineString([(EAST, NORTH), (EAST + 9, NORTH)])], crs=7855
    )
    renamed = write_layer(frame, path, note="n")
    back = read(path)
    for name in names:
        written = renamed.get(name, name)
        # A name is the <name> of a placemark in KML, and comes back with a capital letter.
        found = next(key for key in (written, f"ogr_{written}", written.capitalize()) if key in back)
        assert back[found].tolist() == ["one"], name


def test_waypoints_for_trees(tmp_path):
    trees = gpd.GeoDataFrame(
        {"block": ["Creek"], "row": [2], "position": [7]}, geometry=[shapely.Point(EAST, NORTH)], crs=7855
    )
    write_layer(trees, tmp_path / "t.gpx")
    back = gpd.read_file(tmp_path / "t.gpx", layer="waypoints")
    assert back["name"].tolist() == ["Creek, row 2, position 7"]


@pytest.mark.parametrize("kind", ["gpx", "shp.zip"])
def test_mixed_shapes_refused_where_the_format_has_one_kind(tmp_path, kind):
    mixed = gpd.GeoDataFrame({"a": [1, 2]}, geometry=[shapely.Point(EAST, NORTH), zone().geometry.iloc[0]], crs=7855)
    with pytest.raises(InputRefused, match="can't hold"):
        write_layer(mixed, tmp_path / f"m.{kind}")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("frame", "name", "error", "message"),
    [
        (zone().set_crs(None, allow_override=True), "z.geojson", CRSRefused, r"The layer has no CRS"),
        (zone(), "z.docx", InputRefused, r"Format of z\.docx is None: it must be one of csv, geojson, gpkg"),
        (
            gpd.GeoDataFrame({"a": [1]}, geometry=[None], crs=7855),
            "z.gpkg",
            InputRefused,
            r"1 of 1 entries have no geometry",
        ),
        (zone(), "no/z.gpkg", FileRefused, r"Folder no is not there: .* Make it first"),
    ],
)
def test_refused(tmp_path, frame, name, error, message):
    with pytest.raises(error, match=message):
        write_layer(frame, tmp_path / name)


def test_a_grove_is_never_replaced_by_an_export(tmp_path):
    path = tmp_path / "grove.gpkg"
    for layer in ("blocks", "trees"):
        zone().to_file(path, layer=layer)
    before = path.read_bytes()
    with pytest.raises(FileRefused, match=r"grove\.gpkg holds more than one layer: it may be a grove"):
        write_layer(zone(), path)
    assert path.read_bytes() == before


def test_an_older_export_is_replaced_whole(tmp_path):
    path = tmp_path / "zone.gpkg"
    write_layer(zone(), path)
    write_layer(zone().head(1), path)
    assert len(gpd.read_file(path)) == 1
    assert [entry.name for entry in tmp_path.iterdir()] == ["zone.gpkg"]


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "zone.geojson"
    write_layer(zone(), path)
    before = path.read_bytes()

    def fail(*_args, **_options):
        raise pyogrio.errors.DataSourceError("disk full")

    monkeypatch.setattr(pyogrio, "write_dataframe", fail)
    with pytest.raises(FileRefused, match=r"File zone\.geojson can't be written: disk full"):
        write_layer(zone().head(1), path)
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["zone.geojson"]


def test_folder_that_cannot_be_written(tmp_path, monkeypatch):
    def denied(*_args, **_options):
        raise PermissionError(13, os.strerror(13))

    monkeypatch.setattr("tempfile.mkdtemp", denied)
    with pytest.raises(FileRefused, match=r"File zone\.geojson can't be written: Permission denied\. Choose another"):
        write_layer(zone(), tmp_path / "zone.geojson")


def test_geopackage_is_closed_and_whole(tmp_path):
    path = tmp_path / "zone.gpkg"
    write_layer(zone(), path)
    database = sqlite3.connect(path)
    assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    database.close()


@pytest.mark.parametrize("kind", FORMATS)
def test_the_last_decimal_stays(tmp_path, kind):
    # GDAL drops a seventh decimal behind five zeros (its formatter takes it for noise of binary numbers).
    line = shapely.LineString([(147.0000007, -37), (147.1000003, -37.1)])
    frame = gpd.GeoDataFrame({"n": [1]}, geometry=[line], crs=4326)
    write_layer(frame, tmp_path / f"a.{kind}", wkt=True)
    xy = shapely.get_coordinates(read(tmp_path / f"a.{kind}").geometry.to_numpy())
    assert xy[:, 0] == pytest.approx([147.0000007, 147.1000003], abs=2e-8)


# What a round trip may hold: text without control characters (they are taken out), no outer blanks, no empty text (it
# is missing), finite numbers.
TEXT = st.text(
    st.characters(codec="utf-8", exclude_categories=["C", "Z"]) | st.just("é") | st.sampled_from(string.punctuation),
    min_size=1,
    max_size=20,
)
ROW = st.fixed_dictionaries(
    {
        "text": TEXT.filter(lambda text: not text.startswith("'")),
        "whole": st.integers(-(2**31) + 1, 2**31 - 1),
        "real": st.floats(-1e6, 1e6).map(lambda value: round(value, 6)),
        "x": st.floats(0, 2000),
        "y": st.floats(0, 2000),
    }
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(ROW, min_size=1, max_size=5))
@pytest.mark.parametrize("kind", FORMATS)
def test_round_trip(tmp_path, kind, rows):
    table = pd.DataFrame(rows)
    if kind == "gpx":
        # GDAL guesses the types of GPX extensions from what the first ones look like; a letter keeps them text.
        table["text"] = "t" + table["text"]
    lines = [
        shapely.LineString([(EAST + x, NORTH + y), (EAST + x + 50, NORTH + y + 20)])
        for x, y in zip(table["x"], table["y"], strict=True)
    ]
    frame = gpd.GeoDataFrame(table[["text", "whole", "real"]], geometry=lines, crs=7855)
    path = tmp_path / f"round.{kind}"
    write_layer(frame, path, wkt=True)
    back = read(path)
    prefix = "ogr_" if kind == "gpx" else ""
    texts = back[f"{prefix}text"].tolist()
    assert [text.removeprefix("'") if kind == "csv" else text for text in texts] == table["text"].tolist()
    assert back[f"{prefix}whole"].astype("int64").tolist() == table["whole"].tolist()
    assert all(
        math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-6)
        for a, b in zip(back[f"{prefix}real"].astype(float), table["real"], strict=True)
    )
    moved, _ = to_grove(back, 7855)
    assert shapely.hausdorff_distance(moved.geometry.to_numpy(), frame.geometry.to_numpy()).max() < 0.02
