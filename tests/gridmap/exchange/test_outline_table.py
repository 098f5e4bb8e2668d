"""Outlines in CSV tables. Well-known text after OGC 06-103r4; the rest are the house's own columns."""

from __future__ import annotations

import pytest
import shapely

from gridmap.errors import CRSRefused, RowsRefused
from gridmap.exchange import read_keep_outs, read_outlines


@pytest.fixture
def save(tmp_path):
    def write(text, name="in.csv"):
        path = tmp_path / name
        path.write_bytes(text.encode("utf-8"))
        return path

    return write


def test_shapes_as_text(save):
    # The polygon of OGC 06-103r4, table 6 (the number of the table from memory); its area by the shoelace formula.
    text = "name;Row Spacing m;WKT\nCreek;6,5;POLYGON((10 10, 10 20, 20 20, 20 15, 10 10))\n"
    frame = read_outlines(save(text), crs=7855)
    assert frame["block"].tolist() == ["Creek"]
    assert frame["row_spacing_m"].tolist() == [6.5]
    assert frame.geometry.iloc[0].area == 75
    assert frame.crs.to_epsg() == 7855


def test_text_beside_longitude_and_latitude_is_in_degrees(save):
    text = 'block,longitude,latitude,wkt\nA,147,-37,"POLYGON ((147 -37, 147.001 -37, 147 -36.999, 147 -37))"\n'
    assert read_outlines(save(text)).crs.to_epsg() == 4326
    with pytest.raises(CRSRefused, match="can't be in GDA2020 / MGA zone 55: that is in metres"):
        read_outlines(save(text), crs=7855)


def test_corners_in_any_order_of_lines(save):
    text = (
        "block,corner,easting,northing,row_spacing_m\nA,3,100,100,\nB,1,500,0,7\nA,1,0,0,6\nA,2,100,0,6\nB,2,600,0,\n"
        "B,3,600,100,\nB,4,500,100,\n"
    )
    frame = read_outlines(save(text), crs=7855)
    assert frame["block"].tolist() == ["A", "B"]
    assert frame["row_spacing_m"].tolist() == [6.0, 7.0]
    assert frame.geometry.iloc[0].equals(shapely.Polygon([(0, 0), (100, 0), (100, 100)]))
    assert frame.geometry.iloc[1].area == 10_000


def test_keep_outs_by_corner(save):
    text = "name,corner,longitude,latitude,kind,setback_m\n" + "".join(
        f"Dam,{n},{x},{y},water,20\n" for n, (x, y) in enumerate([(147, -37), (147.001, -37), (147, -36.999)])
    )
    assert read_keep_outs(save(text))[["name", "kind", "setback_m"]].values.tolist() == [["Dam", "water", 20.0]]


def test_bad_lines_are_told_by_their_number(save):
    text = 'block,wkt\nA,"POLYGON ((0 0, 1 0, 1 1, 0 0))"\nB,here\nC,\nD,POLYGON EMPTY\n'
    with pytest.raises(RowsRefused, match="line 3: wkt is 'here'") as caught:
        read_outlines(save(text), crs=7855)
    assert [number for number, _ in caught.value.problems] == [3, 4, 5]


def test_facts_of_a_table_are_told_by_their_line(save):
    text = 'block,row_spacing_m,wkt\n\nA,wide,"POLYGON ((0 0, 1 0, 1 1, 0 0))"\n'
    with pytest.raises(RowsRefused, match="line 3: row_spacing_m is 'wide'"):
        read_outlines(save(text), crs=7855)


def test_an_outline_of_many_corners_fits_in_a_cell(save):
    import math

    turn = [2 * math.pi * n / 60_000 for n in range(60_000)]
    ring = ", ".join(f"{1000 * math.cos(a):.4f} {1000 * math.sin(a):.4f}" for a in [*turn, 0.0])
    frame = read_outlines(save(f'block,wkt\nA,"POLYGON (({ring}))"\n'), crs=7855)
    assert len(frame.geometry.iloc[0].exterior.coords) == 60_001
