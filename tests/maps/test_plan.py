"""The plan: well-formed, the same every time, true to place, with doubt drawn and names kept as text."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
import shapely
from shapely.geometry import Point, box

from gridmap.errors import CRSRefused, InputRefused
from maps.furniture import round_length_m
from maps.labels import Placer, text_width_px
from maps.look import PRESSURE_LOOK, PRINT_LOOK
from maps.plan import draw_plan
from maps.scene import Scene
from maps.style import PRINT, pressure_colour
from maps.svg import element
from maps.view import Margins, View, fit

SVG = "{http://www.w3.org/2000/svg}"


def texts(svg: str) -> list[str]:
    return ["".join(node.itertext()) for node in ET.fromstring(svg).iter(f"{SVG}text")]


def test_plan_is_well_formed_and_the_same_every_time(scene):
    first = draw_plan(scene, width_px=900, height_px=700)
    assert ET.fromstring(first.svg).tag == f"{SVG}svg"
    assert draw_plan(scene, width_px=900, height_px=700).svg == first.svg


@pytest.mark.parametrize("look", [PRESSURE_LOOK, PRINT_LOOK])
def test_names_stay_text(hostile_scene, look):
    plan = draw_plan(hostile_scene, width_px=1200, height_px=900, look=look)
    root = ET.fromstring(plan.svg)
    names = {node.tag.removeprefix(SVG) for node in root.iter()}
    assert names <= {"svg", "title", "defs", "pattern", "line", "circle", "path", "rect", "text", "tspan"}
    assert not any(name.startswith("on") for node in root.iter() for name in node.attrib)
    shown = texts(plan.svg)
    for name in hostile_scene.blocks["block"]:
        assert name in shown or name in plan.left_out


@pytest.mark.parametrize("wild", ["</text><script>", "a\x00b\x1f", "\ud800", '" onload="x'])
def test_escaping_of_text_and_attributes(wild):
    node = ET.fromstring(element("text", text=wild, id=wild))
    assert node.tag == "text"
    assert len(node) == 0
    assert list(node.attrib) == ["id"]


def test_unknown_and_doubtful_trees_are_hatched_and_well_known_ones_not(scene):
    svg = draw_plan(scene, width_px=900, height_px=700).svg
    for word in ("doubtful", "unknown"):
        data = re.search(rf'<path d="([^"]+)" fill="url\(#{word}\)"', svg)
        assert data is not None
        assert data.group(1).count("Z") == (scene.tree_pressure()["knowledge"] == word).sum()
    sure = replace(scene, pressure=scene.pressure.assign(knowledge="well_known"))
    assert "url(#unknown)" not in draw_plan(sure, width_px=900, height_px=700).svg


def test_unknown_trees_carry_no_colour(scene):
    blind = replace(scene, pressure=scene.pressure.assign(knowledge="unknown"))
    svg = draw_plan(blind, width_px=900, height_px=700).svg
    top = 12.0
    assert not any(pressure_colour(count, top) in svg for count in scene.pressure["mean_per_beat"])


def test_a_tree_that_the_model_was_not_asked_about_is_unknown(scene):
    part = replace(scene, pressure=scene.pressure.iloc[:10])
    assert (part.tree_pressure()["knowledge"].iloc[10:] == "unknown").all()


def test_trees_that_are_gone_are_not_drawn(scene):
    trees = scene.trees.assign(status=["gone"] * 5 + ["alive"] * (len(scene.trees) - 5))
    assert len(replace(scene, trees=trees).tree_pressure()) == len(scene.trees) - 5


def test_every_beaten_tree_has_its_dot(scene):
    svg = draw_plan(scene, width_px=900, height_px=700).svg
    assert svg.count('fill="#FFFFFF" stroke="#141A16"') == len(scene.beaten_trees()) > 0


def test_print_is_black_and_white(scene):
    svg = draw_plan(scene, width_px=900, height_px=700, look=PRINT_LOOK).svg
    assert set(re.findall(r"#[0-9A-Fa-f]{6}", svg)) == {PRINT.ink, PRINT.paper}


def test_one_scale_and_north_up(scene):
    # Conservation: distances on the drawing over distances on the ground are one number, in any direction.
    view = fit(scene, width_px=900, height_px=700, margins=Margins(top=50, left=30, bottom=40, right=60))
    (x0, y0), (x1, y1), (x2, y2) = view.project(0, 0), view.project(100, 0), view.project(0, 100)
    assert (x1 - x0, y1 - y0) == pytest.approx((100 * view.px_per_m, 0))
    assert (x2 - x0, y2 - y0) == pytest.approx((0, -100 * view.px_per_m))
    shape = view.shape(scene.blocks.geometry.iloc[0])
    assert shape.area == pytest.approx(scene.blocks.geometry.iloc[0].area * view.px_per_m**2)
    assert box(0, 0, 900, 700).contains(shape)


def test_names_lie_over_no_outline_and_not_on_each_other(scene):
    svg = draw_plan(scene, width_px=900, height_px=700).svg
    view = draw_plan(scene, width_px=900, height_px=700).view
    boxes = []
    for node in ET.fromstring(svg).iter(f"{SVG}text"):
        words = "".join(node.itertext())
        if words in set(scene.blocks["block"]) and node.get("stroke") is None:
            half = text_width_px(words, 16, 700) / 2
            x, y = float(node.get("x")), float(node.get("y"))
            boxes.append(box(x - half, y - 14, x + half, y + 3))
    assert len(boxes) == len(scene.blocks)
    for index, one in enumerate(boxes):
        assert not any(one.intersects(view.shape(outline)) for outline in scene.blocks.geometry)
        assert not any(one.intersects(other) for other in boxes[index + 1 :])


def test_a_name_without_room_is_left_out_not_made_smaller(scene):
    plan = draw_plan(scene, width_px=200, height_px=150)
    assert plan.left_out
    sizes = {float(node.get("font-size")) for node in ET.fromstring(plan.svg).iter(f"{SVG}text")}
    assert min(sizes) >= 15


def test_placer_gives_none_when_nothing_is_free():
    view = View(width_px=50, height_px=50, px_per_m=1, west_m=0, north_m=0)
    assert Placer(view, [box(0, 0, 50, 50)]).beside(box(20, 20, 30, 30), 10, 10, near=Point(25, 25)) is None


@pytest.mark.parametrize(("most", "length"), [(1.0, 1.0), (4.99, 2.0), (5.0, 5.0), (999.0, 500.0), (1000.0, 1000.0)])
def test_scale_bar_is_1_2_5(most, length):
    assert round_length_m(most) == pytest.approx(length)


def test_scene_refuses_what_can_not_be_drawn(scene):
    with pytest.raises(InputRefused, match="Trees has no column 'position'"):
        replace(scene, trees=scene.trees.drop(columns="position"))
    with pytest.raises(
        InputRefused, match=r"Knowledge holds \['sure'\]: it must be one of well_known, doubtful, unknown"
    ):
        replace(scene, pressure=scene.pressure.assign(knowledge="sure"))
    with pytest.raises(InputRefused, match=r"Pressure names tree .* twice: each tree has one line"):
        replace(scene, pressure=scene.pressure.iloc[[0, 1, 1]])
    with pytest.raises(CRSRefused, match="no projected CRS"):
        replace(scene, blocks=scene.blocks.to_crs(4326))
    with pytest.raises(CRSRefused, match="Trees to draw are in EPSG:4326: the blocks are in EPSG:7855"):
        replace(scene, trees=scene.trees.to_crs(4326))
    empty = Scene(grove="Bare", blocks=scene.blocks.iloc[:0], trees=scene.trees.iloc[:0])
    with pytest.raises(InputRefused, match="Bare has no block and no tree"):
        draw_plan(empty, width_px=100, height_px=100)


def test_a_grove_without_walk_or_keep_outs_is_drawn(scene):
    bare = Scene(grove="Bare", blocks=scene.blocks, trees=scene.trees)
    for look in (PRESSURE_LOOK, PRINT_LOOK):
        assert ET.fromstring(draw_plan(bare, width_px=600, height_px=500, look=look).svg) is not None
    one = Scene(grove="One", blocks=scene.blocks.iloc[:1], trees=scene.trees.iloc[:1])
    assert 'fill="url(#unknown)"' in draw_plan(one, width_px=600, height_px=500).svg


def test_keep_outs_and_setbacks_are_drawn_where_they_are(scene):
    plan = draw_plan(scene, width_px=900, height_px=700)
    data = re.search(r'<path d="([^"]+)" fill="url\(#setback\)"', plan.svg).group(1)
    assert data.count("Z") == len(scene.keep_outs)
    numbers = [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", data)]
    west = min(numbers[0::2])
    expected = min(
        plan.view.shape(shape.buffer(setback)).bounds[0]
        for shape, setback in zip(scene.keep_outs.geometry, scene.keep_outs["setback_m"], strict=True)
    )
    # A hundredth of a pixel is written; the buffer is the same one.
    assert west == pytest.approx(expected, abs=0.01)
    assert shapely.total_bounds(list(scene.keep_outs.geometry)) is not None


@pytest.mark.parametrize("look", [PRESSURE_LOOK, PRINT_LOOK])
def test_a_setback_that_cuts_a_block_is_seen_in_it(scene, look):
    # Whoever sprays must see the edge among the trees: it is drawn after paper, cells and runs.
    near = scene.keep_outs.assign(setback_m=60.0)
    svg = draw_plan(replace(scene, keep_outs=near), width_px=900, height_px=700, look=look).svg
    edge = svg.index("stroke-dasharray")
    assert edge > svg.index('stroke-linejoin="round"')
    if look is PRESSURE_LOOK:
        assert edge > svg.rindex(look.palette.accent)


def test_beaten_trees_show_over_runs(scene):
    svg = draw_plan(scene, width_px=900, height_px=700).svg
    assert svg.index('fill="#FFFFFF" stroke="#141A16"') > svg.rindex(PRESSURE_LOOK.palette.accent)
