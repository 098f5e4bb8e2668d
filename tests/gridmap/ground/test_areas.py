"""Map areas."""

from __future__ import annotations

import geopandas as gpd
import pyproj
import pytest
import shapely

from gridmap import crs
from gridmap.errors import CRSRefused
from gridmap.ground import block_areas, map_areas_ha


def test_areas_of_a_hundred_real_fields_agree_with_the_ellipsoid(open_data):
    # California Department of Water Resources, Statewide Crop Mapping 2023 (provisional), 100 fields (CC0); area on the
    # GRS 80 ellipsoid by PROJ's geodesic polygon (Karney 2013, doi:10.1007/s00190-012-0578-z). The tolerance is the
    # square of UTM's point scale there, 0.9996 on the meridian to 1.0004 at the zone's edge at 38 degrees.
    fields = gpd.read_file(open_data / "parcels_california" / "parcels.geojson")
    geod = pyproj.Geod(ellps="GRS80")
    moved, _ = crs.to_grove(fields, 26910)
    for area_ha, shape in zip(map_areas_ha(moved.geometry), fields.geometry, strict=True):
        around_m2, _ = geod.geometry_area_perimeter(shapely.orient_polygons(shapely.force_2d(shape)))
        assert area_ha * 10_000 == pytest.approx(around_m2, rel=0.001)


def test_holes_are_taken_off_and_nothing_is_dropped():
    holed = shapely.box(0, 0, 200, 100).difference(shapely.box(10, 10, 20, 20))
    table = block_areas(gpd.GeoDataFrame({"block": ["A", "B"]}, geometry=[holed, None], crs=7855))
    assert table["area_ha"].tolist() == [1.99, 0.0]
    assert table["perimeter_m"].tolist() == [640.0, 0.0]


def test_degrees_are_refused():
    with pytest.raises(CRSRefused, match="The shapes are in degrees: areas need the grove's projected CRS"):
        map_areas_ha(gpd.GeoSeries([shapely.box(145, -36, 145.1, -35.9)], crs=4326))
