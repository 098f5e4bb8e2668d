"""Every change is written down, before and after, and can be taken back while nothing stands on it."""

from __future__ import annotations

import json
import sqlite3

import pandas as pd
import pytest
import shapely

from api.store import GroveFile
from api.store.geometry import to_geopackage
from api.store.tables import BLOCK
from gridmap.errors import InputRefused

BOTH_STORES = True


def test_an_act_groups_its_rows_and_says_who_when_what(new_grove, block_frame, tree_frame):
    store = new_grove()
    before = pd.Timestamp.now("UTC").floor("ms")
    with store.act("import outlines", who="Ann"):
        store.add_blocks(block_frame())
        store.add_places_and_plants(tree_frame)
        assert len(store.trees()) == 24
    newest = store.acts().iloc[0]
    assert (newest["who"], newest["what"], newest["rows"]) == ("Ann", "import outlines", 1 + 24 + 24)
    assert before <= newest["at"] <= pd.Timestamp.now("UTC")
    changes = store.history(None)
    assert changes[changes["act"] == newest["act"]]["table"].value_counts().to_dict() == {
        "place": 24,
        "plant": 24,
        "block": 1,
    }


def test_an_act_that_fails_leaves_nothing(new_grove, block_frame):
    store = new_grove()

    def fail_halfway() -> None:
        with store.act("import outlines"):
            store.add_blocks(block_frame())
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail_halfway()
    assert len(store.blocks()) == 0
    assert store.acts()["what"].tolist() == ["new grove"]


def test_before_and_after_are_whole_rows(grove):
    block = grove.blocks().iloc[0]
    with grove.act("redraw", who="Ann") as act:
        act.update(BLOCK, block["uuid"], {"geom": shapely.box(500_000, 5_200_000, 500_060, 5_200_050), "headland_m": 4})
    change = grove.history(1).iloc[0]
    before, after = json.loads(change["before"]), json.loads(change["after"])
    assert shapely.from_wkb(before["geom"]).equals(block.geometry)
    assert shapely.from_wkb(after["geom"]).area == 60 * 50
    assert (before["headland_m"], after["headland_m"]) == (None, 4.0)
    assert (change["table"], change["row"], change["who"]) == ("block", block["uuid"], "Ann")
    assert {name for name in before if before[name] != after[name]} == {"geom", "headland_m"}


def test_undo_and_undo_of_the_undo(grove):
    trees = grove.trees()
    added = grove.acts()["act"][1]
    grove.undo(grove.acts()["act"][0])
    assert len(grove.walks()) == 0
    grove.undo(added)
    assert len(grove.places()) == 0
    assert grove.acts()["what"][0] == "undo: add trees"
    grove.undo(grove.acts()["act"][0], who="Bea")
    pd.testing.assert_frame_equal(grove.trees(), trees)
    assert grove.acts()["who"][0] == "Bea"


def test_undo_puts_back_a_changed_row(grove):
    blocks = grove.blocks()
    with grove.act("redraw") as act:
        act.update(BLOCK, blocks["uuid"][0], {"geom": shapely.box(0, 0, 1, 1), "row_spacing_m": 7})
    grove.undo(grove.acts()["act"][0])
    pd.testing.assert_frame_equal(grove.blocks(), blocks)


def test_acts_are_taken_back_one_after_the_other(grove):
    for number in (4, 5, 6):
        grove.set_setting("threshold", {"per_beat": number}, what=f"type {number}")
    typed = [act for act in grove.acts(None).to_dict("records") if str(act["what"]).startswith("type")]
    with pytest.raises(InputRefused, match=r"'type 5' can't be undone: 'type 6' of .* changed the same entries later"):
        grove.undo(typed[1]["act"])
    for act, left in zip(typed, (5, 4, None), strict=True):
        grove.undo(act["act"])
        assert (grove.setting("threshold") or {}).get("per_beat") == left


def test_what_was_built_upon_is_not_undone(grove):
    blocks = grove.acts().set_index("what")["act"]["add blocks"]
    with pytest.raises(InputRefused, match="'add blocks' can't be undone: other entries were made on top of it"):
        grove.undo(blocks)
    grove.set_setting("threshold", {"over": 1.0})
    first = grove.acts()["act"][0]
    grove.set_setting("threshold", {"over": 2.0})
    with pytest.raises(
        InputRefused, match=r"'set threshold' can't be undone: 'set threshold' of .* changed the same entries"
    ):
        grove.undo(first)
    with pytest.raises(InputRefused, match="There is no act nothing to undo"):
        grove.undo("nothing")
    assert len(grove.trees()) == 24


def test_an_edit_by_another_program_is_noticed_and_shown_as_a_change(grove, other_program, open_again):
    # Plain SQL, as a desktop GIS that edits attributes: it knows nothing of gridmap
    with other_program(grove) as other:
        other.execute("UPDATE block SET row_spacing_m = 7.5")
        other.execute("UPDATE plant SET status = 'gone' WHERE id = 1")
        other.execute("UPDATE block SET name = 'Far East'")
    with open_again(grove) as store:
        changes = store.history(2)
        assert changes["who"].tolist() == ["another program"] * 2
        assert set(changes["table"]) == {"block", "plant"}
        block = changes[changes["table"] == "block"].iloc[0]
        before, after = json.loads(block["before"]), json.loads(block["after"])
        assert {name: after[name] for name in before if before[name] != after[name]} == {
            "name": "Far East",
            "row_spacing_m": 7.5,
        }
        assert store.take_in_outside_edits() == 0
        store.undo(changes["act"][0])
        assert len(store.trees()) == 24
        assert store.blocks()["block"].tolist() == ["East"]


@pytest.mark.usefixtures("file_only")
def test_what_another_program_broke_is_named_and_can_be_undone(grove):
    trees = grove.trees()
    crossing = shapely.set_srid(shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)]), 7855)
    other = sqlite3.connect(grove.path)
    other.execute("UPDATE block SET geom = ?", [to_geopackage(crossing)])
    # Foreign keys are off unless a program asks for them
    other.execute("DELETE FROM place WHERE id = 1")
    other.commit()
    other.close()
    with GroveFile.open(grove.path) as store:
        said = store.acts()["what"][0]
        assert said == "edited outside gridmap; look at: plant without its place, block East crosses or touches itself"
        assert len(store.trees()) == 23
        store.undo(store.acts()["act"][0])
        assert store.trees().equals(trees)


def test_another_program_can_not_store_what_can_not_be(grove, other_program, refusals):
    with other_program(grove) as other:
        for statement, said in (
            ("UPDATE plant SET status = 'fine'", "CHECK constraint failed|violates check constraint"),
            ("UPDATE block SET row_spacing_m = -1", "CHECK constraint failed|violates check constraint"),
            ("UPDATE block SET uuid = 'mine'", "a uuid is for life"),
        ):
            with pytest.raises(refusals, match=said):
                other.execute(statement)
            other.rollback()


def test_own_writes_are_never_taken_for_anothers(grove, other_program):
    with other_program(grove) as connection:
        assert connection.execute("SELECT count(*) FROM outside_edit").fetchone() == (0,)
        assert connection.execute("SELECT writing FROM own_write").fetchone() == (0,)
