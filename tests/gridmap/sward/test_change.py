"""Ground gained and lost: areas that sum, real land cover, years passed."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from gridmap.sward import KINDS, area_by_band, ground_changed, polygons_changed, year_passed


def floor(rows: int = 6) -> gpd.GeoDataFrame:
    shapes = [shapely.box(0, 8 * row, 100, 8 * row + 6) for row in range(rows)]
    table = {"block": ["A"] * rows, "row": range(1, rows + 1), "upslope_m": [8.0 * row + 3 for row in range(rows)]}
    return gpd.GeoDataFrame(table, geometry=shapes, crs=32729)


def cover(grass: list[float], error: float = 0.05) -> pd.DataFrame:
    return pd.DataFrame({
        "block": "A", "row": range(1, len(grass) + 1), "grass_cover": grass, "standard_error": error,
    })


def test_each_row_has_one_of_five_kinds_and_no_ground_is_lost():
    changed = ground_changed(cover([0.9, 0.2, 0.9, 0.1, 0.5]), cover([0.9, 0.9, 0.2, 0.1, 0.9]), floor(), level=0.6)
    assert changed["change"].tolist() == [
        "grassed throughout", "gained", "lost", "bare or litter throughout", "gained", "too few looks to say"]
    assert changed["area_ha"].sum() == pytest.approx(6 * 600 / 10_000)
    doubtful = ground_changed(cover([0.55] * 5, 0.2), cover([0.9] * 5), floor(), level=0.6)
    assert set(doubtful["change"]) == {"too few looks to say"}


def test_bands_sum_to_the_floor():
    changed = ground_changed(cover([0.9] * 6), cover([0.9] * 6), floor(), level=0.6)
    bands = area_by_band(changed, band_m=20)
    assert bands["from_m"].tolist() == [0.0, 20.0, 40.0]
    assert bands[list(KINDS)].to_numpy().sum() == pytest.approx(0.36)


def test_a_row_stands_once():
    twice = pd.concat([cover([0.9]), cover([0.8])])
    with pytest.raises(InputRefused, match="A row stands twice in before"):
        ground_changed(twice, cover([0.9]), floor(), level=0.5)


@settings(max_examples=30, deadline=None)
@given(st.floats(0, 60), st.floats(0, 60), st.floats(-20, 20))
def test_drawn_ground_sums_to_the_floor(old, new, tilt):
    """No published example: every square metre is of one kind."""
    def grass(top: float) -> gpd.GeoSeries:
        return gpd.GeoSeries([shapely.Polygon([(-5, -30), (105, -30), (105, top + tilt), (-5, top - tilt)])], crs=32729)

    changed = polygons_changed(grass(old), grass(new), floor())
    per_row = changed.groupby("row")["area_ha"].sum()
    np.testing.assert_allclose(per_row, 0.06, atol=1e-6)


def test_drawn_ground_needs_one_crs():
    grass = gpd.GeoSeries([shapely.box(0, 0, 1, 1)], crs=4326)
    with pytest.raises(InputRefused, match="another CRS"):
        polygons_changed(grass, grass, floor())


def test_real_land_cover_gives_its_cross_tabulation(open_data):
    """Two real rasters, 1971 and 1999 (data of the R package diffeR; Pontius and Santacruz 2014, IJRS 35:7543-7554).

    Counts of cells that were and became natural ground as the data's own table has them: 38,597 stayed, 65 + 229 came,
    5,793 + 657 went.
    """
    import rasterio

    from gridmap.sward import measure_classes

    folder = open_data / "landcover_1971_1999"
    with rasterio.open(folder / "lc1971.tif") as source:
        old, grid, crs = source.read(1), source.transform, source.crs
    with rasterio.open(folder / "lc1999.tif") as source:
        new = source.read(1)
    inside = (old > 0) & (new > 0)
    cells = {"gained": (old != 1) & (new == 1), "lost": (old == 1) & (new != 1), "kept": (old == 1) & (new == 1)}
    assert {name: int((kind & inside).sum()) for name, kind in cells.items()} == {
        "gained": 294, "lost": 6450, "kept": 38_597}
    west, north, size = grid.c, grid.f, grid.a
    tops = [north - size * 64 * n for n in range(4)]
    strips = [shapely.box(west, top - size * 64, west + size * 256, top) for top in tops]
    ground = gpd.GeoDataFrame({"block": "A", "row": range(1, 5), "upslope_m": 1.0}, geometry=strips, crs=crs)
    table = measure_classes(folder / "lc1971.tif", ground, {1: "grass", 2: "rock", 3: "bare"})
    assert int(table["cells"].sum()) == int((old > 0).sum())
    assert (table["grass"] * table["cells"]).sum() == pytest.approx((old == 1).sum())
    assert table[["grass", "dead_grass", "litter", "rock", "bare"]].sum(axis=1).tolist() == pytest.approx([1.0] * 4)


def test_the_year_a_row_passed():
    dates = ["2018-09-01", "2020-09-01", "2022-09-01", "2024-09-01"]
    grass = {1: [0.8, 0.9, 0.9, 0.9], 2: [0.2, 0.7, 0.4, 0.8], 3: [0.1, 0.2, 0.3, 0.4], 4: [0.1, 0.7, 0.7, 0.3]}
    rows = pd.DataFrame([
        {"date": date, "block": "A", "row": row, "upslope_m": 10.0 * row, "grass_cover": cover}
        for row, covers in grass.items() for date, cover in zip(dates, covers, strict=True)
    ])
    table = year_passed(rows, level=0.6)
    assert table["passed"].tolist() == [2018, 2024, pd.NA, pd.NA]
    assert table["note"].tolist() == ["over at the first look", "", "never over", "fell back"]
