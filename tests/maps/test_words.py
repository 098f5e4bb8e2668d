"""The finding in words, and the two-way legend."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest

from gridmap.words import date_words
from maps.legend import draw_legend, tick_counts
from maps.picture import block_lines
from maps.scene import Scene
from maps.style import ramp_position
from maps.words import finding, finding_detail

SVG = "{http://www.w3.org/2000/svg}"


def test_title_is_a_finding(scene):
    assert finding(scene) == "Three places over your threshold"
    assert finding(replace(scene, hot_spots=scene.hot_spots.iloc[:1])) == "One place over your threshold"
    assert finding(replace(scene, hot_spots=scene.hot_spots.iloc[:0])) == "No place found over your threshold"
    assert finding(replace(scene, threshold=None)) == "Expected count, no threshold given"
    assert finding(Scene(grove="Bare", blocks=scene.blocks, trees=scene.trees)) == "No walk yet"


def test_detail_names_the_block_that_was_not_walked(scene):
    text = finding_detail(scene)
    assert text.startswith(f"{len(scene.beaten_trees())} of {len(scene.trees)} trees beaten on 12 November 2025.")
    assert text.endswith("Far Side is mostly unknown: look there.")


def test_unknown_block_gets_no_number(scene):
    line = next(line for line in block_lines(scene) if line["block"] == "Far Side")
    assert (line["count"], line["over"]) == ("too few to say", "?")
    known = next(line for line in block_lines(scene) if line["block"] == "Ridge")
    assert " to " in known["count"]
    table = scene.block_table.assign(trees_over=math.nan, trees_over_low_80=math.nan, trees_over_high_80=math.nan)
    assert block_lines(replace(scene, threshold=None, block_table=table))[0]["over"] == ""


def test_dates_are_written_out():
    assert date_words(date(2026, 2, 1)) == "1 February 2026"


def test_legend_has_the_threshold_as_an_ink_line_and_three_rows(scene):
    root = ET.fromstring(draw_legend(scene, width_px=480))
    words = ["".join(node.itertext()) for node in root.iter(f"{SVG}text")]
    assert words[:3] == ["well known", "doubtful", "unknown"]
    assert "nymphs and adults expected in one beat" in words
    bold = [node.text for node in root.iter(f"{SVG}text") if node.get("font-weight") == "700"]
    assert bold == ["5"]
    assert "12+" in words
    lines = [node for node in root.iter(f"{SVG}line") if node.get("stroke-width") == "3"]
    assert len(lines) == 1
    fills = {node.get("fill") for node in root.iter(f"{SVG}rect")}
    assert {"url(#doubtful)", "url(#unknown)"} <= fills


def test_legend_without_threshold_has_no_line(scene):
    root = ET.fromstring(draw_legend(replace(scene, threshold=None), width_px=480))
    assert not [node for node in root.iter(f"{SVG}line") if node.get("stroke-width") == "3"]


@pytest.mark.parametrize("threshold", [0.05, 0.3, 1.0, 2.0, 3.5, 5.0, 12.0, 40.0, 1000.0])
def test_ticks_can_be_read_apart(threshold):
    top = 2.4 * threshold
    ticks = tick_counts(top, threshold)
    assert {0.0, threshold, top} <= set(ticks)
    places = [ramp_position(tick, top) for tick in ticks]
    assert all(later - earlier > 0.09 for earlier, later in pairwise(places))
