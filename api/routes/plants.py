"""Trees that come and go, surveys of them, rows along a line, blocks joined and numbered anew."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Header, Query
from fastapi.responses import Response

from api.access import At, Owner, Seen, Viewer
from api.cache import answer
from api.errors import VERSION_MISSING, DoorRefused
from api.models.geojson import Feature
from api.models.ground import RowsLaid
from api.models.plants import (
    LabelTold,
    LineFacts,
    MergeAsked,
    RenumberAsked,
    Renumbered,
    ReplantAsked,
    Replanted,
    ResurveyTold,
    RetireAsked,
    Retired,
    SurveyImported,
)
from api.routes.common import EDIT, READ, WRITE, Upload, Uuid, Words, imported, one, said_here, stored_already
from api.routes.ground import check_corners
from api.steps import drawing, drawing_rows, layers, plants, redraw, resurvey, rows
from api.steps.versions import Seen as SeenRow
from api.steps.versions import watched
from api.uploads import received
from gridmap.errors import InputRefused

router = APIRouter(prefix="/api/groves/{grove}", tags=["plants"])
Bearing = Annotated[float | None, Form(ge=-360, le=720, allow_inf_nan=False)]


@router.post("/blocks/{block}/follow-line", response_model=RowsLaid, status_code=201, responses=EDIT)
def follow_line(asker: Owner, service: At, block: Uuid, seen: Seen, given: LineFacts) -> Response:
    """Lay rows along a drawn line into a block that has none yet."""
    check_corners([given.line.coordinates], service.settings.limits)
    facts = given.model_dump(exclude={"line"})
    with watched(SeenRow("block", block, seen, "the block")) as writing:
        done = drawing_rows.follow_line(asker.where, block, given.line.model_dump(), facts, who=asker.who)
    version = layers.blocks_layer(asker.where, only=[block])["features"][0]["properties"]["version"]
    told = {"trees": done.figures["trees"], "rows": int(done.figures["blocks"][0]["rows"])}
    return answer({**told, "act": writing.act, "said": said_here(done), "version": version}, 201, version=version)


@router.post("/blocks/{block}/merge", response_model=Feature, responses=EDIT)
def merge_blocks(asker: Owner, service: At, block: Uuid, seen: Seen, given: MergeAsked) -> Response:
    """Make one block of two: the rows of the other get the numbers after the last row of this one."""
    geometry = given.geometry.model_dump() if given.geometry is not None else None
    check_corners(geometry["coordinates"] if geometry else [], service.settings.limits)
    other = SeenRow("block", given.other, int(given.other_version), "the other block")
    with watched(SeenRow("block", block, seen, "the block"), other) as writing:
        done = drawing.merge_blocks(
            asker.where, block, given.other, name=given.name, geometry=geometry, who=asker.who
        )
    return one(layers.blocks_layer(asker.where, only=[block]), act=writing.act, said=said_here(done))


@router.post("/blocks/{block}/renumber", response_model=Renumbered, responses=EDIT)
def renumber_block(asker: Owner, block: Uuid, seen: Seen, given: RenumberAsked) -> Response:
    """Give rows new numbers, row 1 the lowest; free until the first count in the block."""
    name = layers.blocks_layer(asker.where, only=[block])["features"][0]["properties"]["block"]
    with watched(SeenRow("block", block, seen, "the block")) as writing:
        done = redraw.renumber(
            asker.where, name, uphill_bearing_deg=given.uphill_bearing_deg, who=asker.who
        )
    version = layers.blocks_layer(asker.where, only=[block])["features"][0]["properties"]["version"]
    told = {key: done.as_json()[key] for key in ("uphill_bearing_deg", "relabelled")}
    return answer({**told, "act": writing.act, "said": said_here(done), "version": version}, version=version)


@router.post(
    "/trees/replant", response_model=Replanted, status_code=201, responses={**WRITE, **stored_already(Replanted)}
)
def replant_trees(asker: Owner, given: ReplantAsked) -> Response:
    """Set new plants into old places, each under its own uuid; sent again, each is planted once (200)."""
    if any((plant.instead_of is None) == (plant.gap is None) for plant in given.plants):
        raise InputRefused(
            "a new plant has no place", "it stands instead of a living tree or in a gap", "send instead_of or gap"
        )
    with watched() as writing:
        done = plants.replant(
            asker.where,
            trees=[plant.instead_of or plant.gap or "" for plant in given.plants],
            on=given.on,
            canopy_height_m=given.canopy_height_m,
            canopy_width_m=given.canopy_width_m,
            new=[plant.plant for plant in given.plants],
            gaps_only=True,
            who=asker.who,
        )
    figures = done.figures
    told = {"planted": figures["new"], "gone": figures["gone"], "counts_kept": figures["counts_kept"]}
    return answer(
        {**told, "act": writing.act, "said": said_here(done)}, 201 if figures["planted"] else 200
    )


@router.post("/trees/retire", response_model=Retired, responses=WRITE)
def retire_trees(asker: Owner, given: RetireAsked) -> Response:
    """Let trees be gone from a day on; each leaves a gap that keeps its number, and its counts stay."""
    with watched() as writing:
        done = plants.retire(asker.where, trees=given.trees, on=given.on, who=asker.who)
    told = {"gone": given.trees, "gone_on": given.on}
    return answer({**told, "act": writing.act, "said": said_here(done)})


@router.get("/labels", response_model=LabelTold, responses=READ)
def show_label(
    asker: Viewer, label: Annotated[str, Query(min_length=5, max_length=230, description="Block/row/position")]
) -> Response:
    """Say what a label names or ever named: what the place is called now, and which plants stood there."""
    return answer(plants.show_label(asker.where, label).as_json(tables=False))


@router.post("/imports/survey", response_model=SurveyImported, status_code=201, responses=WRITE)
def import_survey(
    asker: Owner,
    service: At,
    file: Upload,
    crs: Words = None,
    layer: Words = None,
    block: Annotated[str | None, Form(max_length=200)] = None,
    bearing_hint_deg: Bearing = None,
    uphill_bearing_deg: Bearing = None,
) -> Response:
    """Find the rows in surveyed trees that know none, and store every tree with its row and place."""
    with received(file, most_bytes=service.settings.limits.layer_bytes) as path, watched() as writing:
        done = rows.find_rows(
            asker.where,
            path,
            block=block or None,
            bearing_hint_deg=bearing_hint_deg,
            uphill_bearing_deg=uphill_bearing_deg,
            layer=layer,
            crs=crs,
            who=asker.who,
        )
    return imported(done, writing.act, "trees", "trees_not_sure", "blocks", "notes")


@router.post("/imports/resurvey", response_model=ResurveyTold, responses=EDIT)
def import_resurvey(
    asker: Owner,
    service: At,
    file: Upload,
    crs: Words = None,
    layer: Words = None,
    block: Annotated[str | None, Form(max_length=200)] = None,
    limit_m: Annotated[float | None, Form(gt=0, le=1000, allow_inf_nan=False)] = None,
    no_shift: Annotated[bool, Form()] = False,
    take_off_shift: Annotated[bool, Form()] = False,
    accept: Annotated[bool, Form()] = False,
    retire_unseen: Annotated[bool, Form()] = False,
    plant_gaps: Annotated[bool, Form()] = False,
    on: Annotated[str | None, Form(max_length=40)] = None,
    if_match: Annotated[str | None, Header(description="With accept: the report that was looked at")] = None,
) -> Response:
    """Match a survey with the known trees and say what would change; with accept, store what was looked at."""
    if accept and not if_match:
        raise DoorRefused(
            VERSION_MISSING,
            "the survey was not looked at",
            "what is stored is what was shown",
            'ask without accept, then send If-Match: "report"',
        )
    with received(file, most_bytes=service.settings.limits.layer_bytes) as path, watched() as writing:
        done = resurvey.resurvey(
            asker.where,
            path,
            block=block or None,
            limit_m=limit_m,
            layer=layer,
            crs=crs,
            no_shift=no_shift,
            take_off_shift=take_off_shift,
            accept=accept,
            retire_unseen=retire_unseen,
            plant_gaps=plant_gaps,
            on=on or None,
            shown=if_match.strip().removeprefix("W/").strip('"') if accept and if_match else None,
            who=asker.who,
        )
    told = {**done.as_json(tables=False), "act": writing.act, "said": said_here(done)}
    return answer(told, version=told["report"])
