"""Tank loads: nothing is lost between them. No published example."""

import math

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gridmap.errors import InputMissing, InputRefused
from gridmap.treatment import Label, Sprayer, make_zone, mix, split_loads, tank_loads, with_loads

from .conftest import build

LABEL = Label(product="INVENTED PRODUCT", rate=500, rate_unit="mL", rate_basis="per_100_l")


def loads_of(grove, tank_l, litres=8.0, label=LABEL):
    zone = make_zone(grove.trees, grove.blocks, grove.pressure, None, walked=grove.names, cost_per_tree=1, start_cost=1,
                     loss_per_tree=4, litres_per_tree=litres)
    mixed = mix(zone.trees, grove.blocks, sprayer=Sprayer(litres_per_tree=litres), label=label)
    return zone, mixed, tank_loads(zone.trees, mixed, sprayer=Sprayer(tank_l=tank_l))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 1000), st.sampled_from([7.0, 30.0, 100.0, 137.3, 5000.0]), st.sampled_from([0.3, 7.7, 8.0]),
       st.sampled_from(["mL", "kg"]), st.sampled_from(["per_100_l", "per_ha"]))
def test_loads_add_up(seed, tank_l, litres, unit, basis):
    grove = build(3, 8, seed=seed)
    grove.blocks.loc[1, "tree_spacing_m"] = 6.0
    label = Label(product="INVENTED PRODUCT", rate=3.3, rate_unit=unit, rate_basis=basis)
    zone, mixed, loads = loads_of(grove, tank_l, litres, label)
    assert math.fsum(loads["product"]) == pytest.approx(mixed.product, rel=1e-12)
    assert math.fsum(loads["mix_l"]) == pytest.approx(mixed.litres, rel=1e-12)
    full = loads[loads["kind"] == "full"]
    assert full["mix_l"].tolist() == pytest.approx([tank_l] * len(full))
    assert (len(full), len(loads) - len(full)) == (math.floor(mixed.litres / tank_l + 1e-9),
                                                   int(mixed.litres / tank_l - len(full) > 1e-9))
    if unit == "kg":
        assert loads["water_l"].tolist() == loads["mix_l"].tolist()
    else:
        assert (loads["water_l"] + loads["product"] / 1000).tolist() == pytest.approx(loads["mix_l"].tolist())
    if basis == "per_100_l":
        assert loads["product"].tolist() == pytest.approx((loads["mix_l"] * 3.3 / 100).tolist())
    pour(zone, loads, tank_l, litres)


def pour(zone, loads, tank_l, litres):
    """Empty one tank after the other over the trees, one by one, and compare the ends."""
    first, last, left = [], [], 0.0
    for tree in zone.trees["tree"]:
        needed = litres
        while needed > 1e-6:
            if left <= 1e-6:
                left = tank_l
                first.append(tree)
                last.append(tree)
            given_now = min(left, needed)
            left, needed = left - given_now, needed - given_now
            last[-1] = tree
    assert loads["from_tree"].tolist() == first
    assert loads["to_tree"].tolist() == last


def test_a_load_may_end_inside_a_run_and_inside_a_tree():
    grove = build(1, 10, names=("East",))
    grove.pressure["chance_over"] = 1.0
    zone, _, loads = loads_of(grove, 30.0)
    assert loads["covers"].tolist() == [
        "run 1, to tree 4 (part of it)",
        "run 1, from tree 4 (the rest of it), to tree 8 (part of it)",
        "run 1, from tree 8 (the rest of it)",
    ]
    assert loads["kind"].tolist() == ["full", "full", "part"]
    assert loads["product"].tolist() == pytest.approx([150, 150, 100])
    assert with_loads(zone.runs, zone.trees, loads)["load"].tolist() == [1]


def test_runs_know_the_load_that_they_begin_with():
    grove = build(3, 10, names=("East",))
    grove.pressure["chance_over"] = 1.0
    zone, _, loads = loads_of(grove, 80.0)
    assert loads["covers"].tolist() == ["run 1", "run 2", "run 3"]
    assert with_loads(zone.runs, zone.trees, loads)["load"].tolist() == [1, 2, 3]
    zone, _, loads = loads_of(grove, 100.0)
    assert loads["covers"].tolist()[0] == "run 1 to run 2 tree 8 (part of it)"
    assert with_loads(zone.runs, zone.trees, loads)["load"].tolist() == [1, 1, 2]


def test_no_trees_no_loads():
    grove = build(2, 4)
    grove.pressure["chance_over"] = 0.0
    zone, mixed, loads = loads_of(grove, 100.0)
    assert (mixed.litres, len(loads)) == (0.0, 0)
    assert with_loads(zone.runs, zone.trees, loads)["load"].tolist() == []


def test_runs_without_loads_have_none():
    grove = build(2, 4)
    zone, _, _ = loads_of(grove, 100.0)
    assert with_loads(zone.runs, zone.trees, pd.DataFrame())["load"].isna().all()


def test_rounding_adds_no_load():
    assert split_loads(0.1 * 3, 0.3) == (1, 0.0)
    assert split_loads(1.1 * 3, 1.1) == (3, 0.0)


def test_refusals():
    grove = build(2, 4)
    zone, mixed, _ = loads_of(grove, 100.0)
    with pytest.raises(InputMissing, match="For the loads 1 thing has not been typed in: what the tank holds"):
        tank_loads(zone.trees, mixed, sprayer=Sprayer())
    with pytest.raises(InputRefused, match="The mix is of other trees, or of another order"):
        tank_loads(pd.DataFrame(zone.trees).iloc[::-1], mixed, sprayer=Sprayer(tank_l=10))
