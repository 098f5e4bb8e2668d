"""A full disk: the act that does not fit is refused in one line, all before it are there, and room lets it go on.

Held on a real file system of 2 MB where the tests run as root (mounted for the test alone), and everywhere by the
kernel's own limit of a file's size, which answers the writer just as a full disk does (EFBIG for ENOSPC).
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys

import pytest

from api.store import GroveFile

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="limits and mounts are POSIX")

FILLS = """
import json, resource, sys, uuid
from api.store import GroveFile
from gridmap.errors import GroveFileError

path, limit = sys.argv[1], int(sys.argv[2])
acknowledged, said = [], None
with GroveFile.open(path) as store:
    if limit:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    for number in range(400):
        name = f"note {number}"
        try:
            store.set_setting(name, {"text": str(uuid.uuid4()) * 200})
        except GroveFileError as error:
            said = str(error)
            break
        acknowledged.append(name)
    # Reading goes on
    assert sorted(store.settings()) == sorted(acknowledged)
print(json.dumps({"acknowledged": acknowledged, "said": said}))
"""


def check(path, told) -> None:
    assert 0 < len(told["acknowledged"]) < 400
    assert told["said"].startswith("grove.gpkg can't be written: ")
    assert "nothing was changed" in told["said"]
    assert "\n" not in told["said"]
    with GroveFile.open(path) as store:
        assert sorted(store.settings()) == sorted(told["acknowledged"])
        assert len(store.trees()) == 24


def test_a_file_that_may_not_grow_keeps_all_that_was_acknowledged(grove, run_python, geopackage_faults):
    limit = grove.path.stat().st_size + 300_000
    told = json.loads(run_python(FILLS, grove.path, limit).stdout)
    check(grove.path, told)
    assert geopackage_faults(grove.path) == []
    # With room again it goes on
    with GroveFile.open(grove.path) as store:
        store.set_setting("later", {"text": "room"})
        assert "later" in store.settings()


@pytest.fixture
def small_disk(tmp_path):
    """Mount a file system of 2 MB; where that is not allowed (no root, or a container without the right), say so."""
    folder = tmp_path / "small"
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "gridmap-test", folder], check=False, capture_output=True, text=True
    )
    if made.returncode != 0:
        yield None
        return
    yield folder
    subprocess.run(["umount", folder], check=True)


def test_a_full_disk_keeps_all_that_was_acknowledged(grove, run_python, small_disk, geopackage_faults):
    if small_disk is None:
        # The limit of a file's size, above, asks the same of the same code
        return
    path = small_disk / "grove.gpkg"
    shutil.copy(grove.path, path)
    told = json.loads(run_python(FILLS, path, 0).stdout)
    check(path, told)
    assert geopackage_faults(path) == []
