"""Litres and product by every route."""

import datetime as dt
import re

import numpy as np
import pytest

from gridmap.errors import InputMissing, InputRefused
from gridmap.treatment import Label, Sprayer, amount_words, mix

from .conftest import build

LABEL = Label(product="INVENTED PRODUCT", rate=500, rate_unit="mL", rate_basis="per_100_l")
ALL = Sprayer(litres_per_tree=8, flow_l_per_min=8, speed_km_per_h=1, litres_per_m3_box=0.1, litres_per_m3_ellipsoid=0.2)


def mixed(sprayer=ALL, label=LABEL, trees=12, grove=None, **options):
    grove = grove or build(2, 6, names=("East",))
    return mix(grove.trees.iloc[:trees], grove.blocks, sprayer=sprayer, label=label, **options)


def test_concentrate_factor():
    # From memory, standard Australian label text: dilute 1,500 L/ha and 500 L/ha really sprayed is a factor of 3, and
    # 10 mL per 100 L becomes 30 mL per 100 L.
    label = Label(product="x", rate=10, rate_unit="mL", rate_basis="per_100_l", concentrate_factor=1500 / 500)
    result = mixed(Sprayer(litres_per_tree=1500 / 250), label)
    assert result.litres == pytest.approx(12 * 500 / 250)
    assert result.product / result.litres * 100 == pytest.approx(30)


def test_area_route_counts_treated_trees():
    # Sprayer manual, manualshive 942471 p. 18: 12 x 1.02 L/min, 6 km/h, rows 3.0 m -> 408 L/ha; here on 12 trees of
    # 3.0 x 2.5 m, which are 0.009 ha whatever the share of the block.
    grove = build(2, 6, names=("East",), row_spacing_m=3.0)
    grove.blocks["tree_spacing_m"] = 2.5
    result = mixed(Sprayer(flow_l_per_min=12 * 1.02, speed_km_per_h=6), grove=grove)
    assert result.hectares == pytest.approx(0.009)
    assert result.litres / result.hectares == pytest.approx(408, abs=0.5)


def test_box_route_is_the_tree_row_volume_of_the_treated_trees():
    # Landers, Cornell, "Tree row volume": 193,600 ft3/ac x 1.0 gal/1000 ft3 -> 193.6 gal/ac, at any tree spacing; here
    # on 12 trees in rows of 18 ft.
    foot, gallon, acre = 0.3048, 3.785411784, 4046.8564224
    grove = build(2, 6, names=("East",), row_spacing_m=18 * foot)
    grove.blocks["canopy_height_m"], grove.blocks["canopy_width_m"] = 8 * foot, 10 * foot
    result = mixed(Sprayer(litres_per_m3_box=gallon / (1000 * foot**3)), grove=grove)
    acres = 12 * 18 * foot * 5 / acre
    assert result.litres / gallon / acres == pytest.approx(193.6, abs=0.05)


def test_routes_stand_side_by_side():
    """Identity, no published example."""
    result = mixed()
    routes = result.routes.set_index("route")
    assert list(routes.index) == ["measured", "area_rate", "box", "ellipsoid"]
    # 600 x 8 / (1 x 8) L/ha x 0.048 ha; 3 x 3 x 5 x 0.1; pi/6 x 27 x 0.2.
    assert routes["litres"].tolist() == pytest.approx([96, 600 * 0.048, 12 * 4.5, 12 * np.pi / 6 * 27 * 0.2])
    assert (routes["product"] * 100 / routes["dilute_litres"]).tolist() == pytest.approx([500] * 4)
    assert result.route == "measured"
    assert all(routes["formula"].str.len() > 0)
    assert all(routes["source"].str.len() > 0)


def test_only_routes_whose_numbers_were_typed():
    grove = build(2, 6, names=("East",))
    grove.blocks["canopy_height_m"] = np.nan
    assert mixed(grove=grove).routes["route"].tolist() == ["measured", "area_rate"]
    grove.trees["canopy_height_m"] = 2.0
    assert mixed(grove=grove).routes["route"].tolist() == ["measured", "area_rate", "box", "ellipsoid"]


def test_a_disagreement_over_a_fifth_is_pointed_out():
    told = "The routes disagree by 233%: area rate gives 29 L, measured litres per tree gives 96 L."
    assert told in mixed().remarks[0]
    assert mixed(Sprayer(litres_per_tree=5.3, litres_per_m3_box=0.1)).remarks == ()
    assert len(mixed(Sprayer(litres_per_tree=5.5, litres_per_m3_box=0.1)).remarks) == 1


def test_an_area_rate_is_what_is_really_sprayed():
    label = Label.from_dict(LABEL.to_dict() | {"concentrate_factor": 2})
    routes = mixed(label=label).routes.set_index("route")
    assert routes.loc["area_rate", "litres"] == pytest.approx(600 * 0.048)
    assert routes.loc["area_rate", "dilute_litres"] == pytest.approx(2 * 600 * 0.048)
    assert routes.loc["measured", "litres"] == pytest.approx(48)


def test_after_expiry_there_is_no_product_figure():
    label = Label.from_dict(LABEL.to_dict() | {"expires": "2026-11-30"})
    assert mixed(label=label, on=dt.date(2026, 11, 30)).product == pytest.approx(480)
    late = mixed(label=label, on=dt.date(2026, 12, 1))
    assert np.isnan(late.product)
    assert late.litres == pytest.approx(96)
    assert late.remarks[-1] == "The permit expired on 2026-11-30: no product figure is given, only litres."


@pytest.mark.parametrize(("options", "message"), [
    ({"label": Label()}, "For the mix 4 things have not been typed in: the product's name on the drum"),
    ({"sprayer": Sprayer()}, "There is no way to litres yet"),
    ({"sprayer": Sprayer(), "route": "box"}, "The route by canopy as a box (tree-row volume) can't be used: it needs"),
    ({"sprayer": Sprayer(litres_per_m3_box=1, litres_per_m3_ellipsoid=1)}, "The route to mix by was not chosen"),
])
def test_missing_is_said(options, message):
    with pytest.raises(InputMissing, match=re.escape(message)):
        mixed(**options)


def test_unknown_route():
    with pytest.raises(InputRefused, match="Route is 'guess': it must be one of measured, area_rate, box, ellipsoid"):
        mixed(route="guess")


def test_amounts_can_be_measured_out():
    assert amount_words(15_000, "mL") == "15 L"
    assert amount_words(250, "g") == "250 g"
