"""An older file becomes one of today after a copy was set aside; a power cut leaves it old or new."""

from __future__ import annotations

import sqlite3
import sys

import pytest
import shapely
from sqlalchemy.dialects import sqlite as dialect

from api.store import GroveFile, copying, geopackage, migrations, opening
from api.store.geometry import to_geopackage
from api.store.tables import METADATA
from gridmap.errors import GroveReadOnly

ALL = [migration.NUMBER for migration in migrations.MIGRATIONS]
GIVEN = {"name": "Old grove", "time_zone": "UTC", "season_start": "01-01", "currency": "EUR", "invented": 1}


@pytest.fixture
def old_file(tmp_path):
    """Return a grove file as migration 1 left it, with one block."""
    return made_by(tmp_path / "old.gpkg", 1)


def made_by(path, migration: int):
    """Make a grove file as a migration left it, with one block."""
    opening.make(path, crs=geopackage.grove_crs(7855), fields=GIVEN, who="grower", up_to=migration)
    connection = sqlite3.connect(path)
    shape = to_geopackage(shapely.set_srid(shapely.box(0, 0, 100, 50), 7855))
    connection.execute("UPDATE own_write SET writing=1")
    connection.execute("INSERT INTO block (uuid, name, geom) VALUES ('b', 'East', ?)", [shape])
    connection.execute("UPDATE own_write SET writing=0")
    connection.commit()
    connection.close()
    return path


def numbers(path) -> list[int]:
    connection = sqlite3.connect(path)
    found = [row[0] for row in connection.execute("SELECT number FROM migration ORDER BY number")]
    connection.close()
    return found


def test_an_older_file_is_upgraded_after_a_copy_was_set_aside(old_file, geopackage_faults):
    before = old_file.read_bytes()
    with GroveFile.open(old_file) as store:
        aside = store.set_aside
        assert aside == old_file.with_name("old.before-migration-2.gpkg")
        assert store.blocks()["area_ha"].tolist() == [0.5]
        assert len(store.zones()) == 0
    assert numbers(old_file) == ALL
    assert numbers(aside) == [1]
    assert aside.read_bytes()[100:] == before[100:]
    for path in (old_file, aside):
        assert geopackage_faults(path) == []
    with GroveFile.open(old_file) as store:
        assert store.set_aside is None


def test_an_earlier_copy_is_never_overwritten(old_file):
    old_file.with_name("old.before-migration-2.gpkg").write_text("an earlier copy")
    with GroveFile.open(old_file) as store:
        assert store.set_aside.name == "old.before-migration-2-2.gpkg"
    assert old_file.with_name("old.before-migration-2.gpkg").read_text() == "an earlier copy"


def test_an_older_file_for_reading_only_is_told(old_file):
    before = old_file.read_bytes()
    with pytest.raises(
        GroveReadOnly, match=r"old.gpkg is of an older gridmap: it must be upgraded before it can be read"
    ):
        GroveFile.open(old_file, read_only=True)
    assert old_file.read_bytes() == before


def tables_until(number: int) -> set[str]:
    """Return the names of the tables as a migration left them."""
    return {table.name for table in copying.tables_of(number)}


UPGRADE = """
import os, signal, sys
from api.store import GroveFile, geopackage, migrations
from api.store.migrations import m0002_zone
path, stop = sys.argv[1], int(sys.argv[2])
steps = 0
register, apply = geopackage.register, migrations.apply

def die():
    global steps
    steps += 1
    if steps == stop:
        os.kill(os.getpid(), signal.SIGKILL)

def registering(*given):
    die()
    register(*given)

def applying(*given):
    apply(*given)
    die()

geopackage.register, migrations.apply = registering, applying
GroveFile.open(path).close()
print(steps)
"""


# Each new table of migration 2 and later is a step, and the record of the migration one more: the last step of each
# lies just before its commit.
NEW_TABLES = {
    migration.NUMBER: sum(name not in before for name in after)
    for migration, before, after in ((one, tables_until(one.NUMBER - 1), tables_until(one.NUMBER))
                                     for one in migrations.MIGRATIONS[1:])
}
LAST_STEP = {number: sum(new + 1 for other, new in NEW_TABLES.items() if other <= number) for number in NEW_TABLES}


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is POSIX")
@pytest.mark.parametrize(
    ("stop", "left"),
    [(step, list(range(1, number)))
     for number, last in LAST_STEP.items() for step in sorted({last - NEW_TABLES[number], last})],
)
def test_killed_in_mid_migration_it_is_old_and_the_next_opening_makes_it_new(old_file, run_python, stop, left):
    run_python(UPGRADE, old_file, stop, status=-9)
    assert numbers(old_file) == left
    connection = sqlite3.connect(old_file)
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    for number, name in ((2, "zone"), (3, "terrain"), (4, "device")):
        found = connection.execute("SELECT 1 FROM sqlite_master WHERE name LIKE ?", [f"%{name}%"]).fetchone()
        assert (found is not None) == (number in left)
    connection.close()
    with GroveFile.open(old_file) as store:
        assert len(store.zones()) == 0
        assert len(store.blocks()) == 1
    assert numbers(old_file) == ALL


def test_not_killed_it_takes_every_step(old_file, run_python):
    assert run_python(UPGRADE, old_file, 0).stdout.split() == [str(max(LAST_STEP.values()))]


def test_a_file_of_migration_2_gets_its_terrain_and_points(tmp_path, geopackage_faults):
    path = made_by(tmp_path / "two.gpkg", 2)
    with GroveFile.open(path) as store:
        assert store.set_aside == path.with_name("two.before-migration-3.gpkg")
        assert store.terrain() == {}
        assert store.points().empty
        assert store.blocks()["block"].tolist() == ["East"]
    assert numbers(path) == ALL
    assert numbers(store.set_aside) == [1, 2]
    assert geopackage_faults(path) == []


def test_migrations_are_numbered_in_order():
    assert [migration.NUMBER for migration in migrations.MIGRATIONS] == list(range(1, migrations.LATEST + 1))


def test_the_file_has_exactly_the_tables_and_columns_that_are_defined(new_grove):
    connection = sqlite3.connect(new_grove().path)
    for table in METADATA.sorted_tables:
        found = {row[1]: (row[2], bool(row[3])) for row in connection.execute(f'PRAGMA table_info("{table.name}")')}
        defined = {
            column.name: (column.type.compile(dialect.dialect()), not column.nullable) for column in table.columns
        }
        assert found == defined, table.name
    connection.close()
