"""What the steps about places share: a place by its label, the lines of its row, the grove's own day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import geopandas as gpd
import pandas as pd
import shapely

from api.steps.ground import row_lines
from api.store import Grove
from gridmap.errors import InputRefused

#: A tree this near outside an outline counts as inside it [m]: outlines and trees are stored to the millimetre at best.
ON_THE_OUTLINE_M = 0.01


def today(grove: Grove) -> date:
    """Return today's date where the grove is."""
    return datetime.now(UTC).astimezone(ZoneInfo(grove.grove.time_zone)).date()


def past_day(grove: Grove, text: str, name: str) -> date:
    """Read a day, YYYY-MM-DD, that is not in the future of the grove."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise InputRefused(f"{name} is {text!r}", "it must be a day, YYYY-MM-DD") from None
    if day > today(grove):
        raise InputRefused(f"{name} is {day}", f"today is {today(grove)} in {grove.grove.time_zone}", "check the year")
    return day


def split_label(text: str) -> tuple[str, int, int]:
    """Read BLOCK/ROW/POSITION; the block's name may hold a slash.

    Examples
    --------
    >>> split_label("East 1/2/3/14")
    ('East 1/2', 3, 14)
    >>> split_label("East 3 14")
    Traceback (most recent call last):
    gridmap.errors.InputRefused: The tree is 'East 3 14': it is named by block, row and position. ...
    """
    block, *numbers = text.rsplit("/", 2)
    if len(numbers) != 2 or not block.strip() or not all(part.strip().isdecimal() for part in numbers):
        raise InputRefused(f"the tree is {text!r}", "it is named by block, row and position", "write it like East/3/14")
    return block.strip(), int(numbers[0]), int(numbers[1])


def place_named(grove: Grove, places: pd.DataFrame, text: str) -> dict[str, Any]:
    """Return the place with this label; where it has another name by now, say which."""
    block, row, position = split_label(text)
    same = (places["block"].str.casefold() == block.casefold()) & (places["row"] == row)
    found = places[same & (places["position"] == position)]
    if len(found):
        return dict(found.iloc[0])
    known = grove.label_history()
    once = known[
        (known["block"].str.casefold() == block.casefold()) & (known["row"] == row) & (known["position"] == position)
    ]
    now = places[places["place"].isin(once["place"])]
    raise InputRefused(
        f"there is no place {text}",
        f"it is {', '.join(label(place) for place in now.to_dict('records'))} now"
        if len(now)
        else "no tree has stood there",
        "see gridmap label" if len(now) else "look at the block, the row and the position",
    )


def label(place: Mapping[Any, Any]) -> str:
    """Write the label of a place: block, row, position.

    Examples
    --------
    >>> label({"block": "East", "row": 3, "position": 14.0})
    'East/3/14'
    """
    return f"{place['block']}/{int(place['row'])}/{int(place['position'])}"


def block_named(blocks: gpd.GeoDataFrame, name: str) -> dict[str, Any]:
    """Return the block of this name, whatever its case."""
    found = blocks[blocks["block"].str.casefold() == name.strip().casefold()]
    if not len(found):
        raise InputRefused(f"there is no block {name!r}", f"the grove has {', '.join(blocks['block']) or 'none yet'}")
    return dict(found.iloc[0])


def inside(outline: shapely.Polygon, places: gpd.GeoDataFrame) -> pd.Series[bool]:
    """Tell which places lie in an outline, or on it."""
    near = shapely.dwithin(outline, places.geometry.to_numpy(), ON_THE_OUTLINE_M)
    return pd.Series(near, index=places.index, dtype=bool)


def redraw_rows(grove: Grove, before: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, blocks: Iterable[str]) -> None:
    """Draw the row lines of these blocks anew where their places changed; a line whose places stayed is kept.

    Parameters
    ----------
    grove : Grove
        Inside an act, its places as they are to be.
    before, lines : GeoDataFrame
        Places and row lines as they were.
    blocks : iterable of str
        Names of the blocks.
    """
    outlines = grove.blocks().set_index("block")
    places = grove.places()
    kept = {tuple(part["place"]): (block, row) for (block, row), part in _rows_of(before)}
    drawn = {(block, row): line for block, row, line in zip(lines["block"], lines["row"], lines.geometry, strict=True)}
    where = dict(zip(before["place"], before.geometry, strict=True))
    for name in blocks:
        own = places[places["block"] == name]
        own = own[own["tree"].notna() | inside(outlines.geometry[name], own)]
        fresh = []
        for row, part in own.groupby("row"):
            part = part.sort_values("position")
            stayed = all(
                place in where and where[place] == shape
                for place, shape in zip(part["place"], part.geometry, strict=True)
            )
            old = kept.get(tuple(part["place"])) if stayed else None
            if old in drawn:
                fresh.append({"block": name, "row": row, "geometry": drawn[old]})
            else:
                fresh += row_lines(part).to_dict("records")
        frame = gpd.GeoDataFrame(fresh, columns=["block", "row", "geometry"], geometry="geometry", crs=grove.crs)
        grove.set_rows([outlines["uuid"][name]], frame)


def _rows_of(places: gpd.GeoDataFrame) -> list[tuple[tuple[str, int], gpd.GeoDataFrame]]:
    ordered = places.sort_values(["block", "row", "position"])
    return [((str(block), int(row)), part) for (block, row), part in ordered.groupby(["block", "row"])]
