"""GeoJSON and GeoPackage in: what is taken, and what is refused in which words."""

from __future__ import annotations

import json
import os
import sqlite3
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from gridmap import crs
from gridmap.errors import CRSRefused, FileRefused, RowsRefused
from gridmap.exchange import read_keep_outs, read_layer, read_outlines

RING = [[147.0, -37.0], [147.001, -37.0], [147.001, -36.999], [147.0, -36.999], [147.0, -37.0]]


def collection(*properties, ring=RING, **members):
    features = [
        {"type": "Feature", "properties": row, "geometry": {"type": "Polygon", "coordinates": [ring]}}
        for row in properties
    ]
    return {"type": "FeatureCollection", "features": features, **members}


@pytest.fixture
def save(tmp_path):
    def write(content, name="in.geojson"):
        path = tmp_path / name
        if isinstance(content, bytes):
            path.write_bytes(content)
        else:
            path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
        return path

    return write


def test_geojson_is_longitude_latitude_by_its_standard(save):
    # RFC 7946 section 4: WGS 84, longitude first.
    frame = read_outlines(save(collection({"block": "Creek", "row_spacing_m": 6, "Uphill_Bearing_Deg": 20.5})))
    assert frame.crs.to_epsg() == 4326
    assert frame["block"].tolist() == ["Creek"]
    assert frame["row_spacing_m"].tolist() == [6.0]
    assert frame["uphill_bearing_deg"].tolist() == [20.5]
    assert frame["headland_m"].isna().all()
    assert frame.geometry.iloc[0].equals(shapely.Polygon(RING))


def test_the_example_of_the_standard_is_read(save):
    # RFC 7946 section 1.5, the Polygon feature of the example, and the rest of it, which is no outline.
    example = {
        "type": "Feature",
        "geometry": {
            "type": "Polygon",
            "coordinates": [[[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]]],
        },
        "properties": {"prop0": "value0", "prop1": {"this": "that"}},
    }
    frame = read_layer(save(example))
    assert frame["prop1"].iloc[0] == {"this": "that"}
    assert frame.geometry.iloc[0].bounds == (100, 0, 101, 1)
    assert len(read_layer(save(example["geometry"]))) == 1


@pytest.mark.parametrize("name", ["urn:ogc:def:crs:EPSG::28355", "EPSG:28355"])
def test_old_crs_member_is_respected(save, name):
    ring = [[500_000, 5_900_000], [500_100, 5_900_000], [500_100, 5_900_100], [500_000, 5_900_000]]
    member = {"type": "name", "properties": {"name": name}}
    frame = read_outlines(save(collection({"name": "Creek"}, ring=ring, crs=member)))
    assert frame.crs.to_epsg() == 28355


@pytest.mark.parametrize(
    ("member", "message"),
    [
        (None, "has a member crs that names no CRS: .* Export as RFC 7946"),
        ({"type": "link", "properties": {"href": "http://example.org"}}, "has a member crs that names no CRS"),
        ({"type": "name", "properties": {"name": "my paddock"}}, "CRS 'my paddock' is not known"),
    ],
)
def test_old_crs_member_refused(save, member, message):
    with pytest.raises(CRSRefused, match=message):
        read_outlines(save(collection({"name": "Creek"}, crs=member)))


def test_crs_that_contradicts_the_file_is_refused(save):
    member = {"type": "name", "properties": {"name": "EPSG:28355"}}
    with pytest.raises(CRSRefused, match="is in GDA94 / MGA zone 55: not in GDA2020 / MGA zone 55"):
        read_outlines(save(collection({"name": "Creek"}, crs=member)), crs=7855)


def test_grower_may_name_the_crs_of_geojson_without_one(save):
    assert read_outlines(save(collection({"name": "Creek"})), crs=7844).crs.to_epsg() == 7844


def test_byte_order_mark_and_names(save):
    text = json.dumps(collection({"NAME": "Bächli"}, {"NAME": "Colinà"}), ensure_ascii=False)
    assert read_outlines(save(b"\xef\xbb\xbf" + text.encode())).block.tolist() == ["Bächli", "Colinà"]


def test_blocks_without_names_are_numbered_and_any_column_may_name_them(save):
    path = save(collection({"paddock": 7}, {"paddock": 8.0}))
    assert read_outlines(path)["block"].tolist() == ["Block 1", "Block 2"]
    assert read_outlines(path, name_column="Paddock")["block"].tolist() == ["7", "8"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", r"File in\.geojson is empty: it has no bytes at all"),
        (b"   \n", r"is cut off: line"),
        (json.dumps(collection({"block": "A"}))[:120].encode(), r"is cut off|is no JSON"),
        (b'{"type": "FeatureCollection"}', r"has no features: a FeatureCollection holds a list"),
        (b'{"type": "FeatureCollection", "features": []}', r"has no entries"),
        (b'{"type": "FeatureCollection", "features": [5]}', r"Entry 1 of in\.geojson is no Feature"),
        (b'{"type": "Topology"}', r"is of type Topology: it must be GeoJSON, GeoPackage, KML"),
        (b"[1, 2]", r"is JSON but no GeoJSON"),
        (b'{"type": "Point", "coordinates": [NaN, 1]}', r"holds the number NaN: JSON has no such number"),
        (b'{"type": "Polygon", "coordinates": [[[0, 0], [1, 1]]]}', r"Entry 1 of in\.geojson has no usable geometry"),
        (b'{"type": "Polygon", "coordinates": "there"}', r"Entry 1 of in\.geojson has no usable geometry"),
        (b'{"type": "Polygon", "coordinates": [[["a", 1], [2, 1], [3, 3], ["a", 1]]]}', r"not the lists of numbers"),
        (b"[" * 200_000, r"is nested without end"),
        (b"\x89PNG\r\n\x1a\n0000", r"is a picture: it must be GeoJSON, GeoPackage, KML"),
        (b"PK\x03\x04rest", r"is a spreadsheet or another zip archive"),
        (b'{"type": "\xff"}', r"is not plain text: byte 11 in line 1 is no UTF-8"),
        (b'{"a": "\x00"}', r"is not plain text"),
        (b"SQLite format 3\x00" + b"\x00" * 200, r"is a database but no GeoPackage"),
        (b"SQLite format 3\x00" + b"\x00" * 52 + b"GPKG" + b"\x01" * 900, r"holds GeoPackage: its name says GeoJSON"),
    ],
)
def test_broken_files_refused(save, content, message):
    with pytest.raises(FileRefused, match=message):
        read_outlines(save(content))


def test_what_is_no_file_is_refused(tmp_path):
    with pytest.raises(FileRefused, match="is a folder"):
        read_outlines(tmp_path)
    with pytest.raises(FileRefused, match="is not there"):
        read_outlines(tmp_path / "none.gpkg")


def test_huge_file_is_refused_unread(tmp_path):
    path = tmp_path / "huge.geojson"
    with path.open("wb") as file:
        file.write(b"{")
        os.truncate(path, 200 * 2**20)
    with pytest.raises(FileRefused, match="has 200 MB: at most 100 MB are read"):
        read_outlines(path)


@pytest.mark.parametrize(
    ("properties", "message"),
    [
        ({"block": "A", "row_spacing_m": "wide"}, r"entry 2: row_spacing_m is 'wide': it must be a number"),
        ({"block": "A", "row_bearing_deg": 400}, r"entry 2: row_bearing_deg is 400: it must be between 0 and 360"),
        ({"block": "A", "tree_spacing_m": -5}, r"entry 2: tree_spacing_m is -5"),
        ({"block": " "}, r"entry 2: block is missing"),
        ({"block": "A" * 500}, r"entry 2: block has 500 characters"),
    ],
)
def test_bad_facts_refused(save, properties, message):
    with pytest.raises(RowsRefused, match=message) as caught:
        read_outlines(save(collection({"block": "Z"}, properties)))
    assert [number for number, _ in caught.value.problems] == [2]


def test_a_column_twice_is_refused(save):
    with pytest.raises(FileRefused, match="Column block is there twice: case and blanks in a name do not count"):
        read_outlines(save(collection({"Block": "A", "block ": "B"})))


def test_keep_outs(save):
    frame = read_keep_outs(
        save(collection({"kind": "Water", "setback_m": "20,5", "name": "Dam"}, {"kind": "hive", "setback_m": 0}))
    )
    assert frame[["name", "kind", "setback_m"]].values.tolist() == [["Dam", "water", 20.5], ["hive 2", "hive", 0.0]]


@pytest.mark.parametrize(
    ("properties", "message"),
    [
        ({"kind": "water"}, "setback_m is missing"),
        ({"setback_m": 5}, "kind is missing"),
        ({"kind": "watr", "setback_m": 5}, r"kind is 'watr': it must be one of water, .* \(did you mean water\?\)"),
        ({"kind": "water", "setback_m": -1}, "setback_m is -1: it must be between 0 and 5000"),
    ],
)
def test_no_distance_is_assumed(save, properties, message):
    with pytest.raises(RowsRefused, match=message):
        read_keep_outs(save(collection(properties)))


def frame(names=("Creek",), epsg=7855):
    return gpd.GeoDataFrame(
        {"block": list(names)}, geometry=[shapely.box(500_000, 5_900_000, 500_100, 5_900_100)] * len(names), crs=epsg
    )


def test_geopackage_layer_is_found_or_asked_for(tmp_path):
    path = tmp_path / "in.gpkg"
    frame().to_file(path, layer="paddocks")
    frame().set_geometry(frame().centroid).to_file(path, layer="taps")
    assert read_outlines(path).crs.to_epsg() == 7855
    frame(["Top"]).to_file(path, layer="others")
    with pytest.raises(FileRefused, match=r"has 2 Polygon layers: they are paddocks, others\. Name the layer"):
        read_outlines(path)
    assert read_outlines(path, layer="others")["block"].tolist() == ["Top"]
    with pytest.raises(FileRefused, match="has no layer 'none': it has paddocks, taps, others"):
        read_outlines(path, layer="none")


def test_geopackage_without_outlines(tmp_path):
    path = tmp_path / "in.gpkg"
    frame().set_geometry(frame().centroid).to_file(path, layer="taps")
    with pytest.raises(FileRefused, match=r"has no Polygon layer: its layers are: taps \(Point\)"):
        read_outlines(path)


def test_geopackage_without_crs(tmp_path):
    path = tmp_path / "in.gpkg"
    with pytest.warns(UserWarning, match="crs"):
        frame(epsg=None).to_file(path, layer="paddocks")
    with pytest.raises(CRSRefused, match="names no CRS: without it nobody knows where it is"):
        read_outlines(path)
    assert read_outlines(path, crs=28355).crs.to_epsg() == 28355


def test_damaged_geopackage(save):
    with pytest.raises(FileRefused, match="is damaged or cut off"):
        read_outlines(save(b"SQLite format 3\x00" + b"\x00" * 52 + b"GPKG" + b"\x01" * 900, "in.gpkg"))


def test_truncated_geopackage(tmp_path):
    path = tmp_path / "in.gpkg"
    frame(["Creek"] * 500).to_file(path, layer="paddocks")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
    with pytest.raises(FileRefused, match=r"in\.gpkg is damaged or cut off"):
        read_outlines(path)


def test_reading_a_geopackage_leaves_the_locks_of_its_owner(tmp_path):
    path = tmp_path / "in.gpkg"
    frame().to_file(path, layer="paddocks")
    owner = sqlite3.connect(path)
    try:
        before = path.read_bytes()
        assert len(read_outlines(path)) == 1
        assert owner.execute("SELECT count(*) FROM paddocks").fetchone() == (1,)
        assert path.read_bytes() == before
    finally:
        owner.close()


def test_a_hundred_real_fields(open_data):
    # California Department of Water Resources, Statewide Crop Mapping 2023 (provisional), 100 fields (CC0).
    path = Path(open_data) / "parcels_california" / "parcels.geojson"
    fields = read_outlines(path, name_column="UniqueID")
    assert len(fields) == 100
    assert fields["block"].is_unique
    general = gpd.read_file(path)
    assert fields.geometry.force_2d().geom_equals(general.geometry.force_2d()).all()
    assert crs.choose_crs_for(fields) == 26910
