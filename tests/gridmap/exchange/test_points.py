"""Gates, refill points and heights, in. No published example: our own columns; GeoJSON by RFC 7946."""

from __future__ import annotations

import json

import pytest

from gridmap.errors import CRSRefused, FileRefused, RowsRefused
from gridmap.exchange import read_heights, read_points


def features(path, *entries):
    made = [{"type": "Feature", "properties": properties, "geometry": geometry} for properties, geometry in entries]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": made}))
    return path


def spot(x=149.0, y=-33.0):
    return {"type": "Point", "coordinates": [x, y]}


def test_points_get_a_name_where_the_file_has_none(tmp_path):
    tank = {"Kind": "refill", "name": "tank"}
    path = features(tmp_path / "p.geojson", ({"Kind": "Gate"}, spot()), (tank, spot(149.1)))
    found = read_points(path)
    assert found["name"].tolist() == ["gate 1", "tank"]
    assert found["kind"].tolist() == ["gate", "refill"]
    assert found.crs.to_epsg() == 4326
    assert found.geometry.x.tolist() == [149.0, 149.1]


def test_the_kind_can_be_told_and_is_never_guessed(tmp_path):
    path = features(tmp_path / "p.geojson", ({}, spot()))
    assert read_points(path, kind="refill")["kind"].tolist() == ["refill"]
    with pytest.raises(RowsRefused, match="entry 1: kind is missing"):
        read_points(path)


def test_every_bad_point_is_told(tmp_path):
    line = {"type": "LineString", "coordinates": [[149, -33], [149.1, -33]]}
    path = features(tmp_path / "p.geojson", ({"kind": "gate"}, line), ({"kind": "gates"}, spot()))
    with pytest.raises(RowsRefused, match=r"it must be a Point.*did you mean gate") as refused:
        read_points(path)
    assert [number for number, _ in refused.value.problems] == [1, 2]


def test_heights_by_tree_and_by_coordinates(tmp_path):
    table = tmp_path / "z.csv"
    table.write_text("block;row;position;elevation_m\nTop;1;2;310,5\nTop;1;3;\n")
    found = read_heights(table)
    assert found["elevation_m"].tolist() == [310.5]
    assert found.geometry.isna().all()
    table.write_text("lon,lat,elevation_m\n149.1,-33.2,310\n")
    found = read_heights(table)
    assert (found.geometry.x[0], found.geometry.y[0], found.crs.to_epsg()) == (149.1, -33.2, 4326)
    path = features(tmp_path / "z.geojson", ({"elevation_m": 12.25}, spot()))
    assert read_heights(path)["elevation_m"].tolist() == [12.25]


@pytest.mark.parametrize(("content", "kind", "message"), [
    ("block,row,position\nTop,1,1\n", FileRefused, "has no column elevation_m"),
    ("elevation_m\n12\n", FileRefused, "has no coordinates"),
    ("easting,northing,elevation_m\n1,2,3\n", CRSRefused, "names no CRS"),
    ("block,row,position,elevation_m\nTop,1,1,\n", FileRefused, "has nothing to take in"),
    ("block,row,position,elevation_m\n,1,1,5\nTop,1,x,5\nTop,1,1,1e9\n", RowsRefused, "line 2: block is missing"),
    ("block,row,position,elevation_m\nTop,1,1,7000\n", RowsRefused, "elevation_m is 7000: it must be between"),
])  # fmt: skip
def test_heights_that_can_not_be_are_told(tmp_path, content, kind, message):
    (tmp_path / "z.csv").write_text(content)
    with pytest.raises(kind, match=message):
        read_heights(tmp_path / "z.csv")
