"""Trees in. No published examples: the house's own columns."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from gridmap.crs import to_grove
from gridmap.errors import CRSRefused, FileRefused, RowsRefused
from gridmap.exchange import read_trees, write_layer

HEADER = "block,row,position,longitude,latitude\n"


@pytest.fixture
def save(tmp_path):
    def write(content, name="trees.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def test_longitude_and_latitude(save):
    frame = read_trees(save(HEADER + "Creek,1,1,147.0,-37.0\nCreek,1,2,147.0001,-37.0\n"))
    assert frame.crs.to_epsg() == 4326
    assert frame["position"].tolist() == [1, 2]
    assert frame["status"].tolist() == ["alive", "alive"]
    assert frame.geometry.iloc[1] == shapely.Point(147.0001, -37)


@pytest.mark.parametrize(
    "content",
    [
        "Block;Row;Position;Easting;Northing\nCreek;1;2;500000,5;5900000,25\n",
        "\ufeffblock\trow\tposition\teasting\tnorthing\r\nCreek\t1\t2\t500000.5\t5900000.25\r\n",
        'northing,position,"row",easting,block\n5900000.25,2,1,500000.5,"Creek"\n\n',
        'block,row,position,easting,northing\n"Creek",1.0,2,"500000,5","5900000,25"\n',
    ],
)
def test_ways_in_which_spreadsheets_save(save, content):
    frame = read_trees(save(content), crs="EPSG:7855")
    assert frame[["block", "row", "position"]].values.tolist() == [["Creek", 1, 2]]
    assert frame.geometry.iloc[0] == shapely.Point(500000.5, 5900000.25)
    assert frame.crs.to_epsg() == 7855


def test_utf16_of_a_spreadsheet(save):
    frame = read_trees(save((HEADER.replace(",", "\t") + "Bächli\t1\t1\t147\t-37\n").encode("utf-16")))
    assert frame["block"].tolist() == ["Bächli"]


def test_old_and_new_datum_land_on_each_other(save):
    # GDA94 to GDA2020 moves Victoria by 1.5 to 1.6 m (see tests/gridmap/test_crs.py for the published station).
    text = "block,row,position,easting,northing\nCreek,1,1,500000,5900000\n"
    old, _ = to_grove(read_trees(save(text), crs=28355), 7855)
    new = read_trees(save(text), crs=7855)
    assert old.distance(new)[0] == pytest.approx(1.6, abs=0.2)


@pytest.mark.parametrize(
    ("lines", "problems"),
    [
        ("Creek,one,1,147,-37\n", [(2, "row is 'one': it must be a whole number")]),
        ("Creek,1,0,147,-37\n", [(2, "position is 0: it must be at least 1")]),
        ("Creek,1,,147,-37\n", [(2, "position is missing")]),
        (",1,1,147,-37\n", [(2, "block is missing")]),
        ("Creek,1,1,,-37\n", [(2, "longitude is missing")]),
        (
            "Creek,1,1,-37,147\n",
            [(2, "latitude is 147: it must be between -90 and 90; longitude and latitude look swapped")],
        ),
        ("Creek,1,1,547,-37\n", [(2, "longitude, latitude are 547, -37: they must be within 180 and 90 degrees")]),
        ("Creek,1,1,nan,-37\n", [(2, "longitude is 'nan': it must be a number")]),
        ("Creek,1,1,147,-37\ncreek,1,1,147,-37\n", [(3, "place creek 1 1 is in line 2 already")]),
        (
            "Creek,1,1,147\nCreek,x,2,147,-37\n",
            [(2, "it has 4 cells where the header has 5"), (3, "row is 'x': it must be a whole number")],
        ),
    ],
)
def test_every_bad_line_is_told(save, lines, problems):
    with pytest.raises(RowsRefused, match=r"can't be used: line [23]: ") as caught:
        read_trees(save(HEADER + lines))
    assert caught.value.problems == problems


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("block,row,position\nCreek,1,1\n", "has no coordinates: a table of trees needs"),
        ("row,position,longitude,latitude\n1,1,147,-37\n", "has no column block"),
        ("a,b,c\n1,2,3\n", "has no known column: the first line must name the columns, such as block, row"),
        ("block,row,row,longitude,latitude\nA,1,1,1,1\n", "column row is there twice|Column row is there twice"),
        (
            "block,row,positon,longitude,latitude\nA,1,1,1,1\n",
            "Column 'positon' of trees.csv is not known: it looks like position",
        ),
        (HEADER, "has no trees"),
        (HEADER + '"Creek,1,1,147,-37\n', "is cut off or no CSV: the record that starts in line 2"),
        (b"", "is empty"),
        (b"\n\n", "is empty: it holds blank lines only"),
        (b"PK\x03\x04", "is a spreadsheet or another zip archive: it must be CSV"),
        (b"\xd0\xcf\x11\xe0", "is an old spreadsheet"),
        (b"a\x00b", "is not plain text"),
        (HEADER.encode() + b"B\xe4chli,1,1,147,-37\n", "is not plain text: byte 40 in line 2 is no UTF-8"),
        (HEADER + "\n".join(f"A,{row},1,147,-37" for row in range(200_002)), "has over 200,000 lines"),
        ("block,row," + ",".join(f"c{i}" for i in range(500)) + "\n", "has 502 columns"),
    ],
)
def test_files_refused(save, content, message):
    with pytest.raises(FileRefused, match=message):
        read_trees(save(content))


@pytest.mark.parametrize(
    ("content", "crs", "message"),
    [
        ("block,row,position,easting,northing\nA,1,1,5,5\n", None, "names no CRS: easting and northing need one"),
        ("block,row,position,easting,northing\nA,1,1,5,5\n", 4326, "can't be in WGS 84: that is in degrees"),
        (HEADER + "A,1,1,5,5\n", 7855, "can't be in GDA2020 / MGA zone 55: that is in metres"),
    ],
)
def test_crs_refused(save, content, crs, message):
    with pytest.raises(CRSRefused, match=message):
        read_trees(save(content), crs=crs)


def test_the_same_trees_from_every_format(tmp_path):
    table = {
        "block": ["Creek", "Creek"],
        "row": [1, 2],
        "position": [3, 4],
        "elevation_m": [310.5, float("nan")],
        "status": ["alive", "gone"],
    }
    trees = gpd.GeoDataFrame(table, geometry=gpd.points_from_xy([500_000, 500_006], [5_900_000, 5_900_003]), crs=7855)
    for name in ("t.csv", "t.geojson", "t.gpkg"):
        write_layer(trees, tmp_path / name)
        read, _ = to_grove(read_trees(tmp_path / name), 7855)
        assert read.distance(trees).max() < 0.02
        pd.testing.assert_frame_equal(
            pd.DataFrame(read[list(table)]), pd.DataFrame(trees[list(table)]), check_dtype=False
        )


def test_layer_of_outlines_is_no_trees(tmp_path):
    frame = gpd.GeoDataFrame(
        {"block": ["A"], "row": [1], "position": [1]}, geometry=[shapely.box(1, 1, 2, 2)], crs=4326
    )
    write_layer(frame, tmp_path / "t.geojson")
    with pytest.raises(RowsRefused, match="entry 1: its geometry is Polygon: it must be a Point"):
        read_trees(tmp_path / "t.geojson")


def test_rows_without_positions_are_left_for_numbering(save):
    frame = read_trees(save("block,row,longitude,latitude\nCreek,1,147,-37\n"))
    assert frame["position"].isna().all()


def test_a_local_grid_is_laid_with_its_origin_at_the_place(save):
    grid = save("block,row,position,x_m,y_m\nA,1,1,0,0\nA,1,2,300,0\nA,2,1,0,400\n")
    frame = read_trees(grid, place_at=(147.0, -37.0))
    there, _ = to_grove(frame, 7855)
    origin, _ = to_grove(gpd.GeoDataFrame(geometry=[shapely.Point(147.0, -37.0)], crs=4326), 7855)
    assert there.geometry.iloc[0].distance(origin.geometry.iloc[0]) < 1e-6
    # The zone's central meridian has the scale 0.9996 (EPSG Guidance Note 7-2, UTM), so 500 m measure 0.2 m less.
    assert there.geometry.iloc[1].distance(there.geometry.iloc[2]) == pytest.approx(500 * 0.9996, abs=1e-3)


def test_a_local_grid_needs_its_columns(save):
    with pytest.raises(FileRefused, match="has no columns x_m and y_m: a grid that is laid at a place has them"):
        read_trees(save(HEADER + "Creek,1,1,147.0,-37.0\n"), place_at=(147.0, -37.0))
