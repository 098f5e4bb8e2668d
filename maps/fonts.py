"""Fonts and the typesetter: letters come with the package, so that a sheet looks the same on every computer.

Roboto has Latin (all European languages, Turkish, Vietnamese), Greek and Cyrillic letters; Noto Sans Arabic has Arabic
and Persian.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import fontpkg  # type: ignore[import-untyped]
import typst

FAMILIES: Final = ("Roboto", "Noto Sans Arabic")


@cache
def _compiler_fonts() -> typst.Fonts:
    folders = sorted({str(Path(fontpkg.path(family)).parent) for family in FAMILIES})
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=folders)


def typeset(
    template: str, data: Mapping[str, Any], *, pictures: Mapping[str, str], form: str, ppi: float = 72.0
) -> bytes:
    """Set one of the package's pages and return it as ``pdf`` or ``png``.

    Parameters
    ----------
    template : str
        Name of a typst file of this package.
    data : mapping
        What the page says. It reaches the page as data: a name is never read as typesetting instructions.
    pictures : mapping of str
        SVG documents that the template asks for by name.
    form : str
        "pdf" or "png".
    ppi : float
        Pixels an inch of a PNG; at 72 a typst point is a pixel.
    """
    made = _compile(template, data, pictures, form, ppi)
    return made if isinstance(made, bytes) else made[0]


def page_count(template: str, data: Mapping[str, Any], *, pictures: Mapping[str, str]) -> int:
    """How many pages a template takes, found by setting it very small."""
    made = _compile(template, data, pictures, "png", 6.0)
    return 1 if isinstance(made, bytes) else len(made)


def _compile(
    template: str, data: Mapping[str, Any], pictures: Mapping[str, str], form: str, ppi: float
) -> bytes | list[bytes]:
    page = (files("maps") / template).read_bytes()
    inputs = {"data": json.dumps(data, ensure_ascii=False, allow_nan=False), **pictures}
    # Without a fixed time the same sheet would have other bytes every second; the date that matters stands on it.
    return typst.compile(page, font_paths=_compiler_fonts(), format=form, ppi=ppi, sys_inputs=inputs, timestamp=0)  # type: ignore[call-overload]
