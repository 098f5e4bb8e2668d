"""Invented groves for the tests of this room; nothing in them stands for a real place, product or rate."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely


def build(
    rows: int = 6, length: int = 12, *, names: tuple[str, ...] = ("East", "West"), jitter_m: float = 0.0,
    gaps: float = 0.0, seed: int = 0, canopy_width_m: float = 3.0, bearing_deg: float = 90.0,
    row_spacing_m: float = 8.0,
) -> SimpleNamespace:
    """Return trees, blocks, pressure of an invented grove; blocks lie one above the other."""
    rng = np.random.default_rng(seed)
    tree_m, records, xy = 5.0, [], []
    turn = np.radians(90.0 - bearing_deg)
    for b, name in enumerate(names):
        for row in range(1, rows + 1):
            for position in range(1, length + 1):
                if rng.random() < gaps:
                    continue
                records.append((f"{name}-{row}-{position}", name, row, position))
                u, v = position * tree_m, (row + b * (rows + 2)) * row_spacing_m
                xy.append((u * np.cos(turn) - v * np.sin(turn), u * np.sin(turn) + v * np.cos(turn)))
    place = np.array(xy).reshape(-1, 2) + rng.uniform(-jitter_m, jitter_m, (len(xy), 2)) + [500_000, 5_500_000]
    table = pd.DataFrame(records, columns=["tree", "block", "row", "position"])
    trees = gpd.GeoDataFrame(table.assign(status="alive", canopy_width_m=np.nan),
                             geometry=gpd.points_from_xy(place[:, 0], place[:, 1]), crs="EPSG:7855")
    blocks = gpd.GeoDataFrame({
        "block": list(names), "row_spacing_m": row_spacing_m, "tree_spacing_m": tree_m, "row_bearing_deg": bearing_deg,
        "canopy_height_m": 3.0, "canopy_width_m": canopy_width_m,
    }, geometry=[shapely.box(0, 0, 1, 1)] * len(names), crs="EPSG:7855")
    pressure = pd.DataFrame({"tree": trees["tree"], "chance_over": rng.beta(0.4, 1.2, len(trees))})
    return SimpleNamespace(trees=trees, blocks=blocks, pressure=pressure, names=names)


def keep_out(geometry: object, setback_m: float, name: str = "dam") -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"keep_out": ["k1"], "name": [name], "kind": ["water"], "setback_m": [setback_m]},
                            geometry=[geometry], crs="EPSG:7855")


@pytest.fixture
def grove() -> Callable[..., SimpleNamespace]:
    return build


@pytest.fixture
def dam() -> Callable[..., gpd.GeoDataFrame]:
    return keep_out
