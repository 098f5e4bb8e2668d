"""The grass in pictures: colours and dashes of the house's visual rules; every row drawn. No published example."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from gridmap.errors import InputRefused
from maps import grass
from maps.style import contrast


def rows() -> pd.DataFrame:
    return pd.DataFrame([
        {"date": date, "block": "A", "row": row, "upslope_m": 10.0 * row, "grass_cover": max(0.95 - 0.1 * row, 0.0)}
        for date in ("2019-09-01", "2025-09-01") for row in range(1, 10)
    ])


FRONT = pd.DataFrame({"date": ["2019-09-01", "2025-09-01"], "front_m": [30.0, 45.0], "low_90": [float("nan"), 40.0],
                      "high_90": [float("nan"), 50.0]})


def test_each_survey_has_a_line_and_older_ones_are_thinner_and_broken():
    drawn = ET.fromstring(grass.draw_profile(rows(), FRONT, level=0.5))
    lines = [element for element in drawn if element.tag.endswith("polyline")]
    assert len(lines) == 2
    assert float(lines[0].get("stroke-width")) < float(lines[1].get("stroke-width"))
    assert lines[0].get("stroke-dasharray")
    assert lines[1].get("stroke-dasharray") is None
    assert "front 2025, 45 m (40 to 50)" in "".join(drawn.itertext())


def test_rows_nobody_looked_at_are_hatched():
    looked = rows()
    drawn = grass.draw_strip(looked[~((looked["date"] == "2019-09-01") & (looked["row"] == 5))], FRONT)
    assert drawn.count('fill="url(#doubt)"') == 1


def test_kinds_of_change_differ_by_more_than_hue():
    """Gained and grassed throughout are told apart without colour: contrast of 3 at least (WCAG 2.2, 1.4.11)."""
    assert contrast(grass.GAINED, grass.KEPT) >= 3
    floor = gpd.GeoDataFrame({"change": ["gained", "lost", "too few looks to say"]},
                             geometry=[shapely.box(0, 10 * n, 50, 10 * n + 8) for n in range(3)])
    blocks = gpd.GeoDataFrame({"block": ["<A>"]}, geometry=[shapely.box(0, 0, 50, 30)])
    fronts = gpd.GeoDataFrame({"kind": ["front"]}, geometry=[shapely.LineString([(0, 15), (50, 15)])])
    drawn = grass.draw_change(floor, blocks, fronts)
    ET.fromstring(drawn)
    assert "url(#lost)" in drawn
    assert "&lt;A&gt;" in drawn


def test_the_ramp_darkens_with_cover():
    light = [contrast(grass.cover_colour(n / 10), "#FFFFFF") for n in range(11)]
    assert light == sorted(light)


def test_another_ending_is_refused(tmp_path):
    with pytest.raises(InputRefused, match="neither"):
        grass.grass_sheet({}, {}, tmp_path / "grass.doc")
