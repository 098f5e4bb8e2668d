"""A zone remembers what it was made from; printed or sprayed, it stays as it was."""

from __future__ import annotations

from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gridmap.errors import InputRefused, OutlineRefused

BOTH_STORES = True

SHAPE = shapely.MultiPolygon([shapely.box(500_000, 5_200_000, 500_030, 5_200_012)])
SUMMARY = {"litres": 50.0, "trees": 4, "on": "2026-03-02"}
# The column contracts of DEVELOPERS.md
RUNS = "zone run block row from_position to_position side trees length_m litres load geometry"


@pytest.fixture
def content(grove) -> dict[str, object]:
    trees = grove.trees()["tree"]
    runs = gpd.GeoDataFrame(
        {
            "run": [1, 2],
            "block": "East",
            "row": [1, 2],
            "from_position": [1, 2],
            "to_position": [3, 2],
            "side": [None, "left"],
            "trees": [3, 1],
            "length_m": [16.0, np.nan],
            "litres": [37.5, 12.5],
            "load": [1, 1],
        },
        geometry=[shapely.LineString([(500_008, 5_200_008), (500_024, 5_200_008)]), None],
        crs=7855,
    )
    loads = pd.DataFrame({"load": [1], "kind": ["part"], "mix_l": [50.0], "water_l": [49.9], "product": [0.1]})
    return {
        "geometry": SHAPE,
        "runs": runs,
        "loads": loads,
        "walk": grove.walks()["walk"][0],
        "settings": {"margin_m": 8.0},
        "summary": {"litres": np.float64(50.0), "trees": np.int64(4), "on": date(2026, 3, 2)},
        "trees": pd.DataFrame(
            {"tree": trees[:4], "run": [1, 1, np.nan, 2], "why": ["chosen", "margin", "dropped", "added"]}
        ),
    }


def test_a_zone_comes_back_as_stored(grove, content):
    zone = grove.zone(grove.add_zone(**content, decision=grove.add_decision({"chosen": "spot", "cost": 812.5})))
    assert (zone.name, zone.version, zone.frozen, zone.replaces) == ("zone 1", 1, False, None)
    assert shapely.to_wkb(zone.geometry) == shapely.to_wkb(SHAPE)
    assert (zone.settings, zone.walk) == (content["settings"], content["walk"])
    assert zone.summary == SUMMARY
    assert list(zone.runs.columns) == RUNS.split()
    sent = content["runs"]
    for column in ("run", "block", "row", "from_position", "to_position", "trees", "litres", "load"):
        assert zone.runs[column].tolist() == sent[column].tolist(), column
    assert zone.runs["length_m"].fillna(-1).tolist() == [16.0, -1]
    assert zone.runs.geometry.isna().tolist() == [False, True]
    assert zone.trees["why"].tolist() == ["chosen", "margin", "dropped", "added"]
    assert zone.trees["run"].fillna(-1).tolist() == [1, 1, -1, 2]
    pd.testing.assert_frame_equal(zone.loads, content["loads"])
    decision = grove.decisions()[0]
    assert (decision["decision"], decision["made"]) == (zone.decision, {"chosen": "spot", "cost": 812.5})


def test_a_zone_that_is_not_frozen_can_be_changed_and_changed_back(grove, content):
    zone = grove.add_zone(**content)
    grove.change_zone(zone, summary={"litres": 12.5}, trees=content["trees"].tail(1), runs=content["runs"].tail(1))
    changed = grove.zone(zone)
    assert (changed.summary, len(changed.trees), len(changed.runs)) == ({"litres": 12.5}, 1, 1)
    grove.undo(grove.acts()["act"][0])
    assert (grove.zone(zone).summary, len(grove.zone(zone).trees)) == (SUMMARY, 4)


def test_a_frozen_zone_stays_as_it_was_whoever_asks(grove, content, other_program, refusals):
    zone = grove.add_zone(**content)
    grove.freeze_zone(zone, who="Ann")
    before = grove.zone(zone)
    with pytest.raises(InputRefused, match="Zone 'zone 1' version 1 is frozen: it was printed or sprayed"):
        grove.change_zone(zone, summary={})
    with pytest.raises(InputRefused, match="this zone is frozen"):
        grove.undo(grove.acts()["act"][0])
    with other_program(grove) as other:
        for statement in (
            "UPDATE zone SET summary = '{}'",
            "DELETE FROM zone",
            "DELETE FROM zone_tree",
            "UPDATE zone_run SET litres = 0",
            'INSERT INTO zone_run (uuid, zone_uuid, run, block, "row", from_position, to_position, trees) '
            "SELECT 'a', uuid, 9, 'East', 1, 1, 1, 1 FROM zone",
        ):
            with pytest.raises(refusals, match="this zone is frozen"):
                other.execute(statement)
            other.rollback()
    assert grove.zone(zone).summary == before.summary
    grove.freeze_zone(zone)
    assert grove.acts()["what"][0] == "freeze a zone"


def test_a_new_version_replaces_a_frozen_one_and_both_stay(grove, content):
    first = grove.add_zone(**content, name="dam side")
    grove.freeze_zone(first)
    second = grove.add_zone(**content, replaces=first)
    assert grove.zone().uuid == second
    assert (grove.zone(second).name, grove.zone(second).version, grove.zone(second).replaces) == ("dam side", 2, first)
    assert grove.zones()["frozen"].tolist() == [True, False]
    # 30 m by 12 m are 360 square metres
    assert grove.zones()["area_ha"].tolist() == pytest.approx([0.036, 0.036], rel=1e-12)
    with pytest.raises(InputRefused, match="Zone 'dam side' version 1 was replaced already"):
        grove.add_zone(**content, replaces=first)
    with pytest.raises(InputRefused, match="Zone 'dam side' is in the grove already"):
        grove.add_zone(**content, name="dam side")


def test_an_empty_zone_is_a_zone(grove):
    zone = grove.zone(grove.add_zone(geometry=shapely.Polygon(), summary={"trees": 0}))
    assert zone.geometry.is_empty
    assert len(zone.runs) == len(zone.trees) == len(zone.loads) == 0
    assert list(zone.runs.columns) == RUNS.split()


def test_what_is_no_zone_is_refused(grove, content):
    with pytest.raises(OutlineRefused, match="The zone is a LineString: it must be polygons"):
        grove.add_zone(**{**content, "geometry": shapely.LineString([(0, 0), (1, 1)])})
    with pytest.raises(InputRefused, match="Why of a tree is 'felt like it'"):
        grove.add_zone(**{**content, "trees": content["trees"].assign(why="felt like it")})
    with pytest.raises(InputRefused, match="There is no tree x"):
        grove.add_zone(**{**content, "trees": content["trees"].assign(tree="x")})
    with pytest.raises(InputRefused, match="Summary of the zone can't be stored"):
        grove.add_zone(**{**content, "summary": {"litres": float("nan")}})
    with pytest.raises(InputRefused, match="What a zone holds is 'tree'"):
        grove.add_zone(**content, tree=[])
    with pytest.raises(InputRefused, match="The grove has no zone yet"):
        grove.zone()
    assert len(grove.zones()) == 0
