"""Groves for the walk: regular blocks, made up."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest


def block(name, rows, positions, *, east=0.0, north=0.0, spacing_m=5.0, rows_m=7.0):
    row, position = (each.ravel() for each in np.mgrid[1: rows + 1, 1: positions + 1])
    return pd.DataFrame({"block": name, "row": row, "position": position, "x": east + spacing_m * (position - 1),
                         "y": north + rows_m * (row - 1)})


def grove(*blocks):
    frame = pd.concat(blocks, ignore_index=True)
    frame.insert(0, "tree", [f"tree {k}" for k in range(len(frame))])
    return gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(frame.x, frame.y), crs="EPSG:28355")


@pytest.fixture(scope="session")
def one_block():
    return grove(block("A", 5, 11))


@pytest.fixture(scope="session")
def three_blocks():
    return grove(block("A", 12, 20), block("B", 15, 10, east=130), block("C", 3, 4, north=110))
