"""Cover surveys, seed checks, slashes, running grasses: stored once, read, undone. No published example: own tables."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from gridmap.errors import InputRefused
from gridmap.sward import PARTS, measured_cover

BOTH_STORES = True
LOOK = "5f0c2a34-9d5e-4b7a-8a45-0d53d2c1a001"


def cover(survey: str, **changed: object) -> gpd.GeoDataFrame:
    looks = measured_cover(pd.DataFrame({"grass": [12, 4], "litter": [3, 2], "bare": [5, 14]}), "points")
    places = [shapely.Point(500_010, 5_200_010), shapely.Point(500_010, 5_200_020)]
    table = looks.assign(survey=survey, block="East", row=[1, 2], upslope_m=[4.0, 11.0], observer="Odran",
                         look=[LOOK, None], **changed)
    return gpd.GeoDataFrame(table, geometry=places, crs=7855)


def test_a_survey_and_its_cover_come_back_and_are_stored_once(grove, geopackage_faults):
    check_surveys(grove)
    assert geopackage_faults(grove.path) == []


def test_a_survey_in_either_store(grove):
    check_surveys(grove)


def check_surveys(grove):
    survey = grove.add_cover_survey("2025-09-06", name="spring", about={"index": "ndvi"})
    assert grove.add_cover_survey("2025-09-06", name="spring", about={"index": "ndvi"}, survey=survey) == survey
    assert grove.cover_surveys()[["date", "about"]].values.tolist() == [["2025-09-06", {"index": "ndvi"}]]
    stored = grove.add_cover(cover(survey))
    assert (stored.new, stored.already) == (2, 0)
    again = grove.add_cover(cover(survey).head(1))
    assert (again.new, again.already) == (0, 1)
    found = grove.cover(survey)
    assert found[list(PARTS)].sum(axis=1).tolist() == pytest.approx([1.0, 1.0])
    assert found["grass_cover"].tolist() == pytest.approx([0.6, 0.2])
    assert found["method"].tolist() == ["points", "points"]
    assert found.geometry.y.tolist() == [5_200_010, 5_200_020]
    with pytest.raises(InputRefused, match="stored already with other content: row"):
        grove.add_cover(cover(survey).head(1).assign(row=3))
    grove.undo(grove.acts(1)["act"][0])
    assert len(grove.cover()) == 0


def test_what_belongs_to_nothing_is_refused(grove):
    survey = grove.add_cover_survey("2025-09-06")
    with pytest.raises(InputRefused, match="There is no survey"):
        grove.add_cover(cover(LOOK))
    with pytest.raises(InputRefused, match="There is no block 'West'"):
        grove.add_cover(cover(survey).assign(block="West"))
    with pytest.raises(InputRefused, match="day of the survey is not said"):
        grove.add_cover_survey(None)
    assert len(grove.cover()) == 0


def test_seed_checks_slashes_and_running_grasses(grove):
    checks = pd.DataFrame({"date": ["2026-01-12", "2026-01-12"], "block": "East", "from_row": [1, None],
                           "to_row": [2, None], "grass": ["Poa sieberiana", None], "heads": [40, 10], "shed": [34, 0]})
    assert grove.add_seed_checks(checks).new == 2
    found = grove.seed_checks()
    assert found["grass"].tolist() == ["Poa sieberiana", None]
    assert found["from_row"].tolist() == [1, pd.NA]
    with pytest.raises(InputRefused, match="41 of 40 heads"):
        grove.add_seed_checks(checks.head(1).assign(shed=41))
    with pytest.raises(InputRefused, match="Rows are 3 to 2"):
        grove.add_seed_checks(checks.head(1).assign(from_row=3))
    slash = pd.DataFrame({"date": ["2026-02-01"], "block": "East", "height_cm": [12.0], "left_rows": [[2, 4]]})
    grove.add_slashes(slash)
    assert grove.slashes()[["height_cm", "left_rows"]].values.tolist() == [[12.0, [2, 4]]]
    patch = gpd.GeoDataFrame({"patch": ["by the gate"], "grass": ["Cenchrus clandestinus"], "date": ["2026-02-01"],
                              "area_m2": [14.0], "climbs": [True]}, geometry=[shapely.Point(500_001, 5_200_001)],
                             crs=7855)
    grove.add_running_grasses(patch)
    assert grove.running_grasses()[["patch", "area_m2", "climbs"]].values.tolist() == [["by the gate", 14.0, True]]


def test_empty_is_empty(grove):
    assert [len(frame) for frame in (grove.cover_surveys(), grove.cover(), grove.seed_checks(), grove.slashes(),
                                     grove.running_grasses())] == [0] * 5
