"""Settings: what was typed is kept, what was not is asked for. No published example."""

import datetime as dt
import re

import pytest

from gridmap.errors import InputMissing, InputRefused
from gridmap.treatment import Label, Prices, Sprayer, Threshold, missing, require

TYPED = {
    "threshold": Threshold(per_beat=5, counts="nymphs", standard_taps=3),
    "sprayer": Sprayer(name="trailer", method="hand_gun", tank_l=400, flow_l_per_min=8, litres_per_tree=8,
                       minutes_per_run_start=3, minutes_per_refill=20),
    "label": Label(product="INVENTED PRODUCT", rate=500, rate_unit="mL", rate_basis="per_100_l", expires="2027-06-30"),
    "prices": Prices(currency="AUD", labour_per_hour=30, product_per_unit=20, water_per_m3=0, crop_kg_per_tree=14,
                     crop_price_per_kg=1.5, share_lost_if_left=0.3),
}


@pytest.mark.parametrize("typed", TYPED.values(), ids=TYPED)
def test_settings_survive_plain_values(typed):
    assert type(typed).from_dict(typed.to_dict()) == typed


@pytest.mark.parametrize("kind", [Threshold, Sprayer, Prices])
def test_nothing_stands_for_a_fact(kind):
    assert set(kind().to_dict().values()) == {None}


def test_a_label_assumes_only_that_a_dilute_spray_is_dilute():
    stands = {name: value for name, value in Label().to_dict().items() if value is not None}
    assert stands == {"concentrate_factor": 1.0}


def test_a_complete_set_misses_nothing():
    assert missing("decision", **TYPED) == []


@pytest.mark.parametrize("name", TYPED)
def test_each_absent_fact_is_named(name):
    """Take away one typed fact at a time: exactly that one is asked for."""
    values = TYPED[name].to_dict()
    for item in values:
        words = missing("decision", **TYPED | {name: type(TYPED[name]).from_dict(values | {item: None})})
        assert len(words) <= 1
        if words:
            assert f"({name}: {item})" in words[0]


def test_missing_holds_every_word():
    said = r"For the decision 20 things have not been typed in: .*nothing is assumed\."
    with pytest.raises(InputMissing, match=said) as told:
        require("decision")
    assert len(told.value.missing) == 20


@pytest.mark.parametrize(("make", "message"), [
    (lambda: Sprayer(tank_l=-1), "Sprayer tank_l is -1 L: it must be over 0 L."),
    (lambda: Sprayer(method="air_blast"), "Sprayer method is 'air_blast': it must be one of hand_gun."),
    (lambda: Threshold(per_beat=0), "Threshold per_beat is 0: it must be over 0."),
    (lambda: Label(rate_unit="oz"), "Label rate_unit is 'oz': it must be one of mL, L, g, kg."),
    (lambda: Label(expires="soon"), "Label expires is 'soon': it must be a day such as 2026-11-03."),
    (lambda: Label(concentrate_factor=3, highest_concentrate_factor=2),
     "Concentrate factor is 3: the label allows at most 2. Spray more water."),
    (lambda: Prices.from_dict({"wage": 3}), "Prices has no field 'wage': its fields are currency"),
])
def test_bad_settings_are_refused_in_words(make, message):
    with pytest.raises(InputRefused, match=re.escape(message)):
        make()


def test_an_empty_word_is_not_typed():
    assert Label(product=" ").product is None
    assert Label(expires=dt.date(2027, 1, 2)).to_dict()["expires"] == "2027-01-02"
