"""Out by `write_layer` and in again by the readers. No published examples: round trips, and one general library."""

from __future__ import annotations

import string
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gridmap.crs import to_grove
from gridmap.exchange import read_keep_outs, read_outlines, read_trees, write_layer

EAST, NORTH = 500_000, 5_900_000
OUTLINE_FORMATS = ["geojson", "gpkg", "kml", "gpx", "shp.zip", "csv"]
FACTS = ["row_bearing_deg", "row_spacing_m", "tree_spacing_m", "headland_m", "uphill_bearing_deg", "canopy_height_m",
         "canopy_width_m"]  # fmt: skip
# Text without control characters (they are taken out) and blanks (they are joined), and without the apostrophe at the
# start that is taken off as a spreadsheet's.
NAMES = st.text(
    st.characters(codec="utf-8", exclude_categories=["C", "Z"]) | st.sampled_from(string.punctuation + "éß"),
    min_size=1,
    max_size=20,
).filter(lambda name: not name.startswith("'"))
# The radii of an outline that is a star about its middle [m]: such a one never crosses itself.
RADII = st.lists(st.floats(40, 120), min_size=5, max_size=12)
ROUND = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def star(number: int, radii: list[float], hole: bool) -> shapely.Polygon:
    middle = np.array([EAST + 300 * number, NORTH])
    turn = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    ring = middle + np.column_stack([np.cos(turn), np.sin(turn)]) * np.array(radii)[:, None]
    return shapely.Polygon(ring, [shapely.box(*(middle - 5), *(middle + 5)).exterior.coords] if hole else [])


BLOCK = st.fixed_dictionaries(
    {
        "radii": RADII,
        "hole": st.booleans(),
        "facts": st.fixed_dictionaries({name: st.none() | st.integers(1, 25) for name in FACTS}),
    }
)


@ROUND
@given(
    blocks=st.lists(BLOCK, min_size=1, max_size=3),
    names=st.lists(NAMES, min_size=3, max_size=3, unique_by=str.casefold),
)
@pytest.mark.parametrize("kind", OUTLINE_FORMATS)
def test_outlines(tmp_path, kind, blocks, names):
    shapes = [star(number, block["radii"], block["hole"]) for number, block in enumerate(blocks)]
    table = pd.DataFrame([{"block": name, **block["facts"]} for name, block in zip(names, blocks, strict=False)])
    table[FACTS] = table[FACTS].astype(float)
    path = tmp_path / f"blocks.{kind}"
    write_layer(gpd.GeoDataFrame(table, geometry=shapes, crs=7855), path, wkt=True)
    back, _ = to_grove(read_outlines(path), 7855)
    assert back["block"].tolist() == table["block"].tolist()
    pd.testing.assert_frame_equal(pd.DataFrame(back[FACTS]), table[FACTS], check_dtype=False)
    assert shapely.area(back.geometry.to_numpy()) == pytest.approx(shapely.area(shapes), rel=1e-3)
    assert shapely.hausdorff_distance(back.geometry.to_numpy(), shapes).max() < 0.02


@ROUND
@given(kinds=st.lists(st.sampled_from(["water", "hive", "bush"]), min_size=1, max_size=3), setback=st.floats(0, 500))
@pytest.mark.parametrize("kind", OUTLINE_FORMATS)
def test_keep_outs(tmp_path, kind, kinds, setback):
    setback = round(setback, 3)
    shapes = [star(number, [20.0] * 6, False) for number in range(len(kinds))]
    table = pd.DataFrame({"name": [f"dam {i}" for i in range(len(kinds))], "kind": kinds, "setback_m": setback})
    path = tmp_path / f"keep.{kind}"
    write_layer(gpd.GeoDataFrame(table, geometry=shapes, crs=7855), path, wkt=True)
    back, _ = to_grove(read_keep_outs(path), 7855)
    assert back["kind"].tolist() == kinds
    assert back["name"].tolist() == table["name"].tolist()
    assert back["setback_m"].to_numpy() == pytest.approx(setback)
    assert shapely.hausdorff_distance(back.geometry.to_numpy(), shapes).max() < 0.02


TREE = st.fixed_dictionaries(
    {
        "elevation_m": st.none() | st.floats(-10, 900).map(lambda value: round(value, 2)),
        "canopy_height_m": st.none() | st.integers(1, 8),
        "canopy_width_m": st.none() | st.integers(1, 8),
        "status": st.sampled_from(["alive", "gone"]),
    }
)


@ROUND
@given(trees=st.lists(TREE, min_size=1, max_size=6), block=NAMES)
@pytest.mark.parametrize("kind", OUTLINE_FORMATS)
def test_trees(tmp_path, kind, trees, block):
    table = pd.DataFrame(trees).assign(block=block, row=2, position=range(1, len(trees) + 1))
    numbers = ["elevation_m", "canopy_height_m", "canopy_width_m"]
    table[numbers] = table[numbers].astype(float)
    points = gpd.points_from_xy(EAST + 5 * table["position"], [NORTH] * len(table))
    path = tmp_path / f"trees.{kind}"
    write_layer(gpd.GeoDataFrame(table, geometry=points, crs=7855), path)
    back, _ = to_grove(read_trees(path), 7855)
    for column in ("block", "row", "position", "status"):
        assert back[column].tolist() == table[column].tolist()
    pd.testing.assert_frame_equal(pd.DataFrame(back[numbers]), table[numbers], check_dtype=False)
    assert back.distance(gpd.GeoSeries(points, crs=7855)).max() < 0.02


@pytest.mark.parametrize("ending", ["kml", "shp.zip", "gpkg"])
def test_real_parcels_have_the_same_areas_in_every_format(open_data, tmp_path, ending):
    # California Department of Water Resources, Statewide Crop Mapping 2023 (provisional), 100 fields (CC0); written by
    # geopandas, in the CRS that each format usually comes in.
    fields = gpd.read_file(Path(open_data) / "parcels_california" / "parcels.geojson")[["UniqueID", "geometry"]]
    path = tmp_path / f"parcels.{ending}"
    if ending == "kml":
        fields.to_file(path, driver="LIBKML")
    else:
        fields.to_crs(3310).to_file(path, driver={"gpkg": "GPKG"}.get(ending, "ESRI Shapefile"))
    read = read_outlines(path, name_column="UniqueID")
    assert read["block"].tolist() == fields["UniqueID"].astype(str).tolist()
    assert len(read) == 100
    assert read.to_crs(3310).area.to_numpy() == pytest.approx(fields.to_crs(3310).area.to_numpy(), rel=1e-3)
