"""Frames in, frames out: exact, typed, refused when wrong."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.store import GroveFile, geometry, times
from gridmap.errors import CRSRefused, InputRefused, OutlineRefused, RowsRefused

BOTH_STORES = True

# The column contracts of DEVELOPERS.md
BLOCKS = (
    "block geometry row_bearing_deg row_spacing_m tree_spacing_m headland_m uphill_bearing_deg "
    "canopy_height_m canopy_width_m area_ha uuid"
)
TREES = "tree place block row position geometry elevation_m upslope_m canopy_height_m canopy_width_m status"
COUNTS = "count walk tree time taps nymphs adults wing_buds reason accuracy_m observer"
# Any finite coordinate that a projected CRS can have
COORDINATE = st.floats(-1e7, 1e7, allow_nan=False)


def test_frames_have_the_columns_of_the_contracts_and_their_types_full_or_empty(grove, new_grove, count_frame):
    empty = new_grove("empty.gpkg")
    grove.add_keep_outs(
        gpd.GeoDataFrame({"kind": ["hive"], "setback_m": [50.0]}, geometry=[shapely.box(0, 0, 2, 2)], crs=7855)
    )
    counts = count_frame(grove, ["00000000-0000-4000-8000-000000000001"])
    grove.add_counts(counts, pd.DataFrame({"count": counts["count"], "group": ["spider"], "number": [2]}))
    contracts = {
        "blocks": BLOCKS,
        "trees": TREES,
        "keep_outs": "keep_out name kind setback_m geometry",
        "walks": "walk date name observer",
        "counts": COUNTS,
        "catch": "count group number",
        "places": "place block row position geometry elevation_m upslope_m tree",
    }
    for name, columns in contracts.items():
        full, none = getattr(grove, name)(), getattr(empty, name)()
        assert list(full.columns) == list(none.columns) == columns.split(), name
        assert len(full) > 0
        assert len(none) == 0
        assert full.dtypes.to_dict() == none.dtypes.to_dict(), name
        if isinstance(full, gpd.GeoDataFrame):
            assert full.crs == none.crs == grove.crs


def test_blocks_come_back_with_their_map_area(new_grove, block_frame):
    store = new_grove()
    store.add_blocks(block_frame(row_spacing_m=8, row_bearing_deg=360, headland_m=0))
    block = store.blocks().iloc[0]
    # 60 m by 40 m are 2,400 square metres; a hectare is 10,000 of them (SI brochure, 9th edition, table 8)
    assert block["area_ha"] == pytest.approx(0.24, rel=1e-12)
    assert (block["row_spacing_m"], block["row_bearing_deg"], block["headland_m"]) == (8.0, 0.0, 0.0)
    assert np.isnan(block["tree_spacing_m"])


def test_facts_of_a_block_can_be_typed_later_and_taken_back(grove):
    block = grove.blocks()["uuid"][0]
    grove.set_block(block, row_spacing_m=8, uphill_bearing_deg=360, canopy_height_m=None)
    found = grove.blocks().iloc[0]
    assert (found["row_spacing_m"], found["uphill_bearing_deg"]) == (8.0, 0.0)
    assert np.isnan(found["canopy_height_m"])
    for facts, said in (
        ({"row_spacing_m": 0}, "Row spacing of block 'East' is 0 m: it must be over 0 m"),
        ({"name": 3}, "Fact of a block is 'name': it must be one of"),
    ):
        with pytest.raises(InputRefused, match=said):
            grove.set_block(block, **facts)
    with pytest.raises(InputRefused, match="There is no block nowhere"):
        grove.set_block("nowhere", row_spacing_m=8)
    grove.undo(grove.acts()["act"][0])
    assert grove.blocks()["canopy_height_m"].tolist() == [3.5]


def test_a_tree_inherits_its_blocks_canopy_unless_it_has_its_own(new_grove, block_frame, tree_frame):
    store = new_grove()
    store.add_blocks(block_frame(canopy_height_m=3.5, canopy_width_m=3.0))
    own = np.full(len(tree_frame), np.nan)
    own[3] = 5.25
    store.add_places_and_plants(tree_frame.assign(canopy_height_m=own, elevation_m=np.arange(24) + 0.1))
    trees = store.trees()
    assert trees["canopy_height_m"].tolist() == [5.25 if index == 3 else 3.5 for index in range(24)]
    assert set(trees["canopy_width_m"]) == {3.0}
    assert trees["elevation_m"].tolist() == (np.arange(24) + 0.1).tolist()


def test_a_gap_is_a_place_without_a_tree(new_grove, block_frame, tree_frame):
    store = new_grove()
    store.add_blocks(block_frame())
    made = store.add_places_and_plants(tree_frame.assign(status=["gap"] + ["alive"] * 22 + ["gone"]))
    assert made["tree"].isna().sum() == 1
    assert len(store.places()) == 24
    assert len(store.trees()) == 22
    assert len(store.trees(include_gone=True)) == 23
    assert store.places()["tree"].isna().tolist() == [True] + [False] * 22 + [True]


def test_a_plant_that_is_gone_keeps_its_line_for_who_asks(grove, count_frame):
    from api.store.tables import PLANT

    tree = grove.trees()["tree"][0]
    with grove.act("tree died") as act:
        act.update(PLANT, tree, {"status": "gone", "gone_on": "2026-05-01"})
    assert len(grove.trees()) == 23
    assert grove.trees(include_gone=True)["status"].tolist().count("gone") == 1
    # A new plant may stand there, the old one keeps its counts
    place = grove.places()["place"][0]
    with grove.act("replant") as act:
        act.insert(PLANT, [{"uuid": "22222222-2222-4222-8222-222222222222", "place_uuid": place, "status": "alive"}])
    assert grove.trees()["tree"][0] == "22222222-2222-4222-8222-222222222222"
    assert len(grove.trees(include_gone=True)) == 25
    with pytest.raises(InputRefused, match="can't hold this"), grove.act("a second living plant") as act:
        act.insert(PLANT, [{"uuid": "33333333-3333-4333-8333-333333333333", "place_uuid": place, "status": "alive"}])


def test_given_uuids_are_kept_and_nothing_is_dropped(new_grove, block_frame, tree_frame):
    store = new_grove()
    store.add_blocks(block_frame())
    trees = [f"00000000-0000-4000-8000-{number:012d}" for number in range(24)]
    made = store.add_places_and_plants(tree_frame.assign(tree=trees))
    assert made["tree"].tolist() == trees
    assert sorted(store.trees()["tree"]) == trees


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(COORDINATE, COORDINATE), min_size=1, max_size=6), st.data())
def test_points_come_back_to_the_last_bit(tmp_path_factory, points, data):
    """Round trip, no published example."""
    path = tmp_path_factory.mktemp("g") / "grove.gpkg"
    with GroveFile.create(
        path, name="A", crs_epsg=25832, time_zone="Europe/Rome", season_start="01-01", currency="EUR"
    ) as store:
        store.add_blocks(gpd.GeoDataFrame({"block": ["A"]}, geometry=[shapely.box(0, 0, 1, 1)], crs=25832))
        heights = data.draw(st.lists(st.floats(-100, 5000), min_size=len(points), max_size=len(points)))
        frame = gpd.GeoDataFrame(
            {"block": "A", "row": 1, "position": range(1, len(points) + 1), "elevation_m": heights},
            geometry=[shapely.Point(point) for point in points],
            crs=25832,
        )
        store.add_places_and_plants(frame)
        back = store.trees()
    assert [(point.x, point.y) for point in back.geometry] == points
    assert back["elevation_m"].tolist() == heights


@given(st.lists(st.tuples(COORDINATE, COORDINATE), min_size=3, max_size=30), st.integers(1, 999_999))
def test_any_polygon_line_or_point_is_encoded_exactly(corners, code):
    """Round trip, no published example."""
    for shape in (
        shapely.Polygon(corners),
        shapely.LineString(corners),
        shapely.Point(corners[0]),
        shapely.MultiPolygon([]),
        shapely.MultiPolygon([shapely.Polygon(corners)]),
        shapely.Point(),
    ):
        blob = geometry.to_geopackage(shapely.set_srid(shape, code))
        assert shapely.to_wkb(geometry.from_geopackage(blob)) == shapely.to_wkb(shape)
        assert int.from_bytes(blob[4:8], "little") == code


def test_shapes_are_written_byte_for_byte_as_gdal_writes_them(tmp_path):
    # GDAL as the reference implementation of OGC 12-128r18, clause 2.1.3
    import sqlite3

    shapes = {
        "Point": shapely.Point(1.5, 2.5),
        "LineString": shapely.LineString([(0, 0), (3, 4)]),
        "Polygon": shapely.Polygon([(0, 0), (9, 0), (9, 9), (0, 0)], [[(4, 1), (5, 1), (5, 2), (4, 1)]]),
        "MultiPolygon": shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 2, 3, 3)]),
    }
    for kind, shape in shapes.items():
        path = tmp_path / f"{kind}.gpkg"
        gpd.GeoDataFrame({"a": [1]}, geometry=[shape], crs=7855).to_file(path, layer="a", driver="GPKG")
        connection = sqlite3.connect(path)
        ((blob,),) = connection.execute("SELECT geom FROM a").fetchall()
        connection.close()
        assert blob == geometry.to_geopackage(shapely.set_srid(shape, 7855)), kind


@given(st.datetimes(timezones=st.timezones()))
def test_a_time_comes_back_in_utc_to_the_millisecond(moment):
    """Round trip, no published example."""
    text = times.to_text(moment)
    assert len(text) == len("2026-03-01T09:30:00.000Z")
    assert times.from_text(text) == times.to_milliseconds(moment)


@pytest.mark.parametrize(
    ("changed", "error", "said"),
    [
        ({"block": None}, InputRefused, "Name of a block is None: it must be a text"),
        ({"row_spacing_m": -6}, InputRefused, "Row spacing of block 'East' is -6 m: it must be over 0 m"),
        ({"uphill_bearing_deg": 361}, InputRefused, "it must be at most 360 degrees"),
        ({"geometry": shapely.Point(0, 0)}, OutlineRefused, "Block 'East' is a Point: it must be one Polygon"),
        ({"geometry": None}, OutlineRefused, "Block 'East' has no shape"),
        ({"geometry": shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)])}, OutlineRefused, "crosses or touches itself"),
        (
            {"geometry": shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 2, 3, 3)])},
            OutlineRefused,
            "is a MultiPolygon",
        ),
        ({"uuid": "seven"}, InputRefused, "Uuid is 'seven': it must be 32 hexadecimal digits"),
    ],
)
def test_a_block_that_can_not_be_is_refused_and_nothing_stored(new_grove, block_frame, changed, error, said):
    store = new_grove()
    frame = block_frame()
    for column, value in changed.items():
        frame[column] = gpd.GeoSeries([value], crs=7855) if column == "geometry" else [value]
    acts = len(store.acts())
    with pytest.raises(error, match=said):
        store.add_blocks(frame)
    assert len(store.blocks()) == 0
    assert len(store.acts()) == acts


def test_another_crs_or_none_is_refused(new_grove, block_frame):
    store = new_grove()
    with pytest.raises(
        CRSRefused, match="Blocks are in GDA94 / MGA zone 55: the grove is kept in GDA2020 / MGA zone 55"
    ):
        store.add_blocks(block_frame(crs=28355))
    with pytest.raises(CRSRefused, match="Blocks are without a CRS"):
        store.add_blocks(block_frame(crs=None))


def test_the_same_name_twice_is_refused(new_grove, block_frame):
    store = new_grove()
    store.add_blocks(block_frame())
    with pytest.raises(InputRefused, match="Block 'East' is in the grove already"):
        store.add_blocks(block_frame())


def test_bad_places_are_told_by_their_lines_and_nothing_is_stored(new_grove, block_frame, tree_frame):
    store = new_grove()
    store.add_blocks(block_frame())
    frame = tree_frame.astype({"row": "float64"})
    frame.loc[1, "row"] = 1.5
    frame.loc[2, "block"] = "West"
    frame.loc[23, ["row", "position"]] = [1.0, 1]
    with pytest.raises(RowsRefused, match="3 of the places can't be stored") as told:
        store.add_places_and_plants(frame)
    assert [line for line, _ in told.value.problems] == [3, 4, 25]
    assert told.value.problems[0][1] == "Row is 1.5: it must be a whole number."
    assert (
        "there is no block 'West'" in told.value.problems[1][1].lower()
        or "There is no block 'West'" in told.value.problems[1][1]
    )
    assert len(store.places()) == 0


def test_a_keep_out_without_its_setback_is_refused(new_grove):
    frame = gpd.GeoDataFrame({"kind": ["water"], "setback_m": [np.nan]}, geometry=[shapely.box(0, 0, 9, 9)], crs=7855)
    with pytest.raises(InputRefused, match="has no setback: only the grower knows it"):
        new_grove().add_keep_outs(frame)


def test_a_uuid_that_is_taken_is_refused_in_words(grove, tree_frame):
    taken = grove.trees()["tree"][0]
    frame = tree_frame.head(1).assign(row=9, tree=taken)
    with pytest.raises(InputRefused, match=r"there is already a plant with this uuid\. Nothing was changed"):
        grove.add_places_and_plants(frame)
    assert len(grove.places()) == 24


def test_settings_come_back_as_typed_and_earlier_values_stay_in_the_history(grove):
    grove.set_setting("prices", {"product_per_l": 41.5, "currency": "AUD", "since": "2026-01-01", "hours": None})
    grove.set_setting("prices", {"product_per_l": 44})
    assert grove.setting("prices") == {"product_per_l": 44}
    assert grove.setting("label") is None
    newest = grove.history(1).iloc[0]
    assert "41.5" in newest["before"]
    with pytest.raises(InputRefused, match="Setting 'prices' can't be stored"):
        grove.set_setting("prices", {"product_per_l": float("nan")})


def test_the_grove_itself_can_be_changed(grove):
    grove.set_grove(uphill_bearing_deg=370 - 360, currency="EUR")
    assert (grove.grove.uphill_bearing_deg, grove.grove.currency) == (10.0, "EUR")
    with pytest.raises(InputRefused, match="Field of the grove is 'crs_code'"):
        grove.set_grove(crs_code=4326)
