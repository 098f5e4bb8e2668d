"""What every test shares: the open data, a throw-away database, and the rule that CI may not skip."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

OPEN_DATA = "GRIDMAP_OPEN_DATA"

# Speed is measured in tests/bench, never by a deadline of a property test on a busy machine.
settings.register_profile("gridmap", deadline=None)
settings.load_profile("gridmap")


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Return the folder of open data sets; skip, and say so, where it is not there."""
    folder = os.environ.get(OPEN_DATA)
    if not folder or not Path(folder).is_dir():
        pytest.skip(f"open data not here: {OPEN_DATA} names no folder")
    return Path(folder)


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make the invented grove once; whoever changes it copies the file first."""
    from api.steps.demo import build_demo

    path = tmp_path_factory.mktemp("demo") / "demo.gpkg"
    build_demo(path)
    return path


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    """Turn a skip into a failure where GRIDMAP_NO_SKIP is set (CI has everything that a test may ask for)."""
    report = yield
    if report.skipped and os.environ.get("GRIDMAP_NO_SKIP") and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, which GRIDMAP_NO_SKIP forbids: {report.longrepr}"
    return report


@pytest.fixture(scope="session")
def geopackage_faults():
    """Return the official checker: what is wrong with a GeoPackage, requirement by requirement (OGC 12-128r18).

    Pure Python, but its package asks for GDAL's bindings: ``pip install --no-deps gdal-utils``.
    """

    def faults(path: Path) -> list[object]:
        # Only when it is asked: what a test holds besides the checker is held on every machine.
        checker = "osgeo_utils.samples.validate_gpkg"
        validate = pytest.importorskip(checker, reason="gdal-utils is not installed (pip install --no-deps)")
        return list(validate.check(str(path), extra_checks=True, warning_as_error=True))

    return faults


def _postgresql() -> Path:
    """Return the folder of the programs of a PostgreSQL that has PostGIS; skip, and say so, where there is none."""
    folders = [*Path("/usr/lib/postgresql").glob("*/bin"), *(Path(entry) for entry in os.get_exec_path())]
    for folder in folders:
        if (folder / "initdb").is_file() and (folder / "pg_config").is_file():
            share = subprocess.check_output([folder / "pg_config", "--sharedir"], text=True).strip()
            if (Path(share) / "extension" / "postgis.control").is_file():
                return folder
    pytest.skip("no PostgreSQL with PostGIS here (Debian: postgresql-15 postgresql-15-postgis-3)")


@pytest.fixture(scope="session")
def database_server() -> Iterator[str]:
    """Start a throw-away PostgreSQL on a socket of its own; return what stands for its host in an address."""
    programs = _postgresql()
    # The server refuses to run as root, and its user can't look into pytest's folders
    folder = Path(tempfile.mkdtemp(prefix="gridmap-pg-"))
    become: list[str] = []
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres")
        become = ["runuser", "-u", "postgres", "--"]

    def run(program: str, *arguments: str) -> None:
        done = subprocess.run([*become, programs / program, "-D", folder / "data", *arguments], cwd=folder, check=False,
                              stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)  # fmt: skip
        assert done.returncode == 0, done.stderr

    try:
        run("initdb", "-U", "gridmap", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")
        options = f"-k {folder} -c listen_addresses='' -c fsync=off -c max_connections=60"
        run("pg_ctl", "-w", "-l", str(folder / "log"), "-o", options, "start")
        try:
            query = f"host={folder}"
            with _administrator(query) as connection:
                connection.execute("CREATE DATABASE template_grove")
            with _administrator(query, "template_grove") as connection:
                connection.execute("CREATE EXTENSION postgis")
            yield query
        finally:
            run("pg_ctl", "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _administrator(query: str, database: str = "postgres"):
    """Return a connection to the throw-away server that opens no transaction."""
    import psycopg

    return psycopg.connect(f"user=gridmap dbname={database} {query}", autocommit=True)


@pytest.fixture
def database(database_server: str, request: pytest.FixtureRequest) -> Iterator[str]:
    """Return the address of an empty database with PostGIS, made for this test alone."""
    from api.store import database as connections

    name = f"test_{abs(hash(request.node.nodeid))}"
    with _administrator(database_server) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE template_grove")
    yield f"postgresql://gridmap@/{name}?{database_server}"
    connections.let_go()
    with _administrator(database_server) as connection:
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(scope="session")
def database_connection():
    """Return what connects to a database by its address as any other program does."""

    def connect(address: str):
        import psycopg

        return psycopg.connect(address)

    return connect
