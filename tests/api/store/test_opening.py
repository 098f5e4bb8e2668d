"""Whatever is wrong with the file: one clear line, and its bytes as they were."""

from __future__ import annotations

import os
import shutil
import sqlite3
import sys

import geopandas as gpd
import pytest
import shapely

from api.store import GroveFile
from gridmap.errors import (
    CRSRefused,
    GroveBusy,
    GroveFileError,
    GroveReadOnly,
    InputRefused,
    NewerGroveFile,
    NotAGroveFile,
)


def refuse_unchanged(path, error, said, **options) -> None:
    before = path.read_bytes()
    names = sorted(os.listdir(path.parent))
    with pytest.raises(error, match=said) as told:
        GroveFile.open(path, **options)
    assert "\n" not in str(told.value)
    assert path.read_bytes() == before
    assert sorted(os.listdir(path.parent)) == names


def test_a_new_grove_says_what_was_given(new_grove):
    with new_grove(region="Invented valley", uphill_bearing_deg=20, invented=True) as store:
        grove = store.grove
    assert (grove.name, grove.region, grove.time_zone, grove.season_start, grove.currency, grove.crs_code) == (
        "Test grove",
        "Invented valley",
        "Australia/Hobart",
        "07-01",
        "AUD",
        7855,
    )
    assert (grove.datum, grove.uphill_bearing_deg, grove.invented) == ("GDA2020", 20.0, True)


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("name", " ", "Name of the grove is ' ': it must be a text"),
        ("time_zone", "Hobart", "Time zone is 'Hobart': it must be an IANA name"),
        ("time_zone", "../../etc/passwd", "it must be an IANA name"),
        ("season_start", "02-29", "it must be a month and a day, MM-DD, that every year has"),
        ("season_start", "7-1", "it must be a month and a day"),
        ("currency", "aud", "Currency is 'aud': it must be three capital letters"),
        ("uphill_bearing_deg", 400, "it must be at most 360 degrees"),
    ],
)
def test_a_field_that_can_not_be_is_refused_and_no_file_is_made(new_grove, tmp_path, field, value, said):
    with pytest.raises(InputRefused, match=said):
        new_grove(**{field: value})
    assert list(tmp_path.iterdir()) == []


def test_longitude_and_latitude_are_no_crs_for_a_grove(new_grove, tmp_path):
    with pytest.raises(CRSRefused, match="projected CRS in metres"):
        new_grove(crs_epsg=4326)
    assert list(tmp_path.iterdir()) == []


def test_a_new_grove_never_replaces_a_file(new_grove, tmp_path):
    (tmp_path / "grove.gpkg").write_text("letters to a friend")
    with pytest.raises(GroveFileError, match=r"There is a file grove.gpkg already: a new grove never replaces one"):
        new_grove()
    assert (tmp_path / "grove.gpkg").read_text() == "letters to a friend"


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(GroveFileError, match="There is no folder nowhere"):
        GroveFile.create(
            tmp_path / "nowhere" / "a.gpkg",
            name="A",
            crs_epsg=7855,
            time_zone="UTC",
            season_start="01-01",
            currency="EUR",
        )


def test_missing(tmp_path):
    with pytest.raises(GroveFileError, match=r"There is no grove file gone.gpkg"):
        GroveFile.open(tmp_path / "gone.gpkg")
    assert list(tmp_path.iterdir()) == []


def test_a_folder(tmp_path):
    with pytest.raises(NotAGroveFile, match="is a folder"):
        GroveFile.open(tmp_path)


def test_empty(tmp_path):
    (tmp_path / "a.gpkg").touch()
    refuse_unchanged(tmp_path / "a.gpkg", NotAGroveFile, "a.gpkg is empty: it has 0 bytes")


def test_no_geopackage(tmp_path):
    (tmp_path / "a.gpkg").write_text("block,row\nEast,1\n" * 500)
    refuse_unchanged(tmp_path / "a.gpkg", NotAGroveFile, "a.gpkg is no grove file: it is not a GeoPackage")


def test_a_database_that_is_no_geopackage(tmp_path):
    connection = sqlite3.connect(tmp_path / "a.gpkg")
    connection.execute("CREATE TABLE a (b)")
    connection.close()
    refuse_unchanged(tmp_path / "a.gpkg", NotAGroveFile, "it is a database, but not a GeoPackage")


def test_a_geopackage_of_someone_else(tmp_path):
    frame = gpd.GeoDataFrame({"a": [1]}, geometry=[shapely.Point(0, 0)], crs=7855)
    frame.to_file(tmp_path / "a.gpkg", layer="grove", driver="GPKG")
    refuse_unchanged(tmp_path / "a.gpkg", NotAGroveFile, "it is a GeoPackage, but holds no grove")


@pytest.mark.parametrize("share", [0.02, 0.3, 0.5, 0.9, 0.999])
def test_cut_off(grove, share):
    size = grove.path.stat().st_size
    os.truncate(grove.path, int(size * share))
    refuse_unchanged(grove.path, NotAGroveFile, "is cut off or damaged|is no grove file")


def test_newer(grove):
    connection = sqlite3.connect(grove.path)
    connection.execute("INSERT INTO migration VALUES (99, 'something later', '2030-01-01T00:00:00.000Z', 'gridmap 9')")
    connection.commit()
    connection.close()
    refuse_unchanged(
        grove.path, NewerGroveFile, "written by a newer gridmap: its layout has number 99, this gridmap knows up to "
    )


def test_locked_too_long(grove):
    other = sqlite3.connect(grove.path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(GroveBusy, match=r"grove.gpkg is kept locked by another program: nothing was changed"):
        GroveFile.open(grove.path, busy_timeout_s=0.05)
    other.execute("ROLLBACK")
    store = GroveFile.open(grove.path, busy_timeout_s=0.05)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(GroveBusy, match="kept locked by another program"):
        store.set_setting("threshold", {"over": 2.0})
    other.execute("ROLLBACK")
    other.close()
    assert store.settings() == {}
    store.set_setting("threshold", {"over": 2.0})


AS_NOBODY = """
import os, sys
from api.store import GroveFile
from gridmap.errors import GroveReadOnly
path, scratch = sys.argv[1:]
given = {"crs_epsg": 7855, "time_zone": "UTC", "season_start": "01-01", "currency": "EUR"}
# Python itself may lie where nobody can't read: everything is loaded by a round of the same before
with GroveFile.create(scratch, name="A", **given) as store:
    store.trees()
    store.backup(scratch + "2")
os.setgroups([]); os.setgid(65534); os.setuid(65534)
said = []
for act in (
    lambda: GroveFile.open(path),
    lambda: GroveFile.open(path, read_only=True).set_setting("threshold", {"over": 2.0}),
    lambda: GroveFile.create(path + "2", name="A", **given),
    lambda: GroveFile.open(path, read_only=True).backup(os.path.join(os.path.dirname(path), "copy.gpkg")),
):
    try:
        act()
    except GroveReadOnly as error:
        said.append(str(error))
with GroveFile.open(path, read_only=True) as store:
    print(len(store.trees()))
print("\\n".join(said))
"""


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() != 0, reason="only root can become nobody")
def test_a_folder_that_can_not_be_written_is_read_and_told_plainly(grove, run_python, tmp_path, tmp_path_factory):
    folder = tmp_path_factory.mktemp("shelf")
    shutil.copy(grove.path, folder / "grove.gpkg")
    for parent in (folder, *list(folder.parents)[:2]):
        parent.chmod(0o755)
    (folder / "grove.gpkg").chmod(0o644)
    before = (folder / "grove.gpkg").read_bytes()
    trees, *said = run_python(AS_NOBODY, folder / "grove.gpkg", tmp_path / "scratch.gpkg").stdout.splitlines()
    assert int(trees) == 24
    assert len(said) == 4
    assert said[0].startswith("grove.gpkg or its folder can't be written: ")
    assert said[1] == "grove.gpkg was opened for reading only. Open it for writing."
    assert said[2].startswith("grove.gpkg2 or its folder can't be written: ")
    assert said[3].startswith("The copy can't be written to shelf")
    assert (folder / "grove.gpkg").read_bytes() == before
    assert os.listdir(folder) == ["grove.gpkg"]


def test_read_only_refuses_writes_and_reads_the_rest(grove):
    with GroveFile.open(grove.path, read_only=True) as store:
        assert len(store.trees()) == 24
        with pytest.raises(GroveReadOnly, match="opened for reading only"):
            store.set_setting("a", {})


def test_a_name_with_odd_letters_opens(new_grove, tmp_path):
    odd = tmp_path / "a #? %41 olive grove é.gpkg"
    with new_grove(odd.name) as store:
        assert store.path == odd
        store.backup(tmp_path / "copy #?.gpkg")
    with GroveFile.open(tmp_path / "copy #?.gpkg") as copy:
        assert copy.grove.name == "Test grove"
