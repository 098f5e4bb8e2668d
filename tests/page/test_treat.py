"""Treat as a grower goes through it: options, zone, runs changed by hand, mix, loads, and the files to take along."""

from __future__ import annotations

import json
import re
import urllib.request


def ask(served, path):
    return json.load(urllib.request.urlopen(f"{served.address}/api/groves/{served.grove}/{path}"))


def test_from_the_options_to_the_sheet_in_the_hand(visit, fresh):
    one = visit()
    page = one.go(fresh.address, "treat")
    options = page.get_by_role("table", name="Four ways to act")
    options.wait_for(timeout=30_000)
    heads = [cell.inner_text().split("\n")[0] for cell in options.locator("thead th").all()]
    assert heads == ["Nothing", "Spot", "Blocks", "Everything"]
    told = ask(fresh, "options")
    trees = re.findall(r"[\d,]+", options.get_by_role("row", name=re.compile("^Trees")).inner_text())
    assert [int(word.replace(",", "")) for word in trees] == [option["trees"] for option in told["options"]]
    page.get_by_role("button", name="Make the spot zone").click()
    runs = page.get_by_role("table", name="Runs")
    runs.wait_for(timeout=30_000)
    zone = ask(fresh, f"zones/{ask(fresh, 'zones')['zones'][-1]['zone']}")
    assert runs.locator("tbody tr[data-run]").count() == len(zone["runs"]["features"])
    mix = page.get_by_role("table", name="Mix and tank loads")
    assert mix.locator("tbody tr").count() == len(zone["loads"])
    # The law stands where the hand is about to act
    assert "label and permit are the law" in page.locator("#sheet").inner_text()
    one.picture("zone")

    # A run's end is moved by one tree: what was worked out stays to be seen
    longest = max((run["properties"] for run in zone["runs"]["features"]), key=lambda run: run["trees"])
    page.get_by_role("button", name=f"Change run {longest['run']}", exact=True).click()
    to = page.get_by_label(re.compile(f"^Run {longest['run']}, .*to", re.IGNORECASE))
    step = 1 if longest["to_position"] < longest["from_position"] else -1
    to.fill(str(longest["to_position"] + step))
    to.press("Enter")
    page.get_by_text(re.compile(rf"version {zone['version_number'] + 1}\b")).first.wait_for(timeout=30_000)
    changed = ask(fresh, f"zones/{ask(fresh, 'zones')['zones'][-1]['zone']}")
    assert changed["summary"]["trees"] == zone["summary"]["trees"] - 1
    assert page.locator("s").first.inner_text() == str(longest["trees"])

    # Space on the map adds or drops the tree of the keyboard; undo takes it back
    page.locator(".plan-map").focus()
    page.keyboard.press("Home")
    page.keyboard.press("Space")
    page.get_by_role("button", name=re.compile("^Keep")).first.wait_for()
    page.get_by_role("button", name=re.compile("undo|take .* back", re.IGNORECASE)).first.click()

    # Files: a track for the hand-held receiver, and the sheet, which freezes the zone
    with page.expect_download(timeout=60_000) as loading:
        page.get_by_role("button", name=re.compile("^GPX")).click()
    gpx = loading.value.path().read_text("utf-8")
    assert loading.value.suggested_filename == "zone.gpx"
    assert "<trk>" in gpx or "<rte>" in gpx
    assert "http://www.topografix.com/GPX/1/1" in gpx
    with page.expect_download(timeout=60_000) as loading:
        page.get_by_role("button", name="Print the run sheet").click()
    assert loading.value.path().read_bytes().startswith(b"%PDF-")
    page.get_by_text(re.compile("was printed")).first.wait_for(timeout=30_000)
    assert ask(fresh, f"zones/{changed['zone']}")["frozen"]


def test_what_is_not_typed_in_is_asked_for_and_nothing_assumed(visit, fresh):
    one = visit()
    one.allow("status of 4")
    page = one.go(fresh.address, "treat")
    box = page.locator("details[data-facts=prices]")
    box.locator("summary").click()
    field = box.locator("input[inputmode=decimal]").first
    field.wait_for()
    field.fill("a lot")
    box.get_by_role("button").last.click()
    page.get_by_role("alert").get_by_text("a number is wanted").wait_for()
    assert field.get_attribute("aria-invalid") == "true"
