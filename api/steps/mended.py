"""Outlines that cross themselves: the shape that they could be is offered in a file, and never taken unasked."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from gridmap.errors import FileRefused, InputRefused, OutlineRefused
from gridmap.exchange import write_layer
from gridmap.ground import check_outline

_ENDINGS = (".geojson", ".json")


def check_target(target: Path | None, taken: Iterable[Path]) -> None:
    """Refuse a place for the mended shapes that is no GeoJSON, or one of the files that are read."""
    if target is None:
        return
    if target.suffix.lower() not in _ENDINGS:
        rule = "mended outlines are written as GeoJSON"
        raise InputRefused(
            f"file {target.name} ends in {target.suffix or 'nothing'}", rule, "let its name end in .geojson"
        )
    if any(target.resolve() == one.resolve() for one in taken):
        rule = "the file as it was drawn is never written over"
        raise FileRefused(f"file {target.name} is the one that is read", rule, "choose another name")


def with_offer(
    refused: OutlineRefused, outlines: gpd.GeoDataFrame, target: Path | None, *, name: str
) -> OutlineRefused:
    """Write every outline of a refused file, mended where it can be, and say so in the refusal.

    Parameters
    ----------
    refused : OutlineRefused
        Why one of the outlines can't be used.
    outlines : GeoDataFrame
        All of them as they were read, in the grove's projected CRS.
    target : path, optional
        Where to; without it the refusal says how to ask for it.
    name : str
        The column that names them.

    Returns
    -------
    OutlineRefused
        To be raised: nothing of this enters the grove file.
    """
    if refused.mended is None:
        return refused
    remedy = f"{refused.remedy}; --write-mended FILE.geojson writes it for a look"
    if target is not None:
        mended, changed, hopeless = _mended(outlines, name)
        write_layer(mended, target, "geojson", note="Outlines as they could be. Look at them before you import them.")
        remedy = f"{refused.remedy}: {target.name} holds the mended {' and '.join(changed)}"
        others = len(outlines) - len(changed) - len(hopeless)
        remedy += f" and the other {others} as drawn" if others else ""
        remedy += f", but not {' and '.join(hopeless)}" if hopeless else ""
        remedy += "; look at it on a map, then import that file"
    return OutlineRefused(refused.what, refused.rule, remedy, mended=refused.mended)


def _mended(outlines: gpd.GeoDataFrame, name: str) -> tuple[gpd.GeoDataFrame, list[str], list[str]]:
    """Return the outlines with a mended shape for each that needs one; several pieces get numbers behind the name."""
    records: list[dict[str, Any]] = []
    changed, hopeless = [], []
    for record in outlines.to_dict("records"):
        shape, title = record["geometry"], str(record[name])
        try:
            check_outline(shape, name=title)
        except OutlineRefused as refused:
            if not isinstance(refused.mended, (shapely.Polygon, shapely.MultiPolygon)):
                hopeless.append(title)
                continue
            changed.append(title)
            shape = refused.mended
        pieces = list(shapely.get_parts(shape))
        for number, piece in enumerate(pieces, start=1):
            records.append({**record, name: title if len(pieces) == 1 else f"{title} {number}", "geometry": piece})
    frame = pd.DataFrame(records)
    return gpd.GeoDataFrame(frame, geometry="geometry", crs=outlines.crs), changed, hopeless
