"""Outlines: what is taken, what is refused and what is offered instead."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gridmap import crs
from gridmap.errors import CRSRefused, OutlineRefused
from gridmap.ground import check_blocks, check_outline, overlaps

BOW_TIE = shapely.Polygon([(0, 0), (100, 100), (100, 0), (0, 100)])


def frame(*shapes, names=None, epsg=7855):
    return gpd.GeoDataFrame({"block": names or [f"B{i}" for i in range(len(shapes))]}, geometry=list(shapes), crs=epsg)


def test_good_outline_is_kept_and_wound_counter_clockwise():
    clockwise = shapely.Polygon([(0, 0, 5), (0, 40, 5), (60, 40, 5), (60, 0, 5)])
    outline = check_outline(clockwise)
    assert outline.exterior.is_ccw
    assert not outline.has_z
    assert outline.area == 2400


def test_holes_and_multipolygon_of_one_part_are_taken():
    holed = shapely.box(0, 0, 60, 40).difference(shapely.box(20, 10, 30, 20))
    assert check_outline(shapely.MultiPolygon([holed])).area == 2300


@pytest.mark.parametrize(
    ("shape", "message"),
    [
        (None, r"Block Creek is empty"),
        (shapely.Polygon(), r"Block Creek is empty"),
        (shapely.Point(1, 1), r"Block Creek is a Point: a block is a Polygon\. Draw its outline"),
        (
            shapely.MultiPolygon([shapely.box(0, 0, 9, 9), shapely.box(20, 0, 29, 9)]),
            r"has 2 parts: .* give each part a name|has 2 parts",
        ),
        (shapely.Polygon([(0, 0), (9, 0), (9, np.inf)]), r"has a corner without a position"),
        (shapely.box(0, 0, 0.5, 0.5), r"area of 0\.25 m2: it must be over 1 m2\. Check the CRS"),
        (shapely.box(0, 0, 20_000, 20_000), r"area of 40,000 ha: over 10,000 ha is no block"),
        (shapely.Polygon([(0, 0), (10, 0), (20, 0)]), r"can't be used"),
    ],
)
def test_refused(shape, message):
    with pytest.raises(OutlineRefused, match=message):
        check_outline(shape, name="block Creek")


def test_crossing_names_the_place_and_offers_two_outlines():
    with pytest.raises(
        OutlineRefused,
        match=r"near easting 50\.0 m, northing 50\.0 m: it crosses itself\. It could be mended to 2 outlines",
    ) as caught:
        check_outline(BOW_TIE, name="block Creek")
    mended = caught.value.mended
    # Two right triangles of base 100 and height 50: geometry, no source needed.
    assert sorted(part.area for part in mended.geoms) == [2500, 2500]
    assert all(check_outline(part).is_valid for part in mended.geoms)


def test_slip_of_the_hand_offers_one_mended_outline():
    # The line loops over itself by a metre at one corner.
    slip = shapely.Polygon([(0, 0), (100, 0), (100, 100), (0.5, 100), (-0.5, 99), (0, 100.5), (-0.2, 99)])
    with pytest.raises(OutlineRefused, match=r"A mended shape of 1\.00 ha is offered") as caught:
        check_outline(slip, name="block Creek")
    assert caught.value.mended.is_valid
    assert caught.value.mended.area == pytest.approx(slip.convex_hull.area, rel=0.01)


def test_closed_line_is_refused_with_its_polygon_offered():
    line = shapely.LineString(shapely.box(0, 0, 60, 40).exterior)
    with pytest.raises(OutlineRefused, match=r"is a LineString: a block is a Polygon\. Close the line") as caught:
        check_outline(line)
    assert caught.value.mended.area == 2400


def test_a_million_corners_are_refused_before_any_work():
    angle = np.linspace(0, 2 * np.pi, 1_000_001)
    huge = shapely.Polygon(np.column_stack([np.cos(angle), np.sin(angle)]) * 500)
    with pytest.raises(OutlineRefused, match=r"has 1,000,00[12] corners: at most 100,000 are taken\. Simplify"):
        check_outline(huge, name="block Creek")


def test_overlap_is_measured_and_named():
    with pytest.raises(
        OutlineRefused, match=r"Blocks overlap: Creek and Top by 400 m2: .* 0\.5 m wide.*Move the shared edge"
    ):
        check_blocks(frame(shapely.box(0, 0, 60, 40), shapely.box(50, 0, 99, 40), names=["Creek", "Top"]))


def test_a_hand_drawn_strip_is_told_not_refused():
    _, notes = check_blocks(frame(shapely.box(0, 0, 60, 40), shapely.box(59.7, 0, 99, 40), names=["Creek", "Top"]))
    assert len(notes) == 1
    assert "overlap in a strip of 12.0 m2, 0.30 m wide" in notes[0]


def test_neighbours_that_share_an_edge_do_not_overlap():
    assert len(overlaps(frame(shapely.box(0, 0, 60, 40), shapely.box(60, 0, 99, 40)))) == 0


def test_a_block_inside_another_is_refused():
    with pytest.raises(OutlineRefused, match=r"B0 and B1 by 100 m2"):
        check_blocks(frame(shapely.box(0, 0, 60, 40), shapely.box(10, 10, 20, 20)))


def test_very_small_and_large_are_told():
    _, notes = check_blocks(frame(shapely.box(0, 0, 8, 8), shapely.box(100, 0, 3100, 3000), names=["Pot", "Plain"]))
    assert notes == ["Block Pot is very small: 64 m2", "Block Plain is very large: 900 ha"]


@pytest.mark.parametrize(
    ("names", "message"),
    [
        (["Creek", "creek "], r"is given twice: a name is unique in its grove, whatever its case"),
        (["Creek", " "], r"Outline 2 has no name"),
        (["Creek", None], r"Outline 2 has no name"),
    ],
)
def test_names(names, message):
    with pytest.raises(OutlineRefused, match=message):
        check_blocks(frame(shapely.box(0, 0, 60, 40), shapely.box(70, 0, 99, 40), names=names))


def test_degrees_are_refused():
    with pytest.raises(CRSRefused, match="The outlines are in degrees"):
        check_blocks(frame(shapely.box(145, -36, 145.1, -35.9), epsg=4326))


@given(st.lists(st.tuples(st.floats(0, 200), st.floats(0, 200)), min_size=3, max_size=8))
def test_every_scribble_is_taken_or_refused_in_words(corners):
    # Property, no published example.
    try:
        outline = check_outline(shapely.Polygon(corners))
    except OutlineRefused as refused:
        parts = [] if refused.mended is None else shapely.get_parts(refused.mended)
        assert all(check_outline(part).area >= 1 for part in parts)
    else:
        assert outline.is_valid
        assert outline.area >= 1


def test_a_hundred_real_fields_are_taken(open_data):
    # California Department of Water Resources, Statewide Crop Mapping 2023 (provisional), 100 fields (CC0).
    fields = gpd.read_file(open_data / "parcels_california" / "parcels.geojson").rename(columns={"UniqueID": "block"})
    moved, notes = crs.to_grove(fields, 26910)
    checked, _ = check_blocks(moved)
    assert len(checked) == 100
    assert checked.geometry.area.sum() == pytest.approx(moved.geometry.area.sum(), rel=1e-12)
    assert notes == ["WGS 84 positions were taken as NAD83, the current datum of the grove's place"]
