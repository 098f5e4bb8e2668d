"""What the map, the profile and the legend draw, measured in pixels against published colours and plain geometry."""

from __future__ import annotations

import base64
import io
import math
import re
from typing import Any

import numpy as np
import pytest
from PIL import Image
from shapely.geometry import Point, Polygon, box

# A map of our own beside the page's, of a known size, so that its view can be asked: the same class, state and colours.
DRAWN = """async () => {
  const [{ Plan }, { state }, painters] = await Promise.all(
    ["/js/plan/plan.js", "/js/state.js", "/js/pressure/painters.js"].map((path) => import(path)));
  const [pressure, summary] = [state.get("pressure"), state.get("summary")];
  const element = document.createElement("div");
  const styles = { position: "fixed", inset: "0", width: "1000px", height: "800px", "z-index": "9999" };
  for (const [name, value] of Object.entries(styles)) element.style.setProperty(name, value);
  document.body.append(element);
  const plan = new Plan(element, { state });
  plan.read();
  plan.setPainter(painters.expectedPainter(pressure, summary.ramp));
  plan.setSpots(summary.hot_spots);
  plan.fit();
  await new Promise((done) => setTimeout(done, 120));
  plan.drawNow();
  const [v, { set, blocks, keepOuts, labels, spots, beaten }] = [plan.view(), plan.scene];
  const at = ([x, y]) => [x * v.scale + v.dx, y * v.scale + v.dy];
  const cells = [];
  const corner = (i, k) => at([set.corners[8 * i + k], set.corners[8 * i + k + 1]]);
  for (let i = 0; i < set.n; i += 1) cells.push([0, 2, 4, 6].map((k) => corner(i, k)));
  return {
    picture: plan.canvas.toDataURL(), ratio: plan.canvas.width / v.width, cells, beaten,
    median: pressure.columns.median_per_beat, knowledge: pressure.columns.knowledge,
    threshold: pressure.threshold_per_beat,
    blocks: blocks.map((one) => one.rings[0].map(at)),
    setbacks: keepOuts.flatMap((one) => one.setback.map((ring) => ring.map(at))),
    labels: labels.map((one) => {
      plan.pen.font = one.font;
      return { ...one, wide: plan.pen.measureText(one.words).width };
    }),
    spots: spots.map((one) => at([one.x, one.y])), taken: plan.taken(),
  };
}"""
# cividis at the entries 0, 16 .. 240, 255 of its 256, as matplotlib 3.11.2 has it: Nunez, Anderton and Renslow 2018,
# Optimizing colormaps with consideration for color vision deficiency, PLOS ONE 13(7): e0199239.
CIVIDIS = np.array([
    (0, 34, 78), (0, 46, 106), (26, 56, 111), (50, 67, 109), (67, 78, 108), (83, 90, 109), (97, 101, 111),
    (111, 112, 115), (125, 124, 120), (140, 136, 120), (155, 148, 118), (171, 160, 114), (188, 174, 108),
    (205, 187, 99), (222, 201, 88), (240, 216, 70), (254, 232, 56),
])  # fmt: skip
ENTRIES = np.array([*range(0, 256, 16), 255]) / 255
PAPER = np.array([255, 255, 255])
INK = np.array([20, 26, 22])


# Elements with words of their own that are under 16 px on the screen (a drawing may scale them).
SMALL = """() => [...document.querySelectorAll("body *")].filter((one) => one.checkVisibility() &&
  [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim()) &&
  Number.parseFloat(getComputedStyle(one).fontSize) * (one.ownerSVGElement ? one.getScreenCTM().a : 1) < 15.99)
  .map((one) => one.outerHTML.slice(0, 120))"""
CUT = """() => {
  const edge = document.querySelector("#sheet").getBoundingClientRect().right + 1;
  return [...document.querySelectorAll("#sheet *")]
    .filter((one) => one.checkVisibility() && !one.closest(".scroll, details, .unseen"))
    .filter((one) => one.getBoundingClientRect().right > edge).map((one) => one.outerHTML.slice(0, 120));
}"""


def luma(colours: np.ndarray) -> np.ndarray:
    """Brightness, to tell a line from the ground (ITU-R BT.601)."""
    return colours[..., :3] @ np.array([0.299, 0.587, 0.114])


@pytest.fixture(scope="module")
def drawn(chromium, service) -> dict[str, Any]:
    """Return the map of the invented grove at 1000 by 800 px with everything's place in it."""
    context = chromium.new_context(viewport={"width": 1440, "height": 900}, locale="en-GB", service_workers="block")
    page = context.new_page()
    page.goto(f"{service.address}/#pressure")
    page.locator("body[data-ready=true]").wait_for()
    got = page.evaluate(DRAWN)
    context.close()
    picture = Image.open(io.BytesIO(base64.b64decode(got["picture"].split(",")[1]))).convert("RGBA")
    got["pixels"] = np.asarray(picture).astype(int)
    assert got["ratio"] == 1
    return got


def named(label: dict[str, Any]) -> Polygon:
    """Return the box of a name, as high as its letters."""
    half = label["wide"] / 2
    return box(label["x"] - half, label["y"] - 8, label["x"] + half, label["y"] + 8)


def controls(drawn: dict[str, Any]) -> list[Polygon]:
    """Return the boxes of what stands on the map, without the room that is kept around them."""
    return [box(one["x"] + 4, one["y"] + 4, one["x"] + one["w"] - 4, one["y"] + one["h"] - 4) for one in drawn["taken"]]


def within(cell: Polygon) -> list[tuple[int, int]]:
    """List the pixels whose middle lies in a shape."""
    west, north, east, south = (int(value) for value in cell.bounds)
    every = [(x, y) for x in range(west, east + 1) for y in range(north, south + 1)]
    return [(x, y) for x, y in every if cell.contains(Point(x + 0.5, y + 0.5))]


def inner(drawn: dict[str, Any], kind: str) -> list[tuple[int, np.ndarray]]:
    """Return for each clear cell of a kind the colours of the pixels well inside it, away from what lies over it."""
    over = [Polygon(drawn["cells"][i]).centroid.buffer(6) for i in drawn["beaten"]]
    over += [Point(place).buffer(17) for place in drawn["spots"]]
    over += [Polygon(ring).exterior.buffer(3) for ring in drawn["blocks"]]
    over += [named(one).buffer(6) for one in drawn["labels"]]
    found = []
    for i, corners in enumerate(drawn["cells"]):
        if drawn["knowledge"][i] != kind:
            continue
        cell = Polygon(corners).buffer(-1.2)
        if cell.is_empty or any(cell.intersects(one) for one in over):
            continue
        if places := within(cell):
            found.append((i, np.array([drawn["pixels"][y, x, :3] for x, y in places])))
    assert found
    return found


def cividis(count: float, threshold: float) -> np.ndarray:
    """Return the published colour of a count: the map's place is the root of count over 2.4 thresholds."""
    share = math.sqrt(min(count / (2.4 * threshold), 1))
    return np.array([np.interp(share, ENTRIES, CIVIDIS[:, channel]) for channel in range(3)])


def test_a_well_known_cell_has_the_published_colour_of_its_count(drawn):
    cells = inner(drawn, "well_known")
    assert len(cells) > 20
    for i, colours in cells:
        assert np.abs(np.median(colours, axis=0) - cividis(drawn["median"][i], drawn["threshold"])).max() <= 8


def test_a_doubtful_cell_is_half_as_strong_and_hatched(drawn):
    cells = inner(drawn, "doubtful")
    for i, colours in cells:
        between = (cividis(drawn["median"][i], drawn["threshold"]) + PAPER) / 2
        if len(colours) < 15:
            continue
        # The hatch takes 1.2 px of every 9: the brightest fifth of the cell is the ground between its lines.
        ground = colours[luma(colours) >= np.quantile(luma(colours), 0.8)]
        assert np.abs(np.median(ground, axis=0) - between).max() <= 9
    every = np.concatenate([luma(colours) < 0.75 * np.median(luma(colours)) for _, colours in cells])
    assert 0.5 * 1.2 / 9 < every.mean() < 2 * 1.2 / 9


def test_an_unknown_cell_has_no_colour_but_lines(drawn):
    colours = np.concatenate([colours for _, colours in inner(drawn, "unknown")])
    # No published example: lines of 1.5 px every 6, all of it between paper and ink.
    assert (np.ptp(colours, axis=1) <= 12).all()
    darkness = (255 - luma(colours)) / (255 - luma(INK))
    assert darkness.mean() == pytest.approx(1.5 / 6, rel=0.2)


@pytest.mark.parametrize(("kind", "step"), [("doubtful", 9), ("unknown", 6)])
def test_hatches_run_at_45_degrees_through_all_cells(drawn, kind, step):
    """A line found in one cell goes on in the next along the diagonal: the pattern belongs to the screen."""
    inside = np.zeros(drawn["pixels"].shape[:2], bool)
    for i, corners in enumerate(drawn["cells"]):
        cell = Polygon(corners).buffer(-1)
        if drawn["knowledge"][i] != kind or cell.is_empty:
            continue
        for x, y in within(cell):
            inside[y, x] = True
    light = luma(drawn["pixels"])
    for i in drawn["beaten"]:
        x, y = Polygon(drawn["cells"][i]).centroid.coords[0]
        inside[max(int(y) - 7, 0) : int(y) + 8, max(int(x) - 7, 0) : int(x) + 8] = False

    def alike(dx: int, dy: int) -> float:
        rows, columns = np.nonzero(inside[:-64, 64:-64])
        columns += 64
        both = inside[rows + dy, columns + dx]
        one, other = light[rows, columns][both], light[rows + dy, columns + dx][both]
        return float(np.corrcoef(one, other)[0, 1])

    # Four steps across the lines are 4 * step * sqrt(2) px, within half a pixel, along the rows: there it repeats too.
    along = round(4 * step * math.sqrt(2))
    assert alike(28, 28) > 0.6
    assert alike(along, 0) > 0.6
    assert alike(-28, 28) < 0.5


def test_names_cover_no_outline_no_setback_and_no_control(drawn):
    """The rule for names, by an independent geometry library; no published example."""
    closed = [Polygon(ring) for ring in drawn["blocks"] + drawn["setbacks"]]
    names = [named(one) for one in drawn["labels"] if not one["italic"]]
    assert len(names) == len(drawn["blocks"])
    assert not [1 for name in names for other in closed + controls(drawn) if name.intersects(other)]
    assert all(int(re.search(r"(\d+)px", one["font"])[1]) >= 16 for one in drawn["labels"])


def test_the_whole_grove_is_in_view_and_clear_of_controls(drawn):
    ground = [Polygon(ring) for ring in drawn["blocks"]]
    assert all(box(0, 0, 1000, 800).contains(block) for block in ground)
    assert not [1 for block in ground for control in controls(drawn) if block.intersects(control)]
    # As large as it goes: it fills most of the one direction or of the other.
    west, north, east, south = np.array([block.bounds for block in ground]).T
    assert max((east.max() - west.min()) / 1000, (south.max() - north.min()) / 800) > 0.85


def test_the_threshold_stands_at_the_same_place_of_the_legend(laptop):
    """Root of 1 over 2.4 = 0.6455 of the way, as the ramp is defined; no published example."""
    page = laptop("pressure")
    page.locator(".legend-threshold").wait_for(state="attached")
    threshold = float(page.locator(".legend-threshold").get_attribute("x1"))
    bar = page.locator(".legend .whole").first
    left, wide = float(bar.get_attribute("x")), float(bar.get_attribute("width"))
    assert (threshold - left) / wide == pytest.approx(math.sqrt(1 / 2.4), abs=1e-6)
    assert page.locator(".legend .hatched").count() == 2


def test_rows_stand_at_their_metres_on_the_profile(laptop):
    """The line of a row stands where its metres upslope fall between the axis' own numbers; no published example."""
    page = laptop("pressure")
    numbers = page.locator(".profile-overlay text.axis[text-anchor=middle]")
    ticks = numbers.evaluate_all("all => all.map((one) => [Number(one.getAttribute('x')), Number(one.textContent)])")
    (x0, m0), (x1, m1) = ticks[0], ticks[-1]
    rows = page.evaluate("import('/js/state.js').then(({ state }) => state.get('summary').rows)")
    page.locator(".profile-box").focus()
    page.keyboard.press("Home")
    seen = []
    for _ in range(6):
        at = float(page.locator(".profile-mark .line").get_attribute("x1"))
        words = page.locator(".profile-value").text_content()
        block, row = re.match(r"(.+) row (\d+)", words).groups()
        metres = next(one["upslope_m"] for one in rows if (one["block"], one["row"]) == (block, int(row)))
        assert at == pytest.approx(x0 + (metres - m0) / (m1 - m0) * (x1 - x0), abs=0.6)
        seen.append(metres)
        page.keyboard.press("ArrowRight")
    assert seen == sorted(seen)


def test_a_band_of_the_hill_is_set_without_dragging(laptop):
    page = laptop("pressure")
    page.get_by_role("button", name="Band of the hill").click()
    page.get_by_label("Band of the hill from, metres upslope").fill("20")
    page.get_by_label("Band of the hill to, metres upslope").fill("60")
    page.get_by_role("button", name="Show", exact=True).click()
    assert page.locator(".band-edge").count() == 2
    page.keyboard.press("Escape")
    assert page.locator(".band-edge").count() == 0


def test_the_year_line_shows_the_season_of_the_day_shown_and_a_way_to_today(laptop):
    page = laptop("pressure")
    line = page.locator("#yearline")
    assert "2 December, shown" in line.text_content()
    walks = line.get_by_role("option", name=re.compile("^walk"))
    assert walks.count() == 4
    # The cover survey of that spring stands beside them
    assert line.get_by_role("option").count() == 5
    assert "today" not in line.locator(".yearline-drawing").text_content()
    line.get_by_role("button", name=re.compile("To today")).click()
    assert "today," in line.locator(".yearline-drawing").text_content()
    line.get_by_role("button", name="Season 2025–26").click()
    walks.first.click()
    page.locator("h1", has_text="As of 18 September 2025").wait_for()
    page.get_by_role("button", name="Back to today").click()
    page.locator("h1", has_text=re.compile("^(One|Two|No) place")).wait_for()


@pytest.mark.parametrize("place", ["pressure", "treat"])
@pytest.mark.parametrize("size", ["laptop", "phone"])
def test_no_words_are_under_16_px_or_cut_off(visit, service, place, size):
    page = visit(size).go(service.address, place)
    assert page.evaluate(SMALL) == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert page.evaluate(CUT) == []
