"""The ground: blocks and keep-outs drawn, changed and read in; rows and trees laid."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response

from api.access import At, Owner, Seen, Viewer
from api.cache import GEOJSON, answer
from api.models.base import Done
from api.models.geojson import (
    BlockChange,
    Feature,
    FeatureCollection,
    KeepOutChange,
    NewBlock,
    NewBlocks,
    NewKeepOut,
    NewKeepOuts,
)
from api.models.ground import Imported, Preview, PreviewAsked, RowFacts, RowsLaid, SplitAsked, Trees
from api.routes.common import EDIT, NOT_MODIFIED, READ, WRITE, Upload, Uuid, Words, imported, one, stored_already
from api.settings import Limits
from api.steps import drawing, drawing_rows, ground, layers
from api.steps.refusals import TooLarge
from api.steps.versions import Seen as SeenRow
from api.steps.versions import watched
from api.uploads import received
from gridmap.errors import InputRefused

router = APIRouter(prefix="/api/groves/{grove}", tags=["ground"])



def features_of(given: Any, limits: Limits) -> list[dict[str, Any]]:
    """Return the features of a body as plain values; what has too many corners is refused."""
    features = given.features if hasattr(given, "features") else [given]
    made = [feature.model_dump(exclude_unset=True) for feature in features]
    for feature in made:
        check_corners((feature.get("geometry") or {}).get("coordinates") or [], limits)
    return made


def check_corners(rings: Any, limits: Limits) -> None:
    """Refuse a drawn shape of too many corners."""
    corners = sum(len(ring) for ring in rings)
    if corners > limits.corners:
        raise TooLarge(
            f"the shape has {corners:,} corners",
            f"at most {limits.corners:,} are taken",
            "a corner a metre is plenty",
        )


@router.get("/blocks", response_model=FeatureCollection, responses={**READ, **NOT_MODIFIED})
def list_blocks(request: Request, asker: Viewer) -> Response:
    """Return the blocks with their facts, areas, and numbers of rows and trees."""
    return asker.answers.give(
        request, asker.where, lambda: layers.blocks_layer(asker.where), "blocks", media_type=GEOJSON
    )


@router.post(
    "/blocks",
    response_model=FeatureCollection,
    status_code=201,
    responses={**WRITE, **stored_already(FeatureCollection)},
)
def add_blocks(asker: Owner, service: At, given: NewBlock | NewBlocks) -> Response:
    """Store drawn blocks, each under its own uuid; sent again, each is stored once (200)."""
    with watched() as writing:
        done = drawing.add_blocks(asker.where, features_of(given, service.settings.limits), who=asker.who)
    told = layers.blocks_layer(
        asker.where, only=done.figures["ids"], act=writing.act, notes=list(done.figures["notes"])
    )
    return answer(told, 201 if done.figures["new"] else 200, media_type=GEOJSON)


@router.get("/blocks/{block}", response_model=Feature, responses=READ)
def show_block(asker: Viewer, block: Uuid) -> Response:
    """Return one block."""
    return one(layers.blocks_layer(asker.where, only=[block]))


@router.patch("/blocks/{block}", response_model=Feature, responses=EDIT)
def change_block(asker: Owner, service: At, block: Uuid, seen: Seen, given: BlockChange) -> Response:
    """Draw a block anew (its trees keep who they are), or change its name and facts; one of the two at a time."""
    [feature] = features_of(given, service.settings.limits)
    facts = {
        name: value
        for name, value in (feature.get("properties") or {}).items()
        if name == "block" or name in layers.BLOCK_FACTS
    }
    if feature.get("geometry") is not None and facts:
        raise InputRefused(
            "outline and facts are changed at once", "each is an act of its own", "send one, then the other"
        )
    with watched(SeenRow("block", block, seen, "the block")) as writing:
        if feature.get("geometry") is not None:
            done = drawing.redraw_block(asker.where, block, feature["geometry"], who=asker.who)
        else:
            done = drawing.change_block(asker.where, block, facts, who=asker.who)
    return one(layers.blocks_layer(asker.where, only=[block]), act=writing.act, said=list(done.said))


@router.delete("/blocks/{block}", response_model=Done, responses=EDIT)
def remove_block(asker: Owner, block: Uuid, seen: Seen) -> Response:
    """Take out a block in which no tree ever stood; undo brings it back."""
    with watched(SeenRow("block", block, seen, "the block")) as writing:
        done = drawing.remove_block(asker.where, block, who=asker.who)
    return answer({"act": writing.act, "said": list(done.said)})


@router.post("/blocks/{block}/split", response_model=FeatureCollection, status_code=201, responses=EDIT)
def split_block(asker: Owner, block: Uuid, seen: Seen, given: SplitAsked) -> Response:
    """Cut a block in two along a line right across; every tree keeps its row and position."""
    names = (given.parts[0].name, given.parts[1].name)
    with watched(SeenRow("block", block, seen, "the block")) as writing:
        done = drawing.split_block(asker.where, block, given.line.model_dump(), names, who=asker.who)
    told = layers.blocks_layer(asker.where, only=done.figures["ids"], act=writing.act, notes=list(done.said))
    return answer(told, 201, media_type=GEOJSON)


@router.post("/blocks/{block}/rows", response_model=RowsLaid, status_code=201, responses=EDIT)
def lay_rows(asker: Owner, block: Uuid, seen: Seen, given: RowFacts) -> Response:
    """Lay straight rows and trees into a block that has none yet."""
    name = layers.blocks_layer(asker.where, only=[block])["features"][0]["properties"]["block"]
    with watched(SeenRow("block", block, seen, "the block")) as writing:
        done = ground.make_rows(asker.where, block=name, **given.model_dump(), who=asker.who)
    version = layers.blocks_layer(asker.where, only=[block])["features"][0]["properties"]["version"]
    rows = sum(int(one["rows"]) for one in done.figures["blocks"])
    return answer(
        {
            "trees": int(done.figures["trees"]),
            "rows": rows,
            "act": writing.act,
            "said": list(done.said),
            "version": version,
        },
        201,
        version=version,
    )


@router.post("/preview-rows", response_model=Preview, responses=WRITE)
def preview_rows(asker: Viewer, service: At, given: PreviewAsked) -> Response:
    """Show the rows and trees that would be laid into an outline; nothing is stored."""
    along = [given.line.coordinates] if given.line else []
    check_corners([*given.geometry.coordinates, *along], service.settings.limits)
    facts = given.model_dump(exclude={"geometry", "line"})
    line = given.line.model_dump() if given.line else None
    return answer(drawing_rows.preview_rows(asker.where, given.geometry.model_dump(), facts, line))


@router.get("/keep-outs", response_model=FeatureCollection, responses={**READ, **NOT_MODIFIED})
def list_keep_outs(request: Request, asker: Viewer, setbacks: Annotated[bool, Query()] = False) -> Response:
    """Return what must never be sprayed; with setbacks, the whole ground that is barred."""
    return asker.answers.give(
        request,
        asker.where,
        lambda: layers.keep_outs_layer(asker.where, setbacks=setbacks),
        "keep-outs",
        setbacks,
        media_type=GEOJSON,
    )


@router.post(
    "/keep-outs",
    response_model=FeatureCollection,
    status_code=201,
    responses={**WRITE, **stored_already(FeatureCollection)},
)
def add_keep_outs(asker: Owner, service: At, given: NewKeepOut | NewKeepOuts) -> Response:
    """Store drawn keep-outs, each under its own uuid; sent again, each is stored once (200)."""
    with watched() as writing:
        done = drawing.add_keep_outs(asker.where, features_of(given, service.settings.limits), who=asker.who)
    told = layers.keep_outs_layer(
        asker.where, only=done.figures["ids"], act=writing.act, notes=list(done.figures["notes"])
    )
    return answer(told, 201 if done.figures["new"] else 200, media_type=GEOJSON)


@router.get("/keep-outs/{keep_out}", response_model=Feature, responses=READ)
def show_keep_out(asker: Viewer, keep_out: Uuid) -> Response:
    """Return one keep-out."""
    return one(layers.keep_outs_layer(asker.where, only=[keep_out]))


@router.patch("/keep-outs/{keep_out}", response_model=Feature, responses=EDIT)
def change_keep_out(asker: Owner, service: At, keep_out: Uuid, seen: Seen, given: KeepOutChange) -> Response:
    """Change shape, name, kind or setback of a keep-out."""
    [feature] = features_of(given, service.settings.limits)
    with watched(SeenRow("keep_out", keep_out, seen, "the keep-out")) as writing:
        drawing.change_keep_out(asker.where, keep_out, feature, who=asker.who)
    return one(layers.keep_outs_layer(asker.where, only=[keep_out]), act=writing.act)


@router.delete("/keep-outs/{keep_out}", response_model=Done, responses=EDIT)
def remove_keep_out(asker: Owner, keep_out: Uuid, seen: Seen) -> Response:
    """Take a keep-out away: its ground may be sprayed then; undo brings it back."""
    with watched(SeenRow("keep_out", keep_out, seen, "the keep-out")) as writing:
        done = drawing.remove_keep_out(asker.where, keep_out, who=asker.who)
    return answer({"act": writing.act, "said": list(done.said)})


@router.get("/rows", response_model=FeatureCollection, responses={**READ, **NOT_MODIFIED})
def list_rows(request: Request, asker: Viewer) -> Response:
    """Return the rows as lines."""
    return asker.answers.give(request, asker.where, lambda: layers.rows_layer(asker.where), "rows", media_type=GEOJSON)


@router.get("/trees", response_model=Trees, responses={**READ, **NOT_MODIFIED})
def list_trees(request: Request, asker: Viewer) -> Response:
    """Return every living tree by columns, with the ground that is its own."""
    return asker.answers.give(request, asker.where, lambda: layers.trees_layer(asker.where), "trees")


@router.post("/imports/outlines", response_model=Imported, status_code=201, responses=WRITE)
def import_outlines(asker: Owner, service: At, file: Upload, crs: Words = None, layer: Words = None) -> Response:
    """Read block outlines from a file, all or none."""
    most = service.settings.limits.layer_bytes
    with received(file, most_bytes=most) as path, watched() as writing, drawing.offering_of(asker.where):
        done = ground.import_outlines(asker.where, path, layer=layer, crs=crs, who=asker.who)
    return imported(done, writing.act, "blocks", "notes")


@router.post("/imports/keep-outs", response_model=Imported, status_code=201, responses=WRITE)
def import_keep_outs(
    asker: Owner,
    service: At,
    file: Upload,
    crs: Words = None,
    layer: Words = None,
    kind: Words = None,
    setback_m: Annotated[float | None, Form(ge=0, le=5000, allow_inf_nan=False)] = None,
) -> Response:
    """Read keep-outs from a file; kind and setback of entries that carry none come from the form."""
    most = service.settings.limits.layer_bytes
    with received(file, most_bytes=most) as path, watched() as writing, drawing.offering_of(asker.where):
        done = ground.import_keep_outs(
            asker.where, path, layer=layer, crs=crs, kind=kind, setback_m=setback_m, who=asker.who
        )
    return imported(done, writing.act, "keep_outs", "notes")


@router.post("/imports/trees", response_model=Imported, status_code=201, responses=WRITE)
def import_trees(
    asker: Owner, service: At, file: Upload, crs: Words = None, layer: Words = None, place_at: Words = None
) -> Response:
    """Read tree positions from a file."""
    with received(file, most_bytes=service.settings.limits.layer_bytes) as path, watched() as writing:
        done = ground.import_trees(asker.where, path, layer=layer, crs=crs, place_at=place_at, who=asker.who)
    return imported(done, writing.act, "trees", "blocks", "notes")
