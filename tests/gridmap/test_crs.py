"""The grove's CRS, and the way of everything into it."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import pyproj.network
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gridmap import crs, datum
from gridmap.errors import CRSRefused, InputRefused

# ICSM, Geocentric Datum of Australia 2020 Technical Manual version 1.2, section 3.1.1 (GDA94 to GDA2020, station Alice
# Springs ALIC) and its map grid (MGA2020 zone 53), https://www.icsm.gov.au/publications/gda2020-technical-manual
ALIC_GDA94 = (133 + 53 / 60 + 7.847844 / 3600, -(23 + 40 / 60 + 12.446019 / 3600))
ALIC_MGA2020_53 = (386353.2343, 7381852.2986)


def frame(*xy: tuple[float, float], epsg: int | None) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(geometry=[shapely.Point(point) for point in xy], crs=epsg)


def xy(moved: gpd.GeoDataFrame) -> np.ndarray:
    return shapely.get_coordinates(moved.geometry.to_numpy())


def test_published_station_lands_where_the_manual_puts_it():
    moved, notes = crs.to_grove(frame(ALIC_GDA94, epsg=4283), 7853)
    # The manual's seven parameters act in three dimensions; without the station's height the place moves by under 1 mm.
    assert xy(moved)[0] == pytest.approx(ALIC_MGA2020_53, abs=0.002)
    assert notes == []


@given(st.floats(400_000, 600_000), st.floats(5_700_000, 6_200_000))
def test_same_trees_in_old_and_new_datum_land_on_each_other(easting, northing):
    new = frame((easting, northing), epsg=7855)
    # The general library's own way back to GDA94 (no published example for a grove).
    shift = pyproj.Transformer.from_crs(7855, 28355, always_xy=True, only_best=True, allow_ballpark=False)
    old = frame(shift.transform(easting, northing), epsg=28355)
    assert new.distance(old.set_crs(7855, allow_override=True))[0] > 1.4
    moved, _ = crs.to_grove(old, 7855)
    assert new.distance(moved)[0] < 0.1


def test_the_shift_has_its_published_size():
    # ICSM, GDA2020 Technical Manual version 1.2, chapter 1: about 1.8 m to the north-east in the middle of the country.
    # Read from memory, so only the size and the direction are held.
    moved, _ = crs.to_grove(frame((500_000, 5_900_000), epsg=28355), 7855)
    east, north = xy(moved)[0] - (500_000, 5_900_000)
    assert 1.4 < np.hypot(east, north) < 1.9
    assert east > 0
    assert north > 0


def test_wgs84_is_taken_as_the_current_datum_and_told_once():
    places = frame((147.1, -37.0), (147.2, -37.1), epsg=4326)
    moved, notes = crs.to_grove(places, 7855)
    same, none = crs.to_grove(places.set_crs(7844, allow_override=True), 7855)
    assert xy(moved) == pytest.approx(xy(same), abs=1e-6)
    assert notes == ["WGS 84 positions were taken as GDA2020, the current datum of the grove's place"]
    assert none == []


def test_a_grove_kept_on_the_old_datum_still_meets_the_phone():
    phone = frame((147.1, -37.0), epsg=4326)
    old, _ = crs.to_grove(phone, 28355)
    new, _ = crs.to_grove(phone, 7855)
    again, _ = crs.to_grove(old, 7855)
    assert new.distance(again)[0] < 0.01
    assert xy(crs.to_lonlat(old)) == pytest.approx(xy(phone), abs=1e-8)


def test_projected_wgs84_is_taken_as_the_current_datum_too():
    moved, notes = crs.to_grove(frame((500_000, 5_900_000), epsg=32755), 7855)
    # UTM and MGA differ in nothing but the datum and its ellipsoid (0.1 mm at the pole), so the numbers stay.
    assert xy(moved)[0] == pytest.approx((500_000, 5_900_000), abs=0.001)
    assert len(notes) == 1


def test_no_network_and_no_ballpark_step():
    assert not pyproj.network.is_network_enabled()
    for start, end in [(4283, 7855), (28354, 7854), (4258, 25830), (4269, 26910), (31370, 25831), (4203, 7855)]:
        steps, _ = datum._transformers(
            pyproj.CRS(start).to_wkt(), pyproj.CRS(end).to_wkt(), (-180.0, -90.0, 180.0, 90.0)
        )
        for step in steps:
            assert "ballpark" not in (step.description + step.definition).lower()
            assert 0 <= step.accuracy <= datum.REFUSED_M


def test_datum_that_needs_a_grid_is_refused_not_guessed():
    # NAD27 to NAD83 is done by grids alone (NADCON); PROJ's ballpark would leave it up to 100 m off.
    with pytest.raises(
        CRSRefused, match=r"NAD27.* can't be brought to NAD83 / UTM zone 10N here: PROJ has no way .* without a grid"
    ):
        crs.to_grove(frame((-122.1, 39.5), epsg=4267), 26910)


def test_realisations_of_one_datum_are_taken_as_each_other_and_told():
    moved, notes = crs.to_grove(frame((-122.1, 39.5), epsg=6318), 26910)
    assert len(moved) == 1
    assert notes == ["NAD83(2011) was taken as NAD83; the two can differ by about a metre"]


def test_a_poor_shift_tells_its_accuracy():
    _, notes = crs.to_grove(frame((145.0, -37.0), epsg=4203), 7855)
    assert len(notes) == 1
    assert "AGD84 was brought to GDA2020" in notes[0]
    assert "good to 1" in notes[0]


# EPSG Geodetic Parameter Dataset: names of the codes; places are cities, from memory.
@pytest.mark.parametrize(
    ("longitude", "latitude", "name"),
    [
        (138.6, -34.9, "GDA2020 / MGA zone 54"),
        (115.9, -32.0, "GDA2020 / MGA zone 50"),
        (147.3, -42.9, "GDA2020 / MGA zone 55"),
        (-3.8, 37.8, "ETRS89 / UTM zone 30N"),  # Jaen
        (17.0, 41.1, "ETRS89 / UTM zone 33N"),  # Puglia
        (22.1, 37.0, "ETRS89 / UTM zone 34N"),  # Messenia
        (25.1, 35.3, "ETRS89 / UTM zone 35N"),  # Crete
        (33.0, 34.9, "ETRS89 / UTM zone 36N"),  # Cyprus
        (-122.2, 39.5, "NAD83 / UTM zone 10N"),  # California
        (-99.0, 29.0, "NAD83 / UTM zone 14N"),  # Texas
        (10.6, 35.8, "WGS 84 / UTM zone 32N"),  # Tunisia
        (27.8, 38.6, "WGS 84 / UTM zone 35N"),  # western Anatolia
        (-116.6, 32.1, "WGS 84 / UTM zone 11N"),  # Baja California
        (-70.7, -33.4, "WGS 84 / UTM zone 19S"),  # Chile
        (172.6, -43.5, "WGS 84 / UTM zone 59S"),  # Canterbury, New Zealand
        (147.2, -9.5, "WGS 84 / UTM zone 55S"),  # Port Moresby
    ],
)
def test_choice_of_crs(longitude, latitude, name):
    chosen = crs.choose_crs(longitude, latitude)
    assert pyproj.CRS(chosen).name == name
    assert crs.grove_crs(chosen) == chosen


@given(st.floats(-180, 180), st.floats(-80, 84))
def test_every_place_has_a_crs_in_metres(longitude, latitude):
    chosen = pyproj.CRS(crs.choose_crs(longitude, latitude))
    assert chosen.axis_info[0].unit_name == "metre"
    middle = chosen.coordinate_operation.params[1].value
    assert abs(longitude - middle) <= 3.0 + 1e-9


def test_choice_for_a_frame_reads_any_crs():
    assert crs.choose_crs_for(frame((500_000, 5_900_000), epsg=28355)) == 7855


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (4326, "is in degrees: a grove needs a projected CRS in metres"),
        ("EPSG:2225", "counts in US survey foot to the east and north: a grove needs metres"),
        (3857, "stretches distances"),
        (27700, "is on the datum Ordnance Survey of Great Britain 1936"),
        ("nowhere", "CRS 'nowhere' is not known: it must be an EPSG number"),
        (None, "is not known"),
        ("+proj=tmerc +lat_0=1.234 +lon_0=3 +ellps=GRS80 +units=m", "has no EPSG number|is tied to no datum"),
    ],
)
def test_override_refused(value, message):
    with pytest.raises(CRSRefused, match=message):
        crs.grove_crs(value)


@pytest.mark.parametrize("value", [7855, "EPSG:25832", 2193, 26910, 32719, 31983])
def test_override_taken(value):
    assert crs.grove_crs(value) == pyproj.CRS(value).to_epsg()


@pytest.mark.parametrize(
    ("points", "epsg", "message"),
    [
        ([(147.0, -37.0)], None, "The coordinates have no CRS: .* Name it, for instance EPSG:7855"),
        ([(-37.0, 147.0)], 4326, "Latitude is 147 degrees: .* look swapped: give longitude first"),
        ([(500_000, 5_900_000)], 4326, "are no degrees: .* They look like metres"),
        ([(147.0, -37.0)], 28355, "are no metres of GDA94 / MGA zone 55: they look like degrees"),
        ([(147.0, float("nan"))], 4326, "Entry 1 has no position"),
        ([(147.0, -37.0), (float("inf"), 0)], 4326, "Entry 2 has no position"),
        ([(0.0, 0.0)], 4326, "The coordinates lie .*far from where GDA2020 / MGA zone 55 is used|km from where"),
    ],
)
def test_coordinates_refused(points, epsg, message):
    with pytest.raises(CRSRefused, match=message):
        crs.to_grove(frame(*points, epsg=epsg), 7855)


def test_one_lost_corner_is_refused():
    # The bounds of such a shape are finite: they leave the corner out.
    with np.errstate(invalid="ignore"):
        lost = shapely.Polygon([(147, -37), (147.001, -37), (float("nan"), -36.999), (147, -37)])
    with pytest.raises(CRSRefused, match="Entry 2 has no position"):
        crs.to_grove(gpd.GeoDataFrame(geometry=[shapely.box(147, -37, 147.1, -36.9), lost], crs=4326), 7855)


def test_missing_geometry_refused():
    with pytest.raises(CRSRefused, match="Entry 1 has no position"):
        crs.to_grove(gpd.GeoDataFrame(geometry=[None], crs=4326), 7855)


def test_swapped_told_where_both_orders_are_possible():
    # A grove in southern Spain: 37.8 is a longitude too, and lands in East Africa.
    grove, _ = crs.to_grove(frame((-3.80, 37.80), (-3.79, 37.81), epsg=4326), 25830)
    near = grove.total_bounds
    with pytest.raises(
        CRSRefused, match=r"km from the grove: over 50 km is refused. Longitude and latitude look swapped: swap them"
    ):
        crs.to_grove(frame((37.80, -3.80), epsg=4326), 25830, near=near)


def test_far_from_the_grove_refused():
    near = (500_000, 5_900_000, 500_500, 5_900_400)
    with pytest.raises(
        CRSRefused, match=r"lie 60 km from the grove: over 50 km is refused. Check the coordinates and their CRS"
    ):
        crs.to_grove(frame((560_000, 5_900_000), epsg=7855), 7855, near=near)
    moved, _ = crs.to_grove(frame((540_000, 5_900_000), epsg=7855), 7855, near=near)
    assert len(moved) == 1


def test_bounds_of_nothing_count_as_not_given():
    nothing = gpd.GeoDataFrame(geometry=[], crs=7855).total_bounds
    moved, _ = crs.to_grove(frame((540_000, 5_900_000), epsg=7855), 7855, near=nothing)
    assert len(moved) == 1


def test_swapped_easting_and_northing_told():
    near = (500_000, 5_900_000, 500_500, 5_900_400)
    with pytest.raises(CRSRefused, match="Easting and northing look swapped"):
        crs.to_grove(frame((5_900_000, 500_000), epsg=7855), 7855, near=near)


def test_heights_are_left_out_and_columns_stay():
    given_frame = gpd.GeoDataFrame({"row": [3]}, geometry=[shapely.Point(147, -37, 250)], crs=4326, index=[7])
    moved, _ = crs.to_grove(given_frame, 7855)
    assert not moved.has_z.any()
    assert moved.loc[7, "row"] == 3


def test_bad_longitude_refused():
    with pytest.raises(
        InputRefused, match=r"Latitude is 145 degrees: it must be at most 84 degrees\. Give longitude first"
    ):
        crs.choose_crs(-36, 145)


@given(st.floats(-2.9, 2.9), st.floats(0.1, 60), st.sampled_from([25832, 26910, 32633, 32719, 7855]))
def test_round_trip(beside, latitude, epsg):
    # Property, no published example.
    middle = 147 if epsg == 7855 else (epsg % 100) * 6 - 183
    if epsg in (7855, 32719):
        latitude = -latitude
    start = frame((middle + beside, latitude), epsg=4326)
    moved, _ = crs.to_grove(start, epsg, near=start.to_crs(epsg).total_bounds)
    back = crs.to_lonlat(moved)
    assert xy(back) == pytest.approx(xy(start), abs=1e-8)
    assert back.crs.to_epsg() == 4326
