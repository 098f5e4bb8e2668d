"""The run sheet as a reader of PDF finds it: every run, every load, every caution, nothing made up."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from io import BytesIO

import geopandas as gpd
import pandas as pd
import pytest
from pypdf import PdfReader
from scene_factory import make_loads, make_scene

from gridmap.errors import InputRefused
from gridmap.treatment import Label, Sprayer
from maps.sheet import ZoneFacts, run_sheet, standing_cautions

ZONE = ZoneFacts(
    zone="4f2a9c10", worked_out=date(2025, 11, 14), area_ha=0.42, changed_by_hand="run 3 shortened by 2 trees"
)
LABEL = Label(
    product="INVENTED PRODUCT, not for use",
    rate=500,
    rate_unit="mL",
    rate_basis="per_100_l",
    typed_on=date(2025, 11, 3),
)


def read(path) -> tuple[list[str], PdfReader]:
    reader = PdfReader(BytesIO(path.read_bytes()))
    return [re.sub(r"\s+", " ", page.extract_text()) for page in reader.pages], reader


@pytest.fixture
def sixteen(scene):
    return replace(scene, runs=scene.runs.iloc[:16])


def test_sheet_holds_what_the_sprayer_needs(sixteen, tmp_path):
    path = run_sheet(
        sixteen,
        tmp_path / "run-sheet.pdf",
        zone=ZONE,
        loads=make_loads(sixteen),
        label=LABEL,
        sprayer=Sprayer(tank_l=200),
        cautions=["The house is 64 m from run 9."],
    )
    pages, reader = read(path)
    assert len(pages) == 1
    text = pages[0]
    # ISO 216: A4 is 210 mm by 297 mm; a point is 25.4/72 mm.
    assert [float(side) * 25.4 / 72 for side in reader.pages[0].mediabox[2:]] == pytest.approx([210, 297], abs=0.2)
    for words in (
        "Run sheet",
        "Layout Grove, worked out 14 November 2025, 0.42 ha",
        f"{sixteen.runs['trees'].sum()} trees",
        "2 loads",
        "INVENTED DEMO GROVE. Not for use.",
        "Runs, in the order of the loads",
        "Tank loads, 200 L",
        "1 full",
        "2 part",
        "1 L",
        "432 mL",
        "Product at 500 mL per 100 L, typed in by the grower on 3 November 2025.",
        "Refill in run 7 after tree 2.",
        "The house is 64 m from run 9.",
        "Write down on the day",
        "Wind km/h",
        "Humidity %",
        "Signature",
        "page 1 of 1",
        "Zone 4f2a9c10, changed by hand: run 3 shortened by 2 trees",
    ):
        assert words in text, words
    for caution in standing_cautions(LABEL):
        assert caution in text
    for run in sixteen.runs.itertuples():
        assert f"{run.run} {run.block} {run.row} {run.from_position} {run.to_position} both {run.trees}" in text


def test_what_is_missing_is_left_blank_and_never_assumed(sixteen, tmp_path):
    pages, _ = read(run_sheet(replace(sixteen, invented=False), tmp_path / "s.pdf", zone=ZoneFacts(zone="z1")))
    text = pages[0]
    assert "No rate was typed, so no product is worked out." in text
    assert "what the tank holds was not typed" in text
    assert "INVENTED" not in text
    assert "Zone z1, as computed" in text
    assert not re.search(r"\d (mL|g|kg)\b", text)


def test_loads_without_product_have_a_line_for_the_pen(sixteen, tmp_path):
    pages, _ = read(run_sheet(sixteen, tmp_path / "s.pdf", zone=ZONE, loads=make_loads(sixteen, product=False)))
    assert "1 full 200.0 L mix" in pages[0]
    assert "432 mL" not in pages[0]


def test_a_load_that_ends_with_its_run_says_so(sixteen, tmp_path):
    loads = make_loads(sixteen)
    seventh = sixteen.runs.iloc[6]
    loads.loc[0, "to_tree"] = f"{seventh['block']}-{seventh['row']}-{seventh['to_position']}"
    pages, _ = read(run_sheet(sixteen, tmp_path / "s.pdf", zone=ZONE, loads=loads, label=LABEL))
    assert "Refill at the end of run 7." in pages[0]


def test_a_tank_that_runs_dry_inside_a_tree_says_so(sixteen, tmp_path):
    loads = make_loads(sixteen)
    loads.loc[1, "from_tree"] = loads.loc[0, "to_tree"]
    pages, _ = read(run_sheet(sixteen, tmp_path / "s.pdf", zone=ZONE, loads=loads, label=LABEL))
    assert "Refill in run 7 at tree 2, then go on with that tree." in pages[0]


def test_thirty_runs_take_a_second_page_that_repeats_the_head(scene, tmp_path):
    runs = pd.concat([scene.runs, scene.runs.iloc[:12]], ignore_index=True)
    runs["run"] = range(1, 31)
    many = replace(scene, runs=gpd.GeoDataFrame(runs, crs=scene.runs.crs))
    pages, _ = read(
        run_sheet(many, tmp_path / "s.pdf", zone=ZONE, loads=make_loads(many), label=LABEL, sprayer=Sprayer(tank_l=200))
    )
    assert len(pages) == 2
    for number, page in enumerate(pages, 1):
        assert "Run sheet" in page
        assert "INVENTED DEMO GROVE. Not for use." in page
        assert f"page {number} of 2" in page
    text = " ".join(pages)
    for run in many.runs.itertuples():
        assert f"{run.run} {run.block} {run.row} {run.from_position} {run.to_position} both {run.trees}" in text


def test_names_are_never_read_as_typesetting(hostile_scene, tmp_path):
    label = Label(product='#panic("x") _it_ \\', rate=1, rate_unit="L", rate_basis="per_ha")
    path = run_sheet(
        hostile_scene,
        tmp_path / "s.pdf",
        zone=ZoneFacts(zone="#sys.inputs", changed_by_hand='$ #eval("2") $'),
        label=label,
        cautions=['#read("secret")'],
    )
    pages, _ = read(path)
    text = " ".join(pages)
    for words in (
        '<script>alert("grove")</script>',
        "<img src=x onerror=alert(1)>",
        '#eval("1+1")',
        "*bold*",
        '#panic("x")',
        '#read("secret")',
        "#sys.inputs",
    ):
        assert words.replace(" ", "") in text.replace(" ", ""), words


def test_letters_of_the_trade_are_there(tmp_path):
    # A letter without a glyph comes back from the PDF as U+FFFD or nothing.
    scene = make_scene(
        grove="Olivar Ñandú, oliveto perché",
        names={"Lower Gate": "Ελιά Άνω", "Old Well": "Çeşme ığ", "Ridge": "بستان الزيتون"},
    )
    pages, _ = read(run_sheet(scene, tmp_path / "s.pdf", zone=ZONE))
    text = " ".join(pages)
    for words in ("Ελιά Άνω", "Çeşme ığ", "perché", "Ñandú"):
        assert words in text
    assert re.search(r"[\u0600-\u06FF\uFB50-\uFDFF\uFE70-\uFEFF]{4}", text)
    assert "\ufffd" not in text


def test_no_pictographs(sixteen, tmp_path):
    pages, _ = read(run_sheet(sixteen, tmp_path / "s.pdf", zone=ZONE, loads=make_loads(sixteen), label=LABEL))
    # Unicode 15.1 blocks Dingbats, Miscellaneous Symbols and the pictograph planes.
    assert not re.search(r"[\u2600-\u27BF\U0001F000-\U0001FAFF]", " ".join(pages))


def test_same_input_same_bytes(sixteen, tmp_path):
    one = run_sheet(sixteen, tmp_path / "a.pdf", zone=ZONE).read_bytes()
    assert run_sheet(sixteen, tmp_path / "b.pdf", zone=ZONE).read_bytes() == one


def test_very_long_names_do_not_push_the_sheet_apart(tmp_path):
    long = "The block behind the old packing shed that grandfather planted in the dry year " * 2
    many = make_scene(grove="Grove " * 60, names={"Lower Gate": long})
    pages, _ = read(run_sheet(replace(many, runs=many.runs.iloc[:6]), tmp_path / "s.pdf", zone=ZONE))
    assert "Signature" in pages[-1]
    assert len(pages) <= 2


def test_refusals(scene, tmp_path):
    with pytest.raises(InputRefused, match="There are no runs to print"):
        run_sheet(replace(scene, runs=scene.runs.iloc[:0]), tmp_path / "s.pdf", zone=ZONE)
    with pytest.raises(InputRefused, match="is no folder"):
        run_sheet(scene, tmp_path / "none" / "s.pdf", zone=ZONE)
    lost = make_loads(scene).assign(to_tree="felled")
    with pytest.raises(InputRefused, match="Load 1 ends at tree felled: there is no such tree in the grove"):
        run_sheet(scene, tmp_path / "s.pdf", zone=ZONE, loads=lost)
    with pytest.raises(InputRefused, match="Loads has no column 'covers'"):
        run_sheet(scene, tmp_path / "s.pdf", zone=ZONE, loads=make_loads(scene).drop(columns="covers"))
