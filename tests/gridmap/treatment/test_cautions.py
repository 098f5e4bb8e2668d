"""Cautions stand at every place, two sentences at most. Common practice, no source."""

import pytest

from gridmap.treatment import CAUTIONS, Label, cautions


@pytest.mark.parametrize("place", CAUTIONS)
def test_two_sentences_at_most(place):
    said = cautions(place, Label(product="x", rate=5, rate_unit="mL", rate_basis="per_100_l"))
    assert len(said) <= 2
    assert all(text.endswith(".") and ". " not in text for text in said)


def test_all_that_can_hurt_is_named():
    words = " ".join(" ".join(pair) for pair in CAUTIONS.values()).lower()
    for needed in ("label", "permit", "law", "local codes", "licensed adviser", "protective equipment", "water", "bees",
                   "neighbours", "re-entry", "withholding", "wind"):
        assert needed in words


def test_label_facts_are_said_as_typed():
    label = Label(reentry="when dry", withholding_days=14)
    assert cautions("date", label) == (
        "Keep people out until re-entry is allowed; you typed: when dry.",
        "Harvest waits for the withholding period; you typed 14 days from the last spray, the label decides.")
