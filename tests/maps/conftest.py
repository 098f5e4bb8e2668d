"""The invented scene that the layout tests draw."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="session")
def scene():
    from scene_factory import make_scene

    return make_scene()


@pytest.fixture(scope="session")
def hostile_scene():
    """Names that a careless drawer would run or choke on, and letters of the languages of the trade."""
    from scene_factory import make_scene

    return make_scene(
        grove='<script>alert("grove")</script>',
        names={
            "Lower Gate": "<img src=x onerror=alert(1)>",
            "Ridge": '#eval("1+1") $x^2$ *bold* @ref',
            "Old Well": "Ελιά & Çeşme “perché” Ñandú",
            "Far Side": "بستان الزيتون",
            "dam": "]]><dam>&amp;",
            "bush": "\x0bbush\x00",
        },
    )
