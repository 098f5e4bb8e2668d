"""The zone on random crooked groves: what it holds, what it never holds. Properties, no published example."""

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputMissing, InputRefused
from gridmap.treatment import make_zone, walked_blocks

from .conftest import build, keep_out

MONEY = {"cost_per_tree": 1.0, "start_cost": 2.0, "loss_per_tree": 4.0}


def zone_of(grove, keep_outs=None, **change):
    options = MONEY | {"walked": grove.names, "litres_per_tree": 8.0} | change
    return make_zone(grove.trees, grove.blocks, grove.pressure, keep_outs, **options)


@st.composite
def groves(draw):
    return build(
        draw(st.integers(1, 5)), draw(st.integers(1, 9)), jitter_m=draw(st.sampled_from([0.0, 1.0, 2.4])),
        gaps=draw(st.sampled_from([0.0, 0.2, 0.5])), seed=draw(st.integers(0, 10_000)),
        canopy_width_m=draw(st.sampled_from([2.0, 3.0, np.nan])),
        bearing_deg=draw(st.sampled_from([90.0, 0.0, 37.0, 251.0])),
        row_spacing_m=draw(st.sampled_from([4.0, 8.0])))


def dam_of(grove, setback_m):
    """Put a keep-out in the middle of the trees."""
    if not len(grove.trees):
        return None
    return keep_out(grove.trees.geometry.iloc[len(grove.trees) // 2].buffer(3, quad_segs=2), setback_m)


@settings(max_examples=60, deadline=None)
@given(groves(), st.sampled_from([0.0, 5.0, 12.0]), st.sampled_from([0.0, 6.0]), st.sampled_from([0.0, 9.0]),
       st.booleans())
def test_the_outline_holds_every_treated_tree_and_no_other(grove, setback, along, across, all_walked):
    dam = dam_of(grove, setback)
    walked = grove.names if all_walked else grove.names[:1]
    zone = zone_of(grove, dam, margin_along_m=along, margin_across_m=across, walked=walked)
    inside = shapely.intersects(zone.geometry, grove.trees.geometry.to_numpy())
    assert set(grove.trees["tree"][inside]) == set(zone.trees["tree"])
    assert zone.trees["tree"].is_unique
    assert zone.geometry.is_valid
    # Area of the zone is the area of the union of its runs' polygons.
    assert zone.geometry.area == pytest.approx(zone.run_polygons.geometry.union_all().area, abs=0.05)
    # None inside a setback: neither ground, nor canopy, nor track.
    if dam is not None:
        forbidden = dam.geometry.iloc[0].buffer(setback, quad_segs=64)
        assert zone.geometry.intersection(forbidden).area == pytest.approx(0, abs=1e-6)
        assert not zone.runs.intersects(forbidden).any()
        treated = grove.trees[grove.trees["tree"].isin(zone.trees["tree"])]
        width = 4.0 if np.isnan(grove.blocks["canopy_width_m"].iloc[0]) else grove.blocks["canopy_width_m"].iloc[0]
        assert (treated.distance(dam.geometry.iloc[0]) >= setback + width / 2 - 1e-9).all()
    # Nothing of a block that was not walked.
    assert set(zone.trees["block"]) <= set(walked)
    assert zone.not_walked == (() if all_walked else ("West",))


@settings(max_examples=30, deadline=None)
@given(groves(), st.sampled_from([0.0, 6.0]), st.sampled_from([0.0, 9.0]), st.sampled_from([0.0, 5.0]))
def test_a_wider_margin_only_adds(grove, along, across, more):
    dam = dam_of(grove, 5.0)
    narrow = zone_of(grove, dam, margin_along_m=along, margin_across_m=across)
    wide = zone_of(grove, dam, margin_along_m=along + more, margin_across_m=across + 5 - more)
    assert set(narrow.trees["tree"]) <= set(wide.trees["tree"])


@settings(max_examples=30, deadline=None)
@given(groves())
def test_runs_add_up_and_are_whole(grove):
    zone = zone_of(grove)
    assert zone.runs["trees"].sum() == len(zone.trees)
    assert zone.runs["litres"].sum() == pytest.approx(8.0 * len(zone.trees))
    assert zone.runs["run"].tolist() == list(range(1, len(zone.runs) + 1))
    positions = grove.trees.set_index("tree")
    for run, members in zone.trees.groupby("run"):
        line = zone.runs.iloc[run - 1]
        assert members["position"].iloc[[0, -1]].tolist() == [line["from_position"], line["to_position"]]
        low, high = members["position"].min(), members["position"].max()
        row = positions[(positions["block"] == line["block"]) & (positions["row"] == line["row"])]
        assert set(members["tree"]) == set(row.index[row["position"].between(low, high)])


def test_a_plain_block_is_its_rectangle():
    """Physical sense: rows x trees x both spacings, as counted by hand."""
    grove = build(4, 10, names=("East",))
    grove.pressure["chance_over"] = 1.0
    zone = zone_of(grove)
    assert zone.area_ha == pytest.approx(4 * 10 * 8 * 5 / 10_000, rel=1e-6)
    assert zone.runs["length_m"].tolist() == pytest.approx([50.0] * 4)
    assert zone.runs["from_position"].tolist() == [1, 10, 1, 10]
    assert len(zone.geometry.geoms) == 1


def test_margin_reaches_metres_along_and_across():
    grove = build(5, 9, names=("East",))
    grove.pressure["chance_over"] = (grove.trees["tree"] == "East-3-5").astype(float)
    assert set(zone_of(grove).trees["tree"]) == {"East-3-5"}
    assert set(zone_of(grove, margin_along_m=5).trees["tree"]) == {"East-3-4", "East-3-5", "East-3-6"}
    assert set(zone_of(grove, margin_across_m=8).trees["tree"]) == {"East-2-5", "East-3-5", "East-4-5"}
    wide = zone_of(grove, margin_along_m=5, margin_across_m=8).trees
    assert len(wide) == 9
    assert wide["why"].value_counts().to_dict() == {"margin": 8, "chosen": 1}


def test_changes_by_hand_are_kept():
    grove = build(3, 8, names=("East",))
    grove.pressure["chance_over"] = (grove.trees["row"] == 2).astype(float)
    zone = zone_of(grove, add=iter(["East-1-3", {"block": "East", "row": 3}]),
                   drop=[{"block": "East", "row": 2, "from_position": 4, "to_position": 5}])
    assert set(zone.trees["tree"]) == {"East-1-3", *(f"East-3-{k}" for k in range(1, 9)),
                                       *(f"East-2-{k}" for k in (1, 2, 3, 6, 7, 8))}
    assert zone.changes.to_dict("list") == {
        "change": ["added", "added", "dropped"], "trees": [1, 8, 2],
        "asked": ["East row 1 tree 3", "East row 3", "East row 2 trees 4 to 5"]}
    assert set(zone.trees.loc[zone.trees["why"] == "added", "row"]) == {1, 3}


def test_what_may_not_be_sprayed_can_not_be_added():
    grove = build(3, 8)
    dam = keep_out(grove.trees.set_index("tree").geometry["East-2-4"].buffer(1), 2.0)
    with pytest.raises(InputRefused, match=r"East row 2 tree 4 can't be added: within 2 m of dam: its canopy"):
        zone_of(grove, dam, add=["East-2-4"])
    with pytest.raises(InputRefused, match=r"West row 1 can't be added: its block was not walked.*Beat a few trees"):
        zone_of(grove, walked=["East"], add=[{"block": "West", "row": 1}])
    row = zone_of(grove, dam, add=[{"block": "East", "row": 2}])
    assert "East-2-4" not in set(row.trees["tree"])
    assert any("but for 1 trees that may not be sprayed" in note for note in row.notes)


def test_an_unwalked_block_is_never_zoned_however_high_its_chance():
    grove = build(3, 8)
    grove.pressure["chance_over"] = 1.0
    zone = zone_of(grove, walked=["East"], margin_along_m=500, margin_across_m=500)
    assert set(zone.trees["block"]) == {"East"}
    assert zone.barred["reason"].str.contains("not walked").sum() == 24


def test_a_block_treated_since_its_last_count_is_unknown():
    trees = pd.DataFrame({"tree": ["a", "b"], "block": ["East", "West"]})
    counts = pd.DataFrame({"tree": ["a", "b"], "time": pd.to_datetime(["2026-11-03T01:00Z", "2026-11-03T02:00Z"])})
    treated = {"East": pd.Timestamp("2026-11-03T01:00Z"), "West": pd.Timestamp("2026-11-03T01:59Z")}
    assert walked_blocks(counts, trees, last_treated=treated) == ("West",)
    assert walked_blocks(counts, trees) == ("East", "West")


def test_unknown_canopies_are_told_and_take_the_safe_side():
    grove = build(3, 8, canopy_width_m=np.nan)
    known = build(3, 8, canopy_width_m=2.0)
    dam = keep_out(shapely.Point(500_020, 5_500_004).buffer(1), 8.0)
    wide, narrow = zone_of(grove, dam), zone_of(known, dam)
    assert set(narrow.barred["tree"]) < set(wide.barred["tree"])
    assert any(note.startswith("Canopy width is not known for 48 trees (East, West)") for note in wide.notes)
    assert not any("Canopy" in note for note in narrow.notes)


def test_dead_trees_and_nothing_at_all():
    grove = build(2, 5)
    grove.trees["status"] = "gone"
    zone = zone_of(grove)
    assert len(zone.trees) == len(zone.runs) == zone.area_ha == 0
    assert zone.runs.crs == grove.trees.crs
    nothing = zone_of(build(2, 5), loss_per_tree=0.0)
    assert nothing.geometry.is_empty


def test_a_gap_is_passed_over_and_a_dam_in_it_is_not():
    grove = build(1, 9, names=("East",))
    grove.pressure["chance_over"] = 1.0
    grove.trees = grove.trees[~grove.trees["position"].between(4, 6)]
    assert len(zone_of(grove).runs) == 1
    middle = shapely.Point(500_025, 5_500_008).buffer(2)
    assert len(zone_of(grove, keep_out(middle, 1.0)).runs) == 2


def test_refusals():
    grove = build(2, 5)
    with pytest.raises(InputRefused, match=r"Walked blocks hold 'North': the grove has no such block"):
        zone_of(grove, walked=["North"])
    with pytest.raises(InputRefused, match=r"Keep-outs are in WGS 84: trees are in GDA2020"):
        zone_of(grove, keep_out(shapely.box(0, 0, 1, 1), 1).to_crs(4326))
    with pytest.raises(InputRefused, match="Pressure has no chance for 1 living trees of walked blocks"):
        make_zone(grove.trees, grove.blocks, grove.pressure.iloc[1:], None, walked=grove.names, **MONEY)
    grove.blocks["row_spacing_m"] = np.nan
    with pytest.raises(InputMissing, match="Row spacing is not known for East, West") as told:
        zone_of(grove)
    assert told.value.missing == ["row spacing of East (row_spacing_m)", "row spacing of West (row_spacing_m)"]
