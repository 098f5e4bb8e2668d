"""Ground, as a grower uses it: a grove is begun, blocks are drawn, walked and brought, rows seen, things undone.

What a figure must be comes from GeographicLib (Karney 2013, doi:10.1007/s00190-012-0578-z, through pyproj.Geod) or from
the grower's own numbers; the rest are the page's promises, for which there is no published example.
"""

from __future__ import annotations

import json
import re

import pytest
from pyproj import Geod

WGS_84 = Geod(ellps="WGS84")
HOME = (-9.4, -31.9)
PATIENCE = 60_000


def corners_of(at=HOME, *, east=90.0, south=60.0):
    """Return the four corners of a rectangle from its north-west one, clockwise, longitude and latitude."""
    b = WGS_84.fwd(*at, 90, east)[:2]
    c = WGS_84.fwd(*b, 180, south)[:2]
    return [at, b, c, WGS_84.fwd(*at, 180, south)[:2]]


def area_ha(corners):
    """Return the area inside the corners on the ellipsoid [ha]."""
    return abs(WGS_84.polygon_area_perimeter(*zip(*corners, strict=True))[0]) / 1e4


def begin_drawing(page, at=HOME):
    """Press the button, and go to the place where it is not known yet."""
    page.locator("#first-draw, #add-draw").first.click()
    page.locator("#draw-close").wait_for()
    goto = page.locator(".empty #draw-goto")
    if goto.count():
        goto.fill(f"{at[1]}, {at[0]}")
        goto.press("Enter")


def type_corners(page, corners):
    """Set corners by typing where they are."""
    page.get_by_text("Type a corner instead").click()
    for n, (lon, lat) in enumerate(corners, 1):
        page.locator("#draw-corner").fill(f"{lat:.7f}, {lon:.7f}")
        page.get_by_role("button", name="Set this corner").click()
        page.locator(".ground-readout dd", has_text=re.compile(f"^{n}$")).wait_for()


def rows_shown(page):
    """Wait until rows are shown; return how many trees and rows they are."""
    words = page.locator(".ground-count")
    words.wait_for(timeout=PATIENCE)
    found = re.match(r"([\d,]+) trees? in ([\d,]+) rows?", words.inner_text())
    assert found, words.inner_text()
    return int(found[1].replace(",", "")), int(found[2].replace(",", ""))


def listed(page):
    """Wait for the list of blocks; return it as lines."""
    page.locator("#add-draw").wait_for(timeout=PATIENCE)
    page.locator("#ground-undo").wait_for(timeout=PATIENCE)
    lines = page.locator(".ground-blocks tbody").inner_text().replace("\u00a0", " ").splitlines()
    return [line.split("\t") for line in lines]


def keep_block(page, name, *, uphill="350"):
    """Name the block and keep it with its rows."""
    page.locator("#block-name").fill(name)
    if uphill is not None:
        page.locator("#rows-uphill").fill(uphill)
    page.locator("#block-keep").click()
    page.locator("#status", has_text=f"{name} is kept").wait_for(timeout=PATIENCE)


def draw_block(page, name="Top", corners=None):
    """Draw a block by typed corners and keep it."""
    begin_drawing(page)
    type_corners(page, corners or corners_of())
    page.locator("#draw-close").click()
    rows_shown(page)
    keep_block(page, name)
    return listed(page)


def test_a_grower_begins_a_grove_draws_a_block_and_takes_it_back(visit, unmade):
    one = visit("laptop")
    page = one.go(unmade.address)
    assert page.locator("h1").inner_text() == "Draw the edge of your first block."
    assert "invented" in page.locator(".ground-only-looking").inner_text()
    one.picture("first")
    page.locator("#first-draw").click()
    page.get_by_role("button", name="Go to the map").click()
    assert "the name, where it is" in page.locator(".failed").inner_text()
    page.locator("#grove-name-field").fill("Hill <i>Home</i>")
    page.locator("#grove-place").fill("31.9 S, 9.4 W")
    page.locator("#grove-currency").fill("xts")
    assert page.locator("#grove-zone").input_value() == "Pacific/Auckland"
    page.get_by_role("button", name="Go to the map").click()
    page.locator("#draw-close").wait_for(timeout=PATIENCE)
    # A name is text, whatever it looks like
    assert page.locator("#grove-name").inner_text() == "Hill <i>Home</i>"

    corners = corners_of()
    type_corners(page, corners[:2])
    edge = WGS_84.inv(*corners[0], *corners[1])[2]
    page.locator("#draw-far").fill("60")
    page.locator("#draw-way").fill("180")
    page.get_by_role("button", name="Set this corner").click()
    page.get_by_role("button", name="Undo last corner").click()
    page.locator(".ground-readout dd", has_text=re.compile("^2$")).wait_for()
    for lon, lat in corners[2:]:
        page.locator("#draw-corner").fill(f"{lat:.7f}, {lon:.7f}")
        page.get_by_role("button", name="Set this corner").click()
    one.picture("drawing")
    page.locator("#draw-close").click()

    trees, rows = rows_shown(page)
    assert f"{area_ha(corners):.2f}" in page.locator(".ground-count").inner_text()
    # The longest edge is 90 m: rows run along it, 7 m apart in 60 m less two headlands of 4 m
    assert edge == pytest.approx(90)
    assert page.locator("#rows-bearing").input_value() == "90"
    assert rows == pytest.approx((60 - 8) / 7, abs=1.01)
    one.picture("rows")
    page.locator("#block-keep").click()
    assert "the name of the block" in page.locator(".failed").inner_text()
    keep_block(page, "Top")
    assert listed(page) == [["Top", str(rows), str(trees), f"{area_ha(corners):.2f} ha"]]
    one.picture("list")

    page.get_by_role("button", name="Undo: make rows in Top").click()
    page.locator("h1", has_text="1 block, 0 trees").wait_for(timeout=PATIENCE)
    page.get_by_role("button", name="Do again: make rows in Top").click()
    page.locator("h1", has_text=f"1 block, {trees} trees").wait_for(timeout=PATIENCE)


def test_a_row_line_and_the_arrow_are_dragged(visit, empty):
    one = visit("laptop")
    page = one.go(empty.address)
    begin_drawing(page)
    type_corners(page, corners_of())
    page.locator("#draw-close").click()
    trees, _ = rows_shown(page)
    box = page.locator(".plan-map").bounding_box()

    def drag(x0, x1, y0, y1, by):
        """Find what can be taken in a part of the map, and drag it."""
        for x in range(int(x0 * box["width"]), int(x1 * box["width"]), 11):
            for y in range(int(y0 * box["height"]), int(y1 * box["height"]), 5):
                page.mouse.move(box["x"] + x, box["y"] + y)
                if page.locator(".plan-map[data-grip=true]").count():
                    page.mouse.down()
                    page.mouse.move(box["x"] + x + by[0], box["y"] + y + by[1], steps=3)
                    page.mouse.up()
                    return
        raise AssertionError("nothing to take there")

    drag(0.45, 0.5, 0.72, 0.95, (0, 30))
    assert float(page.locator("#rows-spacing").input_value()) > 7
    page.locator(".ground-count").filter(has_not_text=f"{trees} trees").wait_for(timeout=PATIENCE)
    drag(0.5, 0.8, 0.02, 0.2, (60, 40))
    assert 10 < float(page.locator("#rows-uphill").input_value()) < 170
    one.picture("dragged")
    # Steppers do the same for who drags nothing
    before = float(page.locator("#rows-bearing").input_value())
    page.get_by_role("button", name="Rows run: more").click()
    assert float(page.locator("#rows-bearing").input_value()) == before + 1


def test_a_block_is_drawn_and_kept_by_keyboard_alone(visit, empty):
    page = visit("laptop").go(empty.address)
    keys = page.keyboard

    def tab_to(wanted, most=60):
        for _ in range(most):
            if page.locator(f"{wanted}:focus").count():
                return
            keys.press("Tab")
        raise AssertionError(f"the keyboard does not come to {wanted}")

    tab_to("#first-draw")
    keys.press("Enter")
    page.locator("#draw-close").wait_for()
    if page.locator("#draw-goto:focus").count():
        keys.type("31.9 S, 9.4 W")
        keys.press("Enter")
        tab_to(".plan-map")
    page.locator(".plan-map:focus").wait_for()
    keys.press("ArrowRight")
    keys.press("Enter")
    heard = page.locator("#announcer")
    heard.filter(has_text="First corner set.").wait_for()
    for way in ("ArrowRight", "ArrowDown", "ArrowLeft"):
        for _ in range(5):
            keys.press(f"Shift+{way}")
        keys.press("Enter")
    heard.filter(has_text="Corner 4 set, 50 metres from the last. 0.25").wait_for()
    keys.press("Backspace")
    heard.filter(has_text="Corner taken back, 3 left.").wait_for()
    keys.press("Enter")
    heard.filter(has_text="Corner 4 set").wait_for()
    keys.press("c")
    page.locator("#block-name:focus").wait_for(timeout=PATIENCE)
    keys.type("Keys")
    rows_shown(page)
    tab_to("#rows-uphill")
    keys.type("10")
    tab_to("#block-keep")
    keys.press("Enter")
    page.locator("#status", has_text="Keys is kept").wait_for(timeout=PATIENCE)
    assert listed(page)[0][0] == "Keys"


def test_corners_are_chosen_and_moved_by_keyboard_in_a_block_drawn_anew(visit, empty):
    one = visit("laptop")
    page = one.go(empty.address)
    [[_, _, trees, _]] = draw_block(page)
    page.locator(".ground-blocks .name").click()
    page.locator("#block-reshape").click()
    page.locator("#reshape-keep").wait_for()
    page.locator(".ground-count", has_text="0.54").wait_for()
    page.locator(".plan-map").focus()
    page.keyboard.press("PageDown")
    page.locator("#announcer", has_text="Corner 2 of 4.").wait_for()
    for _ in range(3):
        page.keyboard.press("Shift+ArrowUp")
        page.keyboard.press("Shift+ArrowLeft")
    page.locator(".questioned", has_text="outside").wait_for()
    one.picture()
    page.locator("#reshape-keep").click()
    page.locator("#status", has_text="Top is drawn anew").wait_for(timeout=PATIENCE)
    assert int(re.search(r"(\d+) trees", page.locator(".lead").first.inner_text())[1]) < int(trees)


def test_a_boundary_is_walked_with_a_phone(visit, empty):
    poor = {"longitude": HOME[0], "latitude": HOME[1], "accuracy": 30}
    one = visit("phone", permissions=["geolocation"], geolocation=poor)
    page = one.go(empty.address)
    assert page.locator("h1").inner_text() == "Walk the edge of your first block."
    one.picture("first")
    page.locator("#first-walk").click()
    page.get_by_text("Position only good to 30 m").wait_for()
    page.locator("#walk-start").click()
    assert page.locator("#walk-corner").count() == 0

    def stand(lon, lat):
        one.context.set_geolocation({"longitude": lon, "latitude": lat, "accuracy": 4})
        page.wait_for_timeout(60)

    corners = corners_of()
    stand(*corners[0])
    page.get_by_text("Position good to 4 m.").wait_for()
    page.locator("#walk-start").click()
    for start, end in zip(corners, [*corners[1:], corners[0]], strict=True):
        way, _, far = WGS_84.inv(*start, *end)
        for k in range(1, 5):
            stand(*WGS_84.fwd(*start, way, far * k / 4)[:2])
        page.locator("#walk-corner").click()
    page.get_by_text("close it here").wait_for()
    one.picture("walked")
    page.locator("#walk-close").click()
    rows_shown(page)
    assert f"{area_ha(corners):.2f}" in page.locator(".ground-count").inner_text()
    one.picture("rows")
    keep_block(page, "Walked")
    listed(page)
    one.picture("list")
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390
    small = page.locator(".ground-view .button:visible").evaluate_all(
        "all => all.filter(one => one.getBoundingClientRect().height < 47.5).map(one => one.textContent)"
    )
    assert small == []


def test_a_file_is_brought_and_a_crossed_outline_is_mended_before_it_is_taken(visit, empty, tmp_path):
    one = visit("laptop")
    one.allow("422")
    a, b, c, d = corners_of()
    for name, ring in (("good", [a, b, c, d, a]), ("crossed", [a, c, b, d, a])):
        shape = {"type": "Polygon", "coordinates": [ring]}
        feature = {"type": "Feature", "properties": {"block": name}, "geometry": shape}
        (tmp_path / f"{name}.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    page = one.go(empty.address)
    page.locator("#first-file").set_input_files(tmp_path / "good.geojson")
    page.locator("#bring-go").click()
    page.get_by_role("heading", name="good.geojson is read in").wait_for(timeout=PATIENCE)
    one.picture("read")
    page.locator("#bring-done").click()
    assert listed(page)[0][0] == "good"
    page.locator("#ground-undo").click()
    page.locator("#first-bring").wait_for(timeout=PATIENCE)

    page.locator("#first-file").set_input_files(tmp_path / "crossed.geojson")
    page.locator("#bring-go").click()
    page.get_by_role("button", name="Look at a mended shape").click(timeout=PATIENCE)
    one.picture("mended")
    page.locator("#mended-take").click()
    page.locator("#status", has_text="crossed is kept").wait_for(timeout=PATIENCE)


def test_a_keep_out_needs_the_growers_own_setback(visit, empty):
    one = visit("laptop")
    page = one.go(empty.address)
    draw_block(page)
    page.locator("#add-keep-out").click()
    page.locator("#draw-close").wait_for()
    type_corners(page, corners_of((-9.3985, -31.9), east=30, south=20))
    page.locator("#draw-close").click()
    page.locator("#keep-out-keep").click()
    assert "what it is, the setback in metres" in page.locator(".failed").inner_text()
    page.locator("#keep-out-kind").select_option("water")
    page.locator("#keep-out-name").fill("<b>dam</b>")
    page.locator("#keep-out-setback").fill("12")
    one.picture("setback")
    page.locator("#keep-out-keep").click()
    page.locator(".ground-keep-outs .name").wait_for(timeout=PATIENCE)
    assert page.locator(".ground-keep-outs tbody").inner_text().split("\t") == ["<b>dam</b>", "water", "12\u00a0m"]
    page.locator(".ground-keep-outs .name").click()
    page.locator("#keep-out-remove").click()
    page.locator("#keep-out-remove-yes").click()
    page.locator("#status", has_text="is taken out: its ground may be sprayed now").wait_for(timeout=PATIENCE)
    page.get_by_role("button", name="Undo: remove keep-out").click()
    page.locator(".ground-keep-outs .name").wait_for(timeout=PATIENCE)


def test_two_windows_do_not_overwrite_each_other(visit, empty):
    one = visit("laptop")
    one.allow("412")
    page = one.go(empty.address)
    draw_block(page)
    other = visit("laptop").go(empty.address, "ground")
    for window, height in ((page, "3.1"), (other, "2.6")):
        window.locator(".ground-blocks .name").click()
        window.get_by_text("Name, spacing, canopy").click()
        window.locator("#fact-canopy_height_m").fill(height)
    other.locator("#facts-keep").click()
    other.locator("#status", has_text="Top is changed").wait_for(timeout=PATIENCE)
    page.locator("#facts-keep").click()
    page.get_by_text("Somebody else changed this").wait_for(timeout=PATIENCE)
    one.picture()
    page.get_by_role("button", name="Keep mine").click()
    page.locator("#status", has_text="Top is changed").wait_for(timeout=PATIENCE)
    page.locator(".ground-blocks .name").click()
    page.get_by_text("Name, spacing, canopy").click()
    assert page.locator("#fact-canopy_height_m").input_value() == "3.1"


def test_a_block_is_split_by_a_line(visit, empty):
    one = visit("laptop")
    page = one.go(empty.address)
    [[_, _, trees, _]] = draw_block(page)
    page.locator(".ground-blocks .name").click()
    page.locator("#block-split").click()
    page.locator("#draw-close").wait_for()
    (lon, lat), _, (east, south), _ = corners_of()
    # Two points inside: the line is carried on to the edges
    type_corners(page, [((lon + east) / 2, lat * 0.8 + south * 0.2), ((lon + east) / 2, lat * 0.2 + south * 0.8)])
    page.locator("#draw-close").click()
    one.picture("line")
    page.locator("#split-go").click()
    page.locator("#status", has_text="is split").wait_for(timeout=PATIENCE)
    parts = listed(page)
    assert [row[0] for row in parts] == ["Top A", "Top B"]
    assert sum(int(row[2]) for row in parts) == int(trees)


def test_rows_follow_a_drawn_line_and_parts_are_joined_again(visit, empty):
    one = visit("laptop")
    page = one.go(empty.address)
    begin_drawing(page)
    corners = corners_of()
    type_corners(page, corners)
    page.locator("#draw-close").click()
    rows_shown(page)
    page.locator("#block-name").fill("Bent")
    page.locator("#rows-follow").click()
    page.locator("#draw-close").wait_for()
    (lon, lat), (east, _), (_, south), _ = corners
    middle = ((lon + east) / 2, (lat + south) / 2)
    type_corners(page, [(lon, lat * 0.6 + south * 0.4), middle, (east, lat * 0.6 + south * 0.4)])
    page.locator("#draw-close").click()
    trees, _ = rows_shown(page)
    assert page.locator("#block-name").input_value() == "Bent"
    assert not page.locator("#rows-bearing").is_visible()
    one.picture("bent")
    keep_block(page, "Bent")
    [[_, _, kept, _]] = listed(page)
    assert int(kept) == trees

    page.locator(".ground-blocks .name").click()
    page.locator("#block-split").click()
    page.locator("#draw-close").wait_for()
    type_corners(page, [(middle[0], lat * 0.8 + south * 0.2), (middle[0], lat * 0.2 + south * 0.8)])
    page.locator("#draw-close").click()
    page.locator("#split-go").click()
    page.locator("#status", has_text="is split").wait_for(timeout=PATIENCE)
    page.locator(".ground-blocks .name").first.click()
    page.locator("#block-merge").click()
    page.locator("#merge-name").fill("Bent")
    page.locator("#merge-go").click()
    page.locator("h1", has_text=f"1 block, {trees} trees").wait_for(timeout=PATIENCE)
    one.picture("joined")


def test_a_refill_point_is_set_on_the_map(visit, empty):
    one = visit("laptop")
    page = one.go(empty.address)
    draw_block(page)
    page.locator("#add-point").click()
    page.locator("#point-name").fill("upper tank")
    box = page.locator(".plan-map").bounding_box()
    page.mouse.click(box["x"] + 90, box["y"] + 90)
    page.locator("#point-keep").click()
    page.get_by_text("upper tank: refill").wait_for(timeout=PATIENCE)
    one.picture()


def test_a_survey_without_rows_gets_them(visit, empty, tmp_path):
    lines = ["block,longitude,latitude"]
    for row in range(6):
        start = WGS_84.fwd(*HOME, 180, 7 * row)[:2]
        lines += [f"Found,{x:.7f},{y:.7f}" for x, y in (WGS_84.fwd(*start, 90, 5 * k)[:2] for k in range(12))]
    (tmp_path / "survey.csv").write_text("\n".join(lines))
    one = visit("laptop")
    page = one.go(empty.address)
    page.locator("#first-file").set_input_files(tmp_path / "survey.csv")
    page.locator("#bring-kind").select_option("survey")
    page.locator("#bring-uphill").fill("0")
    page.locator("#bring-go").click()
    page.get_by_role("heading", name="survey.csv is read in").wait_for(timeout=PATIENCE)
    page.locator("#bring-done").click()
    # Six rows of twelve trees were surveyed
    assert listed(page)[0][:3] == ["Found", "6", "72"]
