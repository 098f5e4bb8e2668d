"""Costs from the grower's own prices."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gridmap.errors import InputMissing
from gridmap.treatment import Label, Prices, Sprayer, clean_trees_for_one, product_of, work_out_costs, would_rather

from .conftest import build

SPRAYER = Sprayer(method="hand_gun", tank_l=400, flow_l_per_min=8, litres_per_tree=8, minutes_per_run_start=3,
                  minutes_per_refill=20)
LABEL = Label(product="INVENTED PRODUCT", rate=500, rate_unit="mL", rate_basis="per_100_l")
PRICES = Prices(currency="AUD", labour_per_hour=30, product_per_unit=20, water_per_m3=2, crop_kg_per_tree=14,
                crop_price_per_kg=1.5, share_lost_if_left=0.3)


def costs_of(grove=None, **change):
    grove = grove or build(2, 3)
    return work_out_costs(grove.trees, grove.blocks,
                          **{"sprayer": SPRAYER, "label": LABEL, "prices": PRICES} | change)


def test_product_per_volume():
    # OMAFRA, onfruit.ca, 2020: 2.8 kg per 500 L at 750 L/ha -> 4.2 kg/ha; 0.2 % v/v in 500 L -> 1 L.
    powder = Label(product="x", rate=2.8 / 5, rate_unit="kg", rate_basis="per_100_l")
    assert product_of(powder, 750) == pytest.approx(4.2)
    assert product_of(Label(product="x", rate=0.2, rate_unit="L", rate_basis="per_100_l"), 500) == pytest.approx(1.0)


def test_product_per_area():
    # what-when-how, pesticide safety: 3 lb/ac on 3.5 ac -> 10.5 lb (the same arithmetic in hectares).
    label = Label(product="x", rate=3, rate_unit="kg", rate_basis="per_ha")
    assert product_of(label, 999, 3.5 * 10_000) == pytest.approx(10.5)
    with pytest.raises(InputMissing, match="The rate is per hectare and no area was given"):
        product_of(label, 100)


def test_cost_by_hand():
    """Identity, no published example: every term worked out by hand."""
    costs = costs_of()
    # 8 L take 40 mL at 20 a litre = 0.80; 8 L water at 2 a m3 = 0.016; 1 min of spraying and 8/400 of 20 min at 0.50.
    assert costs.cost_per_tree.tolist() == pytest.approx([0.80 + 0.016 + (1 + 0.4) * 0.5] * 12)
    assert costs.start_cost == pytest.approx(1.5)
    assert costs.loss_per_tree == pytest.approx(14 * 1.5 * 0.3)
    assert costs.cost_ratio == pytest.approx(1.516 / 6.3)
    assert costs.notes[-1] == "The time from one tree to the next was not typed and is left out."


def test_a_concentrate_saves_water_and_time_not_product():
    """Physical sense, no published example."""
    dilute, threefold = costs_of(), costs_of(label=Label.from_dict(LABEL.to_dict() | {"concentrate_factor": 3}))
    assert threefold.per_tree["product"].tolist() == dilute.per_tree["product"].tolist()
    assert threefold.per_tree["litres"].tolist() == pytest.approx((dilute.per_tree["litres"] / 3).tolist())
    assert (threefold.cost_per_tree < dilute.cost_per_tree).all()


def test_a_rate_per_hectare_follows_the_spacing_of_the_block():
    grove = build(2, 3)
    grove.blocks.loc[1, "tree_spacing_m"] = 10.0
    costs = costs_of(grove, label=Label(product="x", rate=2, rate_unit="L", rate_basis="per_ha"))
    product = costs.per_tree["product"].groupby(grove.trees.set_index("tree")["block"]).first()
    assert product.to_dict() == pytest.approx({"East": 2 * 8 * 5 / 1e4, "West": 2 * 8 * 10 / 1e4})


@given(st.floats(0.01, 100), st.floats(0.01, 1000))
def test_clean_trees_are_the_odds_at_the_ratio(cost, loss):
    """Identity, no published example: at a chance of c / L, clean trees stand to one over threshold as N to 1."""
    ratio = cost / loss
    assert clean_trees_for_one(cost, loss) == pytest.approx((1 - ratio) / ratio, rel=1e-9, abs=1e-9)


def test_sentences():
    assert would_rather(1, 2) == "I would rather spray 1 clean tree than miss one."
    assert would_rather(2, 5) == "I would rather spray 1.5 clean trees than miss one."
    assert would_rather(0, 5).startswith("Spraying costs nothing")


def test_what_is_missing_is_said():
    with pytest.raises(InputMissing, match=r"what an hour's work costs \(prices: labour_per_hour\)"):
        costs_of(prices=Prices())
