"""The service on a copy of the invented grove, and on an empty one; asked without a network."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.settings import Settings
from api.steps.grove import new_grove

LONGITUDE, LATITUDE = -9.40, -31.90
METRE_EAST, METRE_NORTH = 1 / 94_500, 1 / 110_880


@pytest.fixture(scope="session")
def empty_file(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("empty") / "empty.gpkg"
    new_grove(
        path,
        name="Home",
        at=f"{LONGITUDE},{LATITUDE}",
        time_zone="Atlantic/St_Helena",
        season_start="07-01",
        currency="XTS",
    )
    return path


@pytest.fixture
def start(tmp_path) -> Iterator[Callable[..., SimpleNamespace]]:
    """Return what starts a service on a copy of a grove file."""
    clients = []

    def started(file: Path | None = None, **settings) -> SimpleNamespace:
        groves = ()
        if file is not None:
            groves = (tmp_path / f"{len(clients)}-{file.name}",)
            shutil.copy(file, groves[0])
        app = create_app(Settings(groves=groves, hosts=("testserver",), **settings))
        client = TestClient(app, raise_server_exceptions=True, client=("192.0.2.7", 40000))
        clients.append(client)
        uuids = list(app.state.service.shelf._where)
        base = f"/api/groves/{uuids[0]}" if uuids else None
        return SimpleNamespace(app=app, client=client, base=base, path=groves[0] if groves else None)

    yield started
    for client in clients:
        client.close()


@pytest.fixture
def demo(start, demo_file):
    return start(demo_file)


@pytest.fixture
def empty(start, empty_file):
    return start(empty_file)


@pytest.fixture(scope="session")
def reading(demo_file):
    """Return the demo grove's service for tests that change nothing."""
    app = create_app(Settings(groves=(demo_file,), hosts=("testserver",)))
    with TestClient(app) as client:
        uuid = next(iter(app.state.service.shelf._where))
        yield SimpleNamespace(app=app, client=client, base=f"/api/groves/{uuid}", path=demo_file)


def at(east: float, north: float) -> list[float]:
    return [LONGITUDE + east * METRE_EAST, LATITUDE + north * METRE_NORTH]


@pytest.fixture(scope="session")
def box():
    """Return what draws a rectangle, in metres from the empty grove's place."""

    def drawn(west, south, east, north):
        ring = [at(west, south), at(east, south), at(east, north), at(west, north), at(west, south)]
        return {"type": "Polygon", "coordinates": [ring]}

    return drawn


@pytest.fixture(scope="session")
def place():
    return at


@pytest.fixture(scope="session")
def edit():
    """Return the header that says which version an edit has seen."""
    return lambda version: {"If-Match": f'"{version}"'}


@pytest.fixture(scope="session")
def is_problem():
    """Return what checks the shape of an error (RFC 9457, section 3.1)."""

    def check(answer, status, kind):
        assert answer.status_code == status, answer.text
        assert answer.headers["content-type"] == "application/problem+json"
        told = answer.json()
        assert told["type"] == f"/problems#{kind}"
        assert told["status"] == status
        assert told["title"]
        assert told["detail"].endswith(".")
        assert "Traceback" not in answer.text
        return told

    return check
