"""What metres upslope rest on: heights first, then arrows. Values from geometry on a tilted plane."""

from __future__ import annotations

import numpy as np
import pytest

from gridmap.errors import InputRefused
from gridmap.ground import NEAR_A_HEIGHT_M, metres_upslope

XY = np.array([[5.0 * i, 7.0 * j] for j in range(6) for i in range(5)])
BLOCK = np.array(["A"] * 15 + ["B"] * 15)
PLANE = 40 + 0.2 * XY[:, 1]


def test_heights_go_before_every_arrow():
    found = metres_upslope(XY, PLANE, BLOCK, uphill_bearing_deg=90, block_bearing_deg={"A": 90, "B": 90})
    assert set(found["source"]) == {"heights"}
    assert found["upslope_m"].to_numpy() == pytest.approx(XY[:, 1], abs=1e-6)


def test_the_arrow_of_the_grove_goes_before_those_of_blocks():
    found = metres_upslope(XY, np.full(30, np.nan), BLOCK, uphill_bearing_deg=90, block_bearing_deg={"A": 0, "B": 0})
    assert set(found["source"]) == {"grove arrow"}
    assert found["upslope_m"].to_numpy() == pytest.approx(XY[:, 0])


def test_blocks_count_from_their_own_lowest_place_and_one_without_an_arrow_has_none():
    found = metres_upslope(XY, np.full(30, np.nan), BLOCK, block_bearing_deg={"A": 180, "B": float("nan")})
    assert found["upslope_m"].to_numpy()[:15] == pytest.approx(14 - XY[:15, 1])
    assert found["upslope_m"].isna()[15:].all()
    assert set(found["source"][15:]) == {""}


def test_a_place_far_from_every_height_takes_the_arrow():
    xy = np.vstack([XY, [[0.0, 35 + NEAR_A_HEIGHT_M + 1], [0.0, 35 + NEAR_A_HEIGHT_M - 1]]])
    heights = np.append(PLANE, [np.nan, np.nan])
    found = metres_upslope(xy, heights, [*BLOCK, "B", "B"], uphill_bearing_deg=0)
    assert found["source"].tolist()[-2:] == ["grove arrow", "heights"]
    assert found["upslope_m"].to_numpy() == pytest.approx(xy[:, 1], abs=1e-6)


def test_level_heights_and_too_few_leave_it_to_the_arrow():
    for heights in (np.full(30, 12.0), np.where(np.arange(30) < 2, PLANE, np.nan)):
        found = metres_upslope(XY, heights, BLOCK, uphill_bearing_deg=0)
        assert set(found["source"]) == {"grove arrow"}
        assert found["upslope_m"].to_numpy() == pytest.approx(XY[:, 1])
    assert metres_upslope(XY, np.full(30, 12.0), BLOCK)["upslope_m"].isna().all()


def test_lengths_that_differ_are_refused():
    with pytest.raises(InputRefused, match="elevation_m has 2 entries"):
        metres_upslope(XY, [1.0, 2.0], BLOCK)
