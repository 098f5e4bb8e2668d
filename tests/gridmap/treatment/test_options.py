"""The options against every set of blocks and against draws counted one by one. No published example."""

import itertools
from types import SimpleNamespace

import numpy as np
import pytest

from gridmap.errors import InputRefused
from gridmap.treatment import compare_options, make_zone

from .conftest import build, keep_out
from .test_costs import costs_of


def compared(seed=1, names=("A", "B", "C", "D"), walked=None, dam=None, scale=1.0):
    grove = build(2, 6, names=names, seed=seed, gaps=0.1)
    rng = np.random.default_rng(seed)
    draws = rng.gamma(0.6, 6.0 * scale, (300, len(grove.trees))) * rng.gamma(2, 0.5, (300, 1))
    grove.pressure["chance_over"] = (draws > 5).mean(axis=0)
    walked = walked or names
    costs = costs_of(grove)
    zone = make_zone(grove.trees, grove.blocks, grove.pressure, dam, walked=walked, cost_per_tree=costs.cost_per_tree,
                     start_cost=costs.start_cost, loss_per_tree=costs.loss_per_tree)
    result = compare_options(grove.trees, grove.blocks, grove.pressure, draws, keep_outs=dam, walked=walked,
                             threshold_per_beat=5, costs=costs, zone=zone, stage="some nymphs have wing buds")
    return SimpleNamespace(grove=grove, draws=draws, costs=costs, zone=zone, result=result,
                           options=result.options.set_index("option"))


def spend(case, mask):
    """Spend by hand: trees, and one start for every row that is sprayed."""
    rows = case.grove.trees.loc[mask, ["block", "row"]].drop_duplicates()
    return mask.sum() * float(case.costs.cost_per_tree.iloc[0]) + len(rows) * case.costs.start_cost


@pytest.mark.parametrize("seed", range(4))
def test_best_blocks_are_the_best_of_all_sets(seed):
    case = compared(seed, scale=0.7)
    block, chance = case.grove.trees["block"], case.grove.pressure["chance_over"].to_numpy()
    found = []
    for size in range(5):
        for chosen in itertools.combinations("ABCD", size):
            mask = block.isin(chosen).to_numpy()
            found.append((spend(case, mask) + case.costs.loss_per_tree * chance[~mask].sum(), ", ".join(chosen)))
    line = case.options.loc["blocks"]
    assert (line["expected_cost"], line["blocks"]) == (pytest.approx(min(found)[0]), min(found)[1])


def test_draws_counted_one_by_one():
    case = compared()
    block = case.grove.trees["block"]
    masks = {"nothing": np.zeros(len(block), dtype=bool),
             "spot": case.grove.trees["tree"].isin(case.zone.trees["tree"]).to_numpy(),
             "blocks": block.isin(case.options.loc["blocks", "blocks"].split(", ")).to_numpy(),
             "everything": np.ones(len(block), dtype=bool)}
    wins = dict.fromkeys(masks, 0)
    for draw in case.draws:
        cost = {name: case.options.loc[name, "spend"] + case.costs.loss_per_tree * (draw[~mask] > 5).sum()
                for name, mask in masks.items()}
        wins[min(cost, key=cost.get)] += 1
    assert {name: share * 300 for name, share in case.options["chance_cheapest"].items()} == pytest.approx(wins)
    assert case.options["chance_cheapest"].sum() == pytest.approx(1)


def test_the_zone_is_never_dearer_than_whole_blocks_or_nothing():
    """Physical sense: without margins the zone is the best of all sets of runs, and these are such sets."""
    for seed in range(4):
        options = compared(seed).options["expected_cost"]
        assert options["spot"] <= options.min() + 1e-9


def test_columns_and_sentence():
    case = compared()
    assert list(case.result.options) == [
        "option", "trees", "litres", "product", "product_unit", "hours", "loads", "spend", "likely_loss",
        "expected_cost", "chance_cheapest", "blocks"]
    everything = case.options.loc["everything"]
    n = len(case.grove.trees)
    assert (everything["trees"], everything["litres"], everything["product"]) == (n, 8 * n, 40 * n)
    assert everything["loads"] == -(-8 * n // 400)
    assert everything["hours"] == pytest.approx((n * 1.4 + 8 * 3) / 60)
    assert everything["likely_loss"] == 0
    assert case.options.loc["nothing", "spend"] == 0
    assert "(some nymphs have wing buds)" in case.result.sentence
    assert f"{case.options.loc[case.result.best, 'chance_cheapest']:.0%}" in case.result.sentence


def test_unwalked_blocks_say_look_and_cost_nothing_but_their_spraying():
    case = compared(walked=("A", "B"))
    assert case.result.look == ("C", "D")
    assert case.result.sentence.endswith("Look first in C, D.")
    known = case.grove.trees["block"].isin(["A", "B"]).to_numpy()
    loss = case.costs.loss_per_tree * case.grove.pressure["chance_over"].to_numpy()[known].sum()
    assert case.options.loc["nothing", "expected_cost"] == pytest.approx(loss)
    assert case.options.loc["everything", "trees"] == len(case.grove.trees)
    assert any(note.startswith("Nothing is known of C, D") for note in case.result.notes)


def test_a_setback_is_sprayed_in_no_option():
    dam = keep_out(build(2, 6, names=("A",)).trees.geometry.iloc[3].buffer(1), 4.0)
    case = compared(dam=dam)
    barred = len(case.zone.barred)
    assert barred > 0
    assert case.options.loc["everything", "trees"] == len(case.grove.trees) - barred
    assert case.options.loc["everything", "likely_loss"] > 0


def test_all_clean_is_left():
    case = compared(scale=0.001)
    assert case.result.best == "nothing"
    assert case.options.loc["nothing", "chance_cheapest"] == 1
    assert case.result.sentence.startswith("What may be lost by leaving everything, 0 AUD, is no more than any ")


def test_draws_must_belong_to_the_pressure():
    case = compared()
    with pytest.raises(InputRefused, match=r"Draws have shape \(300, 3\): they must be \(draws, "):
        compare_options(case.grove.trees, case.grove.blocks, case.grove.pressure, case.draws[:, :3], keep_outs=None,
                        walked="ABCD", threshold_per_beat=5, costs=case.costs, zone=case.zone)
