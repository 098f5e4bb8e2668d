"""What is drawn on the map: blocks and keep-outs made, changed, joined and taken out."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import pyproj
import shapely
import shapely.ops

from api.steps import redraw as redrawing
from api.steps import regroup
from api.steps.geojson import drawn, geometry_json, lonlat_offer
from api.steps.layers import BLOCK_FACTS
from api.steps.opening import open_grove
from api.steps.outcome import Outcome
from api.steps.places_ground import lay_again
from api.store import keep_outs
from api.store.refusals import Conflict, NotThere
from gridmap.crs import to_grove, to_lonlat
from gridmap.errors import InputRefused, OutlineRefused
from gridmap.ground import check_blocks, check_outline

#: Stored and given shapes that differ by less than this are the same shape [m].
SAME_M: Final = 0.001
KEEP_OUT_FACTS: Final = ("name", "kind", "setback_m")


@contextmanager
def offering(crs: pyproj.CRS) -> Iterator[None]:
    """Let the mended shape of a refusal come out in longitude and latitude."""
    try:
        yield
    except OutlineRefused as refused:
        raise lonlat_offer(refused, crs) from None


def bounds(blocks: gpd.GeoDataFrame) -> Any:
    """Return west, south, east, north of what is there [m], None where nothing is."""
    return blocks.total_bounds if len(blocks) else None


def add_blocks(where: Path, features: Sequence[Mapping[str, Any]], *, who: str = "grower") -> Outcome:
    """Store drawn blocks, each under the UUID its maker gave it; sent again, each is stored once."""
    with open_grove(where) as grove, grove.act(called("draw block", features, "block"), who=who), offering(grove.crs):
        there = grove.blocks()
        given, notes = to_grove(drawn(features), grove.grove.crs_code, near=bounds(there))
        old, new = known_already(given, there.set_index("uuid"), ("block", *BLOCK_FACTS))
        if len(new):
            together = pd.concat([there[["block", "geometry"]], new[["block", "geometry"]]], ignore_index=True)
            checked, remarks = check_blocks(gpd.GeoDataFrame(together, geometry="geometry", crs=grove.crs))
            new = new.assign(block=checked["block"].to_numpy()[len(there) :]).set_geometry(
                checked.geometry.iloc[len(there) :].set_axis(new.index)
            )
            grove.add_blocks(new.rename(columns={"id": "uuid"}))
            notes += remarks
    return Outcome(
        said=tuple(notes), figures={"ids": list(given["id"]), "new": len(new), "already": len(old), "notes": notes}
    )


def add_keep_outs(where: Path, features: Sequence[Mapping[str, Any]], *, who: str = "grower") -> Outcome:
    """Store drawn keep-outs, each under the UUID its maker gave it; sent again, each is stored once."""
    what = called("draw keep-out", features, "name")
    with open_grove(where) as grove, grove.act(what, who=who), offering(grove.crs):
        there = grove.keep_outs()
        given, notes = to_grove(drawn(features), grove.grove.crs_code, near=bounds(grove.blocks()))
        shapes = [
            check_outline(shape, name=f"keep-out {name or number}")
            for number, (shape, name) in enumerate(zip(given.geometry, given["name"], strict=True), start=1)
        ]
        given = given.set_geometry(gpd.GeoSeries(shapes, index=given.index, crs=given.crs))
        old, new = known_already(given, there.set_index("keep_out"), ("name", "kind", "setback_m"))
        if len(new):
            grove.add_keep_outs(new.rename(columns={"id": "keep_out"}))
    return Outcome(
        said=tuple(notes), figures={"ids": list(given["id"]), "new": len(new), "already": len(old), "notes": notes}
    )


def called(what: str, features: Sequence[Mapping[str, Any]], name: str) -> str:
    """Name an act after what it draws."""
    names = [str((feature.get("properties") or {}).get(name) or "").strip() for feature in features]
    named = ", ".join(word for word in names if word)
    return f"{what} {named}"[:200].strip()


def known_already(
    given: gpd.GeoDataFrame, there: gpd.GeoDataFrame, facts: Sequence[str]
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Part what is stored already with the same content from what is new; other content is refused."""
    if given["id"].duplicated().any():
        raise InputRefused("two of the shapes have the same id", "each has a uuid of its own")
    known = given["id"].isin(there.index)
    for record in given[known].to_dict("records"):
        held = there.loc[record["id"]]
        same = [fact for fact in facts if _differs(held[fact], record.get(fact))]
        if same or not _same_shape(held["geometry"], record["geometry"]):
            raise Conflict(
                f"{record['id']} is stored already with another {same[0].replace('_', ' ') if same else 'shape'}",
                "what is sent again must be the same",
                "change what is there instead",
            )
    return given[known], given[~known]


def _differs(held: Any, given: Any) -> bool:
    if pd.isna(held) or given is None or pd.isna(given):
        return not (pd.isna(held) and (given is None or pd.isna(given)))
    return str(held) != str(given).strip() if isinstance(held, str) else float(held) != float(given)


def _same_shape(held: Any, given: Any) -> bool:
    return bool(
        shapely.equals_exact(shapely.normalize(held), shapely.normalize(given), SAME_M)
        or held.hausdorff_distance(given) < SAME_M
    )


def the_one(frame: pd.DataFrame, column: str, uuid: str, what: str) -> dict[str, Any]:
    """Return the line of a thing by its UUID."""
    found = frame[frame[column] == uuid]
    if not len(found):
        raise NotThere(f"there is no {what} {uuid}")
    return dict(found.iloc[0])


def change_block(where: Path, block: str, properties: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Change name and facts of a block (UUID); None takes a fact back."""
    facts = {name: value for name, value in properties.items() if name in BLOCK_FACTS}
    with open_grove(where) as grove, offering(grove.crs):
        held = the_one(grove.blocks(), "uuid", block, "block")
        with grove.act(f"change block {held['block']}", who=who):
            name = properties.get("block")
            if name is not None and str(name).strip() != held["block"]:
                others = grove.blocks()["block"].str.casefold()
                if str(name).strip().casefold() in set(others[others != held["block"].casefold()]):
                    raise Conflict(f"block {name!r} is in the grove already", "a block's name is its own")
                grove.set_outline(block, held["geometry"], name=str(name).strip())
            if facts:
                grove.set_block(block, **facts)
            # Metres upslope follow the arrow; numbers stay
            said = lay_again(grove) if "uphill_bearing_deg" in facts else []
    return Outcome(said=tuple(said), figures={"ids": [block]})


def redraw_block(where: Path, block: str, geometry: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Give a block (UUID) a new outline: trees inside stay who they are, trees outside are retired."""
    with open_grove(where, read_only=True) as grove:
        held, crs = the_one(grove.blocks(), "uuid", block, "block"), grove.crs
    with as_file([(held["block"], geometry)]) as file, offering(crs):
        done = redrawing.redraw(where, held["block"], file, who=who)
    return Outcome(said=done.said, figures={**done.figures, "ids": [block]}, tables=done.tables)


def split_block(
    where: Path, block: str, line: Mapping[str, Any], names: tuple[str, str], *, who: str = "grower"
) -> Outcome:
    """Cut a block (UUID) in two along a line; every tree keeps its row and position under its new block's name."""
    with open_grove(where, read_only=True) as grove:
        blocks, crs = grove.blocks(), grove.crs
        held = the_one(blocks, "uuid", block, "block")
        cut, _ = to_grove(drawn([{"geometry": line}], "LineString"), grove.grove.crs_code, near=bounds(blocks))
        parts = [
            part
            for part in shapely.get_parts(shapely.ops.split(held["geometry"], cut.geometry.iloc[0]))
            if part.geom_type == "Polygon" and part.area > 0
        ]
        if len(parts) != 2:
            raise OutlineRefused(
                f"the line cuts {held['block']} into {len(parts)} parts", "it must make two", "draw it right across"
            )
        shapes = to_lonlat(gpd.GeoDataFrame(geometry=parts, crs=crs)).geometry
    drawn_parts = [(name, geometry_json(shape)) for name, shape in zip(names, shapes, strict=True)]
    with as_file(drawn_parts) as file, offering(crs):
        done = regroup.split(where, held["block"], file, who=who)
    with open_grove(where, read_only=True) as grove:
        now = grove.blocks()
    ids = list(now[now["block"].isin([name.strip() for name in names])]["uuid"])
    return Outcome(said=done.said, figures={"ids": ids}, tables=done.tables)


def merge_blocks(
    where: Path,
    block: str,
    other: str,
    *,
    name: str,
    geometry: Mapping[str, Any] | None = None,
    who: str = "grower",
) -> Outcome:
    """Make one block of two (UUIDs); rows of the first keep their numbers, those of the other are counted on."""
    with open_grove(where, read_only=True) as grove:
        blocks, crs = grove.blocks(), grove.crs
    first, second = (the_one(blocks, "uuid", uuid, "block")["block"] for uuid in (block, other))
    outlines = [] if geometry is None else [(name, geometry)]
    with as_file(outlines) as file, offering(crs):
        done = regroup.merge(where, first, second, name=name, outline_file=file if outlines else None, who=who)
    return Outcome(said=done.said, figures={**done.figures, "ids": [block]}, tables=done.tables)


@contextmanager
def as_file(outlines: Sequence[tuple[str, Any]]) -> Iterator[Path]:
    """Give drawn shapes, each with its block's name, as the file that the steps read."""
    with tempfile.TemporaryDirectory(prefix="gridmap-") as folder:
        file = Path(folder) / "drawn.geojson"
        features = [
            {"type": "Feature", "properties": {"block": name}, "geometry": geometry} for name, geometry in outlines
        ]
        file.write_text(json.dumps({"type": "FeatureCollection", "features": features}, allow_nan=False), "utf-8")
        yield file


def remove_block(where: Path, block: str, *, who: str = "grower") -> Outcome:
    """Take out a block (UUID) in which no tree ever stood."""
    with open_grove(where) as grove:
        held = the_one(grove.blocks(), "uuid", block, "block")
        if held["block"] in set(grove.places()["block"]):
            raise Conflict(
                f"trees stand in {held['block']}",
                "what was planted keeps its place in the grove for life",
                "take back the act that laid them, or draw the block anew",
            )
        grove.remove_block(block, who=who, what=f"remove block {held['block']}")
    return Outcome(said=(f"{held['block']} is taken out. Undo brings it back.",))


def change_keep_out(where: Path, keep_out: str, feature: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Change what is given of a keep-out (UUID): its shape, name, kind or setback."""
    with open_grove(where) as grove, offering(grove.crs):
        held = the_one(grove.keep_outs(), "keep_out", keep_out, "keep-out")
        shown = held["name"] or held["kind"]
        changes = {key: value for key, value in (feature.get("properties") or {}).items() if key in KEEP_OUT_FACTS}
        if feature.get("geometry") is not None:
            near = bounds(grove.blocks())
            shape, _ = to_grove(drawn([{"geometry": feature["geometry"]}]), grove.grove.crs_code, near=near)
            changes["geometry"] = check_outline(shape.geometry.iloc[0], name=f"keep-out {shown}")
        with grove.act(f"change keep-out {shown}", who=who) as act:
            keep_outs.set_keep_out(act, keep_out, changes)
    return Outcome(figures={"ids": [keep_out]})


def remove_keep_out(where: Path, keep_out: str, *, who: str = "grower") -> Outcome:
    """Take out a keep-out (UUID): its ground may be sprayed from now on."""
    with open_grove(where) as grove:
        held = the_one(grove.keep_outs(), "keep_out", keep_out, "keep-out")
        shown = held["name"] or held["kind"]
        with grove.act(f"remove keep-out {shown}", who=who) as act:
            keep_outs.remove_keep_out(act, keep_out)
    return Outcome(said=(f"{shown} is taken out: its ground may be sprayed now. Undo brings it back.",))


@contextmanager
def offering_of(where: Path) -> Iterator[None]:
    """Let the mended shape of a refused file come out in longitude and latitude."""
    try:
        yield
    except OutlineRefused as refused:
        with open_grove(where, read_only=True) as grove:
            raise lonlat_offer(refused, grove.crs) from None
