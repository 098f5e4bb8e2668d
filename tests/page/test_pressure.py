"""Pressure as a grower goes through it: the finding, the map by keyboard, why, threshold, layers, table, the year line.

Every number on the page is asked of the service by itself and compared as text; the service's own numbers are checked
against the outside in its own tests.
"""

from __future__ import annotations

import json
import re
import urllib.request

import pytest


@pytest.fixture(scope="module")
def told(service):
    """Return what the service tells at an address of the grove."""
    known = {}

    def ask(path):
        if path not in known:
            address = f"{service.address}/api/groves/{service.grove}/{path}"
            known[path] = json.load(urllib.request.urlopen(address))
        return known[path]

    return ask


def said(page, words):
    """Wait until a screen reader was told something."""
    page.locator("#announcer", has_text=words).wait_for(state="attached")
    return page.locator("#announcer").inner_text()


def test_the_finding_stands_first_and_the_blocks_are_those_of_the_service(laptop, told):
    page = laptop("pressure")
    summary = told("pressure/summary")
    lines = page.get_by_role("table", name="Blocks").locator("tbody tr")
    assert lines.count() == len(summary["blocks"])
    for line, block in zip(lines.all(), summary["blocks"], strict=True):
        words = line.inner_text()
        assert block["block"] in words
        if block["walked"]:
            low, high = (f"{block[name]:.1f}" for name in ("low_80", "high_80"))
            assert f"{block['median_per_beat']:.1f}" in words
            assert f"({low} to {high})" in words
        else:
            assert "too few to say" in words
            assert not re.search(r"\d\.\d", words)
    assert "None is published" in page.locator("#threshold-yours").inner_text()


def test_the_map_is_read_by_keyboard_and_says_why(laptop, told):
    page = laptop("pressure")
    columns = told("pressure")["columns"]
    trees = told("trees")
    page.locator(".plan-map").focus()
    page.keyboard.press("Home")
    first = said(page, ", row 1, tree ")
    page.keyboard.press("End")
    assert said(page, re.compile(rf"^(?!{re.escape(first)}).*row 1, tree \d+")) != first
    page.keyboard.press("PageUp")
    second = trees["blocks"][1]
    heard = said(page, second)
    at = trees["columns"]["block"].index(1)
    if columns["knowledge"][at] == "unknown":
        assert "too few" in heard
    else:
        assert f"{columns['median_per_beat'][at]:.1f} (" in heard
    page.keyboard.press("Enter")
    slip = page.locator("dialog[open]")
    slip.get_by_role("heading", name=f"{second} row").wait_for()
    why = told(f"pressure/trees/{columns['tree'][at]}")
    text = slip.inner_text()
    near = why["nearest"][0]
    assert f"{near['counted']} in {near['taps']} taps" in text
    slip.locator("summary").first.click()
    assert why["formula"][:40] in slip.inner_text()
    page.keyboard.press("Escape")
    assert slip.count() == 0
    assert page.evaluate("document.activeElement.className").startswith("plan-map")
    frames = page.locator("#plan").get_attribute("data-frames")
    page.keyboard.press("+")
    page.keyboard.press("0")
    said(page, "whole grove")
    assert page.locator("#plan").get_attribute("data-frames") != frames


def test_layers_legend_and_the_map_as_a_table(laptop, told):
    page = laptop("pressure")
    page.get_by_role("radio", name="Chance over 4").check()
    page.get_by_role("img", name=re.compile("Legend: chance that a tree is over")).wait_for()
    page.get_by_role("radio", name="Expected count").check()
    page.get_by_role("img", name=re.compile("Legend: nymphs and adults expected")).wait_for()
    page.get_by_role("button", name="Map as table").click()
    table = page.locator("dialog[open]")
    columns = told("trees")["columns"]
    first = [i for i, block in enumerate(columns["block"]) if block == 0]
    assert f"of {len(first)} trees" in table.inner_text()
    assert table.locator("tbody tr").count() == min(len(first), 200)
    pressure = told("pressure")["columns"]
    cells = table.locator("tbody tr").first.inner_text()
    if pressure["knowledge"][first[0]] != "unknown":
        assert f"{pressure['median_per_beat'][first[0]]:.1f} (" in cells
    page.keyboard.press("Escape")
    assert table.count() == 0


def test_the_year_line_leads_to_another_day_and_back(laptop, told):
    page = laptop("pressure")
    walks = told("walks")["walks"]
    now = page.locator("#sheet h1").inner_text()
    line = page.get_by_role("listbox")
    line.focus()
    # The cover survey of early September comes first, the first walk stands beside it
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.locator("#sheet h1", has_text="As of 18 September").wait_for()
    then = told(f"pressure/summary?walk={walks[0]['walk']}")
    assert then["blocks"][0]["block"] in page.get_by_role("table", name="Blocks").inner_text()
    page.get_by_role("button", name="Back to today").click()
    page.locator("#sheet h1", has_text=now).wait_for()
    assert page.get_by_role("button", name="Back to today").count() == 0


def test_the_hill_profile_and_the_map_frame_the_same_row(laptop):
    page = laptop("pressure")
    hill = page.locator("#profile [tabindex='0']").first
    hill.focus()
    page.keyboard.press("ArrowRight")
    heard = said(page, "row")
    page.keyboard.press("ArrowRight")
    assert said(page, re.compile(f"^(?!{re.escape(heard)}$)")) != heard
    page.keyboard.press("Enter")
    framed = page.get_by_role("table", name="Blocks", exact=True).locator("tr.linked")
    assert framed.count() == 1
    page.keyboard.press("Escape")
    framed.wait_for(state="detached")


def test_the_threshold_is_the_growers_and_two_windows_do_not_overwrite_each_other(visit, fresh):
    one, other = visit(), visit()
    other.allow(r"status of 409|status of 412")
    page, second = one.go(fresh.address, "pressure"), other.go(fresh.address, "pressure")
    field = page.get_by_label("Your action threshold")
    field.fill("no number")
    field.press("Enter")
    page.get_by_role("alert").get_by_text("A threshold is a number over 0.").wait_for()
    field.fill("6,5")
    field.press("Enter")
    page.get_by_text("Chance over 6.5").wait_for(timeout=30_000)
    assert "6.5" in page.locator("#status").inner_text()
    # The other window still holds the version before: between its reading and its writing somebody else writes
    answer = {"status": 200, "headers": {"content-type": "application/json"}}
    facts = f"{fresh.address}/api/groves/{fresh.grove}/facts/threshold"
    old = json.load(urllib.request.urlopen(facts))
    old["version"] = str(int(old["version"]) - 1)
    second.route("**/facts/threshold", lambda route: route.fulfill(**answer, body=json.dumps(old))
                 if route.request.method == "GET" else route.continue_())  # fmt: skip
    field = second.get_by_label("Your action threshold")
    field.fill("9")
    field.press("Enter")
    problem = second.get_by_role("alert")
    problem.wait_for()
    assert "chang" in problem.inner_text().lower()
    one.picture("threshold")
    other.picture("conflict")
    kept = json.load(urllib.request.urlopen(facts))
    assert kept["values"]["per_beat"] == 6.5


def test_counts_are_brought_by_a_file(visit, fresh):
    one = visit()
    one.allow("status of 4")
    page = one.go(fresh.address, "pressure")
    page.locator("summary", has_text="Bring a file of counts").click()
    rows = "block,row,position,taps,nymphs,adults\nStony Bit,1,1,3,6,1\nStony Bit,2,2,3,4,0\n"
    page.locator("#counts-file").set_input_files({"name": "walk.csv", "mimeType": "text/csv", "buffer": rows.encode()})
    page.locator("#counts-day").fill("2025-12-20")
    page.locator("form.bring button").click()
    page.locator("#sheet h1", has_text=re.compile("^(?!One place)")).wait_for(timeout=30_000)
    page.get_by_role("listbox").get_by_role("option", name=re.compile("20 December 2025")).wait_for(state="attached")
    walks = json.load(urllib.request.urlopen(f"{fresh.address}/api/groves/{fresh.grove}/walks"))["walks"]
    assert walks[-1]["date"] == "2025-12-20"
