"""GPX in. The samples are written after the schema (GPX 1.1, topografix.com/GPX/1/1)."""

from __future__ import annotations

import pyproj
import pytest
import shapely

from gridmap.errors import FileRefused, OutlineRefused
from gridmap.exchange import read_keep_outs, read_outlines, read_trees
from gridmap.exchange.rings import MOST_CORNERS
from gridmap.ground import MOST_VERTICES

CORNERS = [(147.0, -37.0), (147.001, -37.0), (147.001, -36.999), (147.0, -36.999)]


def points(corners, tag="trkpt") -> str:
    return "".join(
        f'<{tag} lat="{y}" lon="{x}"><ele>310</ele><time>2026-02-03T07:40:00Z</time></{tag}>' for x, y in corners
    )


@pytest.fixture
def save(tmp_path):
    def write(body, name="walk.gpx"):
        path = tmp_path / name
        path.write_text(f'<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">{body}</gpx>')
        return path

    return write


def test_as_many_corners_as_the_ground_takes():
    assert MOST_CORNERS == MOST_VERTICES


def test_tracks_and_routes_that_end_where_they_began(save):
    ring = [*CORNERS, CORNERS[0]]
    body = f"<trk><name>Creek</name><trkseg>{points(ring)}</trkseg></trk>"
    body += f"<rte><name>Top</name>{points(ring, 'rtept')}</rte>"
    frame = read_outlines(save(body))
    assert sorted(frame["block"]) == ["Creek", "Top"]
    assert frame.geometry.iloc[0].equals(shapely.Polygon(ring))
    assert frame.attrs["notes"] == []
    assert read_outlines(save(body), layer="routes")["block"].tolist() == ["Top"]
    with pytest.raises(FileRefused, match="has no layer 'roads': GPX has tracks, routes, waypoints"):
        read_outlines(save(body), layer="roads")


def test_the_gap_is_the_distance_on_the_ellipsoid(save):
    # The check is PROJ's geodesic (Karney 2013, doi:10.1007/s00190-012-0578-z) between the two ends.
    walk = [*CORNERS, (147.0, -36.9999)]
    gap_m = pyproj.Geod(ellps="WGS84").inv(*walk[-1], *walk[0])[2]
    frame = read_outlines(save(f"<trk><name>Creek</name><trkseg>{points(walk)}</trkseg></trk>"))
    assert frame.attrs["notes"] == [
        f"Track Creek: its ends are {gap_m:.1f} m apart and were joined by a straight line."
    ]


def test_a_walk_in_pieces_is_one_outline(save):
    pieces = f"<trkseg>{points(CORNERS[:2])}</trkseg><trkseg>{points([*CORNERS[2:], (147.0, -36.9999)])}</trkseg>"
    path = save(f"<trk><name>Creek</name>{pieces}</trk>")
    with pytest.raises(OutlineRefused, match=r"Track Creek has a gap of 1\d\d\.\d m between two of its pieces"):
        read_outlines(path)
    assert len(read_outlines(path, closing_gap_m=150).geometry.iloc[0].exterior.coords) == 6


def test_a_dam_that_was_walked_around_is_a_keep_out(save):
    path = save(f"<trk><name>Dam</name><trkseg>{points([*CORNERS, CORNERS[0]])}</trkseg></trk>")
    frame = read_keep_outs(path, kind="water", setback_m=20)
    assert frame[["name", "kind", "setback_m"]].values.tolist() == [["Dam", "water", 20.0]]


def test_waypoints_are_positions_whose_rows_come_later(save):
    body = "".join(f'<wpt lat="{y}" lon="{x}"><ele>12</ele><name>{n}</name></wpt>' for n, (x, y) in enumerate(CORNERS))
    path = save(body)
    frame = read_trees(path, rows="later", block="Creek")
    assert frame["block"].tolist() == ["Creek"] * 4
    assert frame["row"].isna().all()
    assert frame["position"].isna().all()
    assert str(frame["row"].dtype) == "Int64"
    assert frame["elevation_m"].isna().all()
    assert frame.geometry.iloc[2] == shapely.Point(CORNERS[2])
    with pytest.raises(FileRefused, match=r"has no column row: every tree names its block, row and position"):
        read_trees(path, block="Creek")
    with pytest.raises(FileRefused, match=r"has no column block: every tree names its block\. Name the block of all"):
        read_trees(path, rows="later")


def test_a_csv_may_leave_rows_for_later_too(tmp_path):
    path = tmp_path / "trees.csv"
    path.write_text("block,longitude,latitude\nCreek,147,-37\n,147.001,-37\n")
    frame = read_trees(path, rows="later", block="Top")
    assert frame["block"].tolist() == ["Creek", "Top"]
    assert frame["row"].isna().all()
