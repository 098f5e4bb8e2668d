"""Colours against the contrast formula of the Web Content Accessibility Guidelines, and the ramp against its rule."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gridmap.errors import InputRefused
from maps import style


# W3C, WCAG 2.2, contrast ratio: black on white is 21:1 by the definition. #777777 on white is the known near miss of
# 4.48:1 and #767676 the first grey that passes 4.5:1 (WebAIM, "Contrast and Color Accessibility", from memory).
@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        ("#000000", "#FFFFFF", 21.0),
        ("#777777", "#FFFFFF", 4.48),
        ("#767676", "#FFFFFF", 4.54),
        ("#FF0000", "#FFFFFF", 4.0),
    ],
)
def test_contrast_agrees_with_published_pairs(one, other, ratio):
    assert style.contrast(one, other) == pytest.approx(ratio, abs=0.005)


# Primaries: relative luminance is the coefficient itself (ITU-R BT.709-6, 2015, item 3.2: 0.2126, 0.7152, 0.0722).
@pytest.mark.parametrize(("colour", "luminance"), [("#FF0000", 0.2126), ("#00FF00", 0.7152), ("#0000FF", 0.0722)])
def test_luminance_of_the_primaries(colour, luminance):
    assert style.relative_luminance(colour) == pytest.approx(luminance, abs=1e-12)


# The design's own measured figures, one decimal: a check that no token was mistyped, not of the formula.
@pytest.mark.parametrize(
    ("palette", "token", "paper", "ground", "well"),
    [
        (style.LIGHT, "edge", 4.2, 3.8, 3.4),
        (style.LIGHT, "quiet", 7.2, 6.6, 5.9),
        (style.LIGHT, "ink", 17.7, 16.1, 14.5),
        (style.LIGHT, "accent", 8.6, 7.9, 7.1),
        (style.DARK, "edge", 5.4, 5.9, 4.6),
        (style.DARK, "quiet", 9.2, 10.0, 7.7),
        (style.DARK, "ink", 15.4, 16.7, 13.0),
        (style.DARK, "accent", 9.0, 9.8, 7.6),
    ],
)
def test_tokens_have_the_contrast_that_the_design_names(palette, token, paper, ground, well):
    colour = getattr(palette, token)
    for under, ratio in ((palette.paper, paper), (palette.ground, ground), (palette.well, well)):
        assert style.contrast(colour, under) == pytest.approx(ratio, abs=0.06)


def test_text_and_marks_pass_wcag_2_2_aa():
    # WCAG 2.2 success criteria 1.4.3 (text 4.5:1) and 1.4.11 (marks that carry meaning 3:1).
    for palette in (style.LIGHT, style.DARK, style.SUN, style.PRINT):
        for under in (palette.paper, palette.ground, palette.well):
            for text in (palette.ink, palette.quiet, palette.accent):
                assert style.contrast(text, under) >= 4.5
            assert style.contrast(palette.edge, under) >= 3.0


# The design names 5.5 and 3.5, one decimal; WCAG 2.2 asks 3:1 of marks that carry meaning.
@pytest.mark.parametrize(("palette", "least"), [(style.LIGHT, 5.45), (style.DARK, 3.45)])
def test_hatch_can_be_seen_over_every_colour_of_the_ramp(palette, least):
    for step in range(101):
        colour = style.pressure_colour(step / 100 * 12.0, 12.0)
        assert style.contrast(palette.ink, style.mix(colour, palette.paper, style.DOUBTFUL_SHARE)) >= least


def test_ramp_grows_lighter_all_the_way():
    # Nunez, Anderton, Renslow (2018), doi:10.1371/journal.pone.0199239: cividis rises in lightness throughout.
    lights = [style.relative_luminance(style.pressure_colour(step / 50 * 12.0, 12.0)) for step in range(51)]
    assert all(later > earlier for earlier, later in pairwise(lights))


@given(st.floats(0.01, 1e4))
def test_threshold_always_falls_at_the_same_place(threshold):
    # Identity, no published example: sqrt(1 / 2.4).
    assert style.ramp_position(threshold, style.ramp_top(threshold)) == pytest.approx(math.sqrt(1 / 2.4))


def test_ramp_without_threshold_ends_at_the_largest_count():
    assert style.ramp_top(None, [0.2, 7.5, math.nan]) == 7.5
    assert style.ramp_top(None, [0.0]) == 1.0
    with pytest.raises(InputRefused, match="Action threshold is 0 a beat: it must be over 0 a beat"):
        style.ramp_top(0.0)
