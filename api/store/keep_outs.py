"""Change or take out a keep-out that is there; adding one is in `api.store.ground`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.store.ground import KINDS, one_shape
from api.store.history import Act, Row
from api.store.tables import KEEP_OUT
from gridmap import checks
from gridmap.errors import InputRefused


def set_keep_out(act: Act, keep_out: str, changes: Mapping[str, Any]) -> None:
    """Change name, kind, setback_m [m] or geometry (Polygon in the grove's CRS) of the keep-out with this UUID."""
    row: Row = {}
    for name, value in changes.items():
        checks.one_of(name, ("name", "kind", "setback_m", "geometry"), "fact of a keep-out")
        if name == "name":
            row["name"] = None if value is None or not str(value).strip() else str(value).strip()
        elif name == "kind":
            row["kind"] = checks.one_of(value, KINDS, "kind of the keep-out")
        elif name == "geometry":
            row["geom"] = one_shape(value, "Polygon", "the keep-out")
        elif value is None:
            raise InputRefused(
                "the keep-out has no setback", "only the grower knows it", "type it in metres, 0 for none"
            )
        else:
            row["setback_m"] = checks.number(value, "setback of the keep-out", "m", least=0.0)
    act.update(KEEP_OUT, keep_out, row)


def remove_keep_out(act: Act, keep_out: str) -> None:
    """Take out the keep-out with this UUID; the history keeps it."""
    act.delete(KEEP_OUT, keep_out)
