"""The take-away map in words: head, legend, tables. Everything that a user wrote is escaped here."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import fields
from html import escape
from typing import Final

from maps import furniture, hatches, points, svg
from maps.legend import draw_legend
from maps.picture import block_lines, hot_spot_lines
from maps.scene import Scene
from maps.style import DARK, KNOWLEDGE_WORDS, LIGHT, SUN, Palette
from maps.words import chance_words, finding, finding_detail, limits_words, number_words, short_number

_TREE_HEADS: Final = (
    "Block",
    "Row",
    "Tree",
    "Count a beat, 80 % limits",
    "Chance over",
    "How well known",
    "Found in this walk",
)


def colours_css() -> str:
    """Write the palettes as custom properties: light, dark, and black on white where more contrast is asked for."""
    return (
        f":root{{color-scheme:light dark;{_properties(LIGHT, '#FFFFFF')}}}"
        f"@media (prefers-color-scheme: dark){{:root{{{_properties(DARK, DARK.paper)}}}}}"
        f"@media (prefers-contrast: more){{:root{{color-scheme:light;{_properties(SUN, '#FFFFFF')}}}}}"
    )


def _properties(palette: Palette, on_accent: str) -> str:
    named = {field.name.replace("_", "-"): getattr(palette, field.name) for field in fields(palette)}
    return "".join(f"--{name}:{colour};" for name, colour in {**named, "on-accent": on_accent}.items())


def patterns_svg() -> str:
    """Write the hatches and the marks of points once for the map and the legend."""
    marks = "".join(
        svg.element("symbol", svg.element("path", d=line, class_=f"mark {kind}-mark"), id=f"mark-{kind}",
                    overflow="visible")
        for kind, line in points.MARKS.items()
    )
    inside = svg.element("defs", hatches.patterns(LIGHT), marks)
    return f'<svg class="patterns" aria-hidden="true">{inside}</svg>'


def head(scene: Scene) -> str:
    """Write the title, which is the finding, and on what it rests."""
    invented = (
        '<p class="invented">Invented demo grove. Every name and number is made up; not for use.</p>'
        if scene.invented
        else ""
    )
    return (
        f'<header class="page-head"><p class="quiet">{escape(scene.grove)}</p><h1>{escape(finding(scene))}</h1>'
        f"<p>{escape(finding_detail(scene))}</p>{invented}</header>"
    )


def sheet(scene: Scene) -> str:
    """Write the legend, the tables and the form that finds a tree."""
    own = "" if scene.threshold is None else f"{short_number(scene.threshold)} {scene.counted} a beat"
    told = f"Your action threshold: {own}. It is yours; none is published for this pest."
    dots = "White dots are the trees that were beaten. Hatching is doubt: the more lines, the less is known."
    foot = scene.software + (f". {scene.attribution}" if scene.attribution else "")
    parts = [
        '<main class="sheet">', _north(scene), '<div class="legend">',
        draw_legend(scene, width_px=420.0, patterns=False), "</div><p>",
        escape(told if own else "No threshold was given, so no chance is worked out."),
        f"</p><p class=\"quiet\">{dots}</p>",
        _blocks(scene), _hot_spots(scene), _runs(scene), _keep_outs(scene), _find(scene), _trees(scene),
        f"<footer><p>{escape(foot)}</p></footer></main>",
    ]  # fmt: skip
    return "".join(parts)


def _north(scene: Scene) -> str:
    """Draw the arrows that the page moves onto the map."""
    arrows = furniture.north_arrow(84, 46, LIGHT, size=16)
    if scene.uphill_bearing_deg is not None:
        arrows = furniture.uphill_arrow(32, 46, scene.uphill_bearing_deg, LIGHT, size=16) + arrows
    arrows = arrows.replace(f'fill="{LIGHT.ink}"', 'fill="currentColor"').replace(
        f'stroke="{LIGHT.ink}"', 'stroke="currentColor"'
    )
    drawn = svg.element(
        "svg", arrows, width=104, height=52, role="img", aria_label="North is up; the other arrow points uphill"
    )
    return f'<div class="north" id="north">{drawn}</div>'


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, words: Sequence[int] = (), name: str = "") -> str:
    """Write a table; ``words`` are the columns that hold words and not numbers.

    Examples
    --------
    >>> "<td>&lt;b&gt;</td>" in table(["Block"], [["<b>"]], name="blocks")
    True
    """
    kind = [' class="words"' if index in words else "" for index in range(len(heads))]
    top = "".join(f'<th scope="col"{kind[index]}>{escape(text)}</th>' for index, text in enumerate(heads))
    # On a narrow screen the short tables turn into lists of head and value; the long one would grow by half.
    told = [""] * len(heads) if name else [f' data-head="{escape(text)}"' for text in heads]
    lines = (
        "<tr>"
        + "".join(f"<td{kind[index]}{told[index]}>{escape(text)}</td>" for index, text in enumerate(row))
        + "</tr>"
        for row in rows
    )
    mark = f' id="{name}"' if name else ' class="told"'
    return (
        f'<div class="scroll"><table{mark}><thead><tr>{top}</tr></thead><tbody>{"".join(lines)}</tbody></table></div>'
    )


def _blocks(scene: Scene) -> str:
    lines = block_lines(scene)
    if not lines:
        return ""
    heads = ["Block", "Beaten", "Count a beat, 80 % limits", "Trees over, 80 % limits"]
    return "<h2>Blocks</h2>" + table(
        heads, ([line["block"], line["beaten"], line["count"], line["over"]] for line in lines)
    )


def _hot_spots(scene: Scene) -> str:
    lines = hot_spot_lines(scene)
    if not lines:
        return ""
    rows = ([line["rank"], line["where"], line["trees"], line["count"]] for line in lines)
    return "<h2>Hot spots</h2>" + table(["Rank", "Where", "Trees", "Count a beat"], rows, words=[1])


def _runs(scene: Scene) -> str:
    if scene.runs.empty:
        return ""
    rows = (
        [str(run["run"]), str(run["block"]), str(run["row"]), f"{run['from_position']} to {run['to_position']}",
         str(run["trees"]), number_words(run["length_m"]), number_words(run["litres"], 1)]
        for run in scene.runs.drop(columns="geometry").to_dict("records")
    )  # fmt: skip
    caution = "<p>The label and permit are the law; local codes and a licensed adviser come before this map.</p>"
    return (
        "<h2>Runs</h2>"
        + caution
        + table(["Run", "Block", "Row", "Trees", "Number", "Metres", "Litres"], rows, words=[1])
    )


def _keep_outs(scene: Scene) -> str:
    if scene.keep_outs.empty:
        return ""
    lines = scene.keep_outs.drop(columns="geometry").to_dict("records")
    rows = ([_word(line["name"]), _word(line["kind"]), short_number(line["setback_m"])] for line in lines)
    return "<h2>Keep-outs</h2>" + table(["Name", "Kind", "Setback, m"], rows, words=[1])


def _word(value: object) -> str:
    return value if isinstance(value, str) else ""


def _find(scene: Scene) -> str:
    options = "".join(f'<option value="{escape(name)}">{escape(name)}</option>' for name in scene.blocks["block"])
    return (
        f'<h2>Show a tree</h2><form id="find"><label>Block <select name="block">{options}</select></label>'
        '<label>Row <input name="row" inputmode="numeric" required></label>'
        '<label>Tree <input name="tree" inputmode="numeric" required></label><button>Show</button></form>'
        '<p id="said" role="status"></p>'
    )


def _trees(scene: Scene) -> str:
    found = _found(scene)
    rows = []
    for tree in scene.tree_pressure().drop(columns="geometry").to_dict("records"):
        known = tree["knowledge"] != "unknown"
        over = tree["chance_over"]
        limits = limits_words(tree["median_per_beat"], tree["low_80"], tree["high_80"]) if known else "too few to say"
        chance = chance_words(over) if known and math.isfinite(over) else ""
        place = [str(tree[name]) for name in ("block", "row", "position")]
        rows.append([*place, limits, chance, KNOWLEDGE_WORDS[tree["knowledge"]], found.get(tree["tree"], "")])
    made = table(_TREE_HEADS, rows, words=[4, 5, 6], name="trees")
    return f"<details><summary>All trees as a table</summary>{made}</details>"


def _found(scene: Scene) -> dict[str, str]:
    """Say what was found on each beaten tree."""
    words: dict[str, list[str]] = {}
    for count in scene.counts.to_dict("records"):
        nymphs, adults, taps = (number_words(count[name]) for name in ("nymphs", "adults", "taps"))
        text = f"{nymphs} nymphs, {adults} adults in {taps} taps"
        words.setdefault(count["tree"], []).append(text + (", suspected" if count["reason"] == "suspected" else ""))
    return {tree: "; ".join(texts) for tree, texts in words.items()}
