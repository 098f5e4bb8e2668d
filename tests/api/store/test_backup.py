"""A copy is whole, or not there."""

from __future__ import annotations

import sqlite3

import pytest

from api.store import GroveFile
from gridmap.errors import GroveBusy, GroveFileError


def test_a_copy_holds_the_same_and_passes_the_checker(grove, tmp_path, geopackage_faults):
    copy = grove.backup(tmp_path / "copy.gpkg")
    assert geopackage_faults(copy) == []
    with GroveFile.open(copy) as other:
        assert other.grove == grove.grove
        assert other.trees().equals(grove.trees())
        assert other.history().equals(grove.history())


def test_a_copy_replaces_an_older_one(grove, tmp_path):
    (tmp_path / "copy.gpkg").write_text("the copy of last week")
    grove.backup(tmp_path / "copy.gpkg")
    with GroveFile.open(tmp_path / "copy.gpkg") as other:
        assert len(other.trees()) == 24


def test_a_copy_is_never_the_grove_itself(grove):
    with pytest.raises(GroveFileError, match=r"The copy can't be grove.gpkg"):
        grove.backup(grove.path)


def test_a_folder_that_is_not_there(grove, tmp_path):
    with pytest.raises(GroveFileError, match="There is no folder nowhere"):
        grove.backup(tmp_path / "nowhere" / "copy.gpkg")


def test_a_locked_grove_is_not_copied_and_nothing_is_left(grove, tmp_path):
    other = sqlite3.connect(grove.path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(GroveBusy, match="kept locked"):
        GroveFile.open(grove.path, busy_timeout_s=0.05).backup(tmp_path / "copy.gpkg")
    store = grove
    store._backend.busy_timeout_s = 0.05
    with pytest.raises(GroveBusy, match=r"nothing was copied|nothing was changed"):
        store.backup(tmp_path / "copy.gpkg")
    other.execute("ROLLBACK")
    other.close()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["grove.gpkg"]


def test_a_damaged_grove_gives_no_copy_and_keeps_the_older_one(grove, tmp_path):
    (tmp_path / "copy.gpkg").write_text("the copy of last week")
    data = bytearray(grove.path.read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = b"\xff" * 4096
    grove.path.write_bytes(data)
    with pytest.raises(GroveFileError, match=r"is not whole|cut off or damaged"):
        grove.backup(tmp_path / "copy.gpkg")
    assert (tmp_path / "copy.gpkg").read_text() == "the copy of last week"
