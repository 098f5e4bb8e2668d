"""Heights packed and read back; thinning keeps the mean. Another reader (GDAL) opens what is packed."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio.io
from hypothesis import given
from hypothesis import strategies as st

from gridmap.errors import FileRefused, InputRefused
from gridmap.ground import Dem, pack_dem, thinned, unpack_dem


def hill(rows: int = 40, columns: int = 30) -> Dem:
    z = np.add.outer(np.arange(rows) * -0.7, np.arange(columns) * 1.3) + 321.234
    z[3, 4] = np.nan
    return Dem(z, 300_000, 6_100_000, (5, 4), 7855)


def test_a_round_trip_keeps_place_gaps_and_centimetres():
    dem = hill()
    back = unpack_dem(pack_dem(dem))
    assert back.bounds == dem.bounds
    assert (back.crs, back.cell_m) == (7855, (5.0, 4.0))
    assert np.isnan(back.elevation_m[3, 4])
    assert np.nanmax(np.abs(back.elevation_m - dem.elevation_m)) <= 0.005 + 1e-9


def test_gdal_reads_what_is_packed():
    dem = hill()
    with rasterio.io.MemoryFile(pack_dem(dem)) as memory, memory.open() as found:
        assert found.crs.to_epsg() == 7855
        assert found.units == ("metre",)
        heights = found.read(1, masked=True) * found.scales[0]
    assert heights.mask.sum() == 1
    assert float(np.abs(heights - dem.elevation_m).max()) <= 0.0051


def test_a_smooth_hill_packs_into_a_few_bytes_a_cell():
    x, y = np.meshgrid(np.linspace(-2, 2, 500), np.linspace(-2, 2, 500))
    assert len(pack_dem(Dem(80 * np.exp(-(x**2) - y**2), 300_000, 6_100_000, (1, 1), 7855))) < 2 * 250_000


@given(st.integers(1, 60), st.integers(1, 60), st.integers(1, 200))
def test_thinning_obeys_its_limit_and_keeps_level_ground(rows, columns, most):
    """No published example: a property."""
    dem = Dem(np.full((rows, columns), 7.5), 0, 0, (2, 3), 7855)
    small = thinned(dem, most_cells=most)
    assert small.elevation_m.size <= most
    assert (small.elevation_m[np.isfinite(small.elevation_m)] == 7.5).all()
    assert (small.west_m, small.north_m) == (0, 0)


def test_thinning_a_plane_keeps_its_heights_between_cells():
    """Geometry: the mean of a plane over a square is its height in the middle."""
    dem = hill(40, 40)
    small = thinned(dem, most_cells=400)
    assert small.cell_m == (10, 8)
    at = [[300_101.0, 6_099_921.0], [300_055.5, 6_099_950.0]]
    assert small.at(at) == pytest.approx(dem.at(at), abs=1e-9)


def test_what_is_no_copy_of_a_dem_is_refused():
    for packed in (b"", b"II*\x00", pack_dem(hill())[:200]):
        with pytest.raises(FileRefused, match="The heights in the grove file can't be read"):
            unpack_dem(packed)
    with pytest.raises(InputRefused, match="Cells to keep is 0"):
        thinned(hill(), most_cells=0)
