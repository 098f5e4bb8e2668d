"""The modules of the page that know nothing of a page, run by node: see the files in ``modules/``."""

from __future__ import annotations

from pathlib import Path

import pytest

MODULES = Path(__file__).parent / "modules"


@pytest.mark.parametrize("file", sorted(MODULES.glob("*.test.mjs")), ids=lambda file: file.name.split(".")[0])
def test_module(node, file):
    done = node("--test", "--test-reporter=tap", file)
    assert done.returncode == 0, "\n".join(line for line in done.stdout.splitlines() if not line.startswith("ok"))
    assert "# fail 0" in done.stdout
