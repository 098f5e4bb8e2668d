"""Heights of places, the small copy of a DEM, and points: stored, read, undone. No published example: own tables."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from gridmap.errors import InputRefused

BOTH_STORES = True

BYTES = bytes(range(256)) * 4


def test_a_dem_is_stored_once_and_comes_back_byte_for_byte_after_undo(grove, geopackage_faults):
    grove.set_terrain("dem", {"file_name": "a.tif", "vertical_unit": "metre", "heights": 9, "geotiff": BYTES})
    grove.set_terrain("dem", {"file_name": "b.tif", "vertical_unit": "foot", "heights": 4, "geotiff": BYTES[::-1]})
    assert list(grove.terrain()) == ["dem"]
    assert (grove.terrain()["dem"].file_name, grove.terrain()["dem"].geotiff) == ("b.tif", BYTES[::-1])
    grove.undo(grove.acts(1)["act"][0])
    assert (grove.terrain()["dem"].file_name, grove.terrain()["dem"].geotiff) == ("a.tif", BYTES)
    assert geopackage_faults(grove.path) == []


def test_heights_change_figures_only_and_the_same_again_is_no_change(grove):
    before = grove.places()
    frame = before[["place"]].assign(elevation_m=[12.0 + i for i in range(len(before))], upslope_m=float("nan"))
    assert grove.set_places(frame) == len(before)
    after = grove.places()
    unchanged = ["place", "block", "row", "position", "tree"]
    pd.testing.assert_frame_equal(pd.DataFrame(after[unchanged]), pd.DataFrame(before[unchanged]))
    assert after.geometry.equals(before.geometry)
    acts = len(grove.acts(None))
    assert grove.set_places(frame.assign(elevation_m=frame["elevation_m"] + 0.0001)) == 0
    assert len(grove.acts(None)) == acts
    grove.undo(grove.acts(1)["act"][0])
    assert grove.places()["elevation_m"].isna().all()


def test_a_place_that_is_not_there_is_refused(grove):
    with pytest.raises(InputRefused, match="There is no place nowhere"):
        grove.set_places(pd.DataFrame({"place": ["nowhere"], "elevation_m": [1.0], "upslope_m": [1.0]}))


def points(*names: str, kind: str = "gate") -> gpd.GeoDataFrame:
    shapes = [shapely.Point(500_000 + i, 5_200_000) for i in range(len(names))]
    return gpd.GeoDataFrame({"name": list(names), "kind": kind}, geometry=shapes, crs=7855)


def test_points_are_stored_by_name(grove, geopackage_faults):
    grove.add_points(points("south gate", "north gate"))
    found = grove.points()
    assert found["name"].tolist() == ["north gate", "south gate"]
    assert found.geometry.x.tolist() == [500_001, 500_000]
    with pytest.raises(InputRefused, match="Point 'north gate' is in the grove already"):
        grove.add_points(points("north gate"))
    with pytest.raises(InputRefused, match="Kind of point 'x' is 'door'"):
        grove.add_points(points("x", kind="door"))
    assert len(grove.points()) == 2
    assert geopackage_faults(grove.path) == []
