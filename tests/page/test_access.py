"""What everybody can use: axe-core's rules for WCAG 2.2 A and AA, the keyboard alone, 320 px, no movement.

axe-core 4.14 (Deque) decides what is a violation. WCAG 2.2 (W3C, 2023): 1.4.10 Reflow asks that 320 CSS px be enough
without scrolling in two directions, 2.5.8 Target Size (Minimum) for 24 CSS px; 2.4.7 that the focus is seen.
"""

from __future__ import annotations

import pytest

PLACES = ("ground", "pressure", "treat")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
# axe-core measures with elements that it styles in place, which the page's own policy would refuse.
LOOK = {"bypass_csp": True}
RUN = """async (tags) => {
  const how = { runOnly: { type: "tag", values: tags }, resultTypes: ["violations"] };
  const found = await axe.run(document, how);
  const told = (node) => `${node.target.join(" ")} ${node.html.slice(0, 100)}`;
  return found.violations.map((one) => `${one.id}: ${one.help} (${one.nodes.slice(0, 3).map(told).join("; ")})`);
}"""


@pytest.fixture(scope="session")
def axe(tools):
    """Return what looks a page over: its violations in words."""
    source = (tools / "node_modules" / "axe-core" / "axe.min.js").read_text("utf-8")

    def look(page):
        page.evaluate(source)
        return page.evaluate(RUN, TAGS)

    return look


def enter(one, place):
    """Go to a place by its door and wait until its sheet stands."""
    one.page.evaluate(f"location.hash = '{place}'")
    one.page.locator(f"body[data-place={place}] .sheet-body[data-place={place}] h1").first.wait_for(timeout=30_000)
    one.page.wait_for_load_state("networkidle")
    one.stand()


@pytest.mark.parametrize("light", ["day", "night", "sun"])
@pytest.mark.parametrize("size", ["laptop", "phone"])
def test_no_rule_is_broken_in_any_place(visit, service, axe, size, light):
    one = visit(size, light=light, **LOOK)
    page = one.go(service.address, "pressure")
    wrong = {}
    for place in PLACES:
        enter(one, place)
        wrong[place] = axe(page)
        one.picture(place)
    assert wrong == {place: [] for place in PLACES}


def test_no_rule_is_broken_in_what_opens_over_the_page(laptop, axe):
    page = laptop("pressure", **LOOK)
    page.get_by_role("button", name="Map as table").click()
    page.locator("dialog[open]").wait_for()
    table = axe(page)
    page.keyboard.press("Escape")
    page.locator(".plan-map").focus()
    page.keyboard.press("Home")
    page.keyboard.press("Enter")
    page.locator("dialog[open] h2", has_text="row").wait_for()
    assert (table, axe(page)) == ([], [])


def test_no_rule_is_broken_before_anything_is_drawn(visit, empty, axe):
    one = visit("phone", **LOOK)
    page = one.go(empty.address)
    assert axe(page) == []
    one.picture()


def test_the_keyboard_alone_reaches_everything(laptop):
    page = laptop("pressure")
    page.evaluate("document.activeElement.blur()")
    reached, rings = [], []
    look = """() => {
      const here = document.activeElement;
      const ringed = (one) => {
        if (!one) return false;
        const { outlineStyle, outlineWidth, boxShadow } = getComputedStyle(one);
        return (outlineStyle !== "none" && parseFloat(outlineWidth) >= 2) || boxShadow !== "none";
      };
      // A radio that is not drawn shows its ring on the words beside it
      const ring = [here, here.nextElementSibling, here.closest("label")].some(ringed);
      if (here === document.body) return ["", true];
      return [here.getAttribute("aria-label") || here.innerText || here.id || here.tagName, ring];
    }"""
    for _ in range(90):
        page.keyboard.press("Tab")
        name, ring = page.evaluate(look)
        if not name or "Skip to the sheet" in reached[1:]:
            break
        reached.append(name.strip())
        rings.append((name.strip()[:40], ring))
    assert reached[0] == "Skip to the sheet"
    for wanted in ("Ground", "Treat", "Map of the grove", "Map as table", "Hill profile:", "threshold", "Year line"):
        assert any(wanted in name for name in reached), (wanted, reached)
    assert [name for name, ring in rings if not ring] == []
    # The first door of the keyboard leads past the instruments
    page.evaluate("document.activeElement.blur()")
    page.locator("#skip").focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "sheet"


@pytest.mark.parametrize("place", PLACES)
def test_320_pixels_are_enough(visit, service, place):
    # 1280 px at 400 % are 320 CSS px (WCAG 2.2, understanding 1.4.10); 640 px are 1280 at 200 % (1.4.4)
    one = visit("phone", viewport={"width": 320, "height": 640})
    page = one.go(service.address, place)
    page.wait_for_load_state("networkidle")
    for width in (320, 640):
        page.set_viewport_size({"width": width, "height": 640})
        wide = page.evaluate("""() => {
          const free = ".scroll, .yearline-scroll, #yearline, #profile, #plan, dialog, .unseen";
          const over = (one) => one.getBoundingClientRect().right > innerWidth + 1 && one.checkVisibility()
            && !one.closest(free);
          const those = [...document.querySelectorAll("main *")].filter(over).slice(0, 5);
          const root = document.documentElement;
          return [root.scrollWidth - innerWidth, those.map((one) => one.outerHTML.slice(0, 120))];
        }""")
        assert wide[0] <= 0, (width, wide)
        assert wide[1] == [], (width, wide)
    one.picture(place)


@pytest.mark.parametrize("size", ["laptop", "phone"])
def test_what_is_touched_is_large_enough(visit, service, size):
    one = visit(size)
    page = one.go(service.address, "pressure")
    small = page.evaluate("""() => [...document.querySelectorAll("button, a, input, select, summary")].filter((one) => {
      const box = (one.type === "radio" ? one.closest("label") : one).getBoundingClientRect();
      const inline = getComputedStyle(one).display === "inline" || one.matches(".ask, .name");
      return box.width > 1 && box.height > 1 && !inline && (box.height < 24 || box.width < 24);
    }).map((one) => `${one.tagName} ${one.textContent || one.id}`)""")
    assert small == []


def test_nothing_moves_when_nothing_should(visit, service):
    one = visit()
    page = one.go(service.address, "pressure")
    moving = """() => [document.getAnimations().length, [...document.querySelectorAll("*")].filter((one) => {
      const { animationName: name, animationDuration, transitionDuration } = getComputedStyle(one);
      return parseFloat(transitionDuration) > 0.01 || (name !== "none" && parseFloat(animationDuration) > 0.01);
    }).length]"""
    assert page.evaluate(moving) == [0, 0]
