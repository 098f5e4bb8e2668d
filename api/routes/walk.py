"""Walks and counts: recorded one or many at a time, or read in from a file."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import Response

from api.access import At, Helper, Viewer
from api.cache import answer
from api.models.walk import Counts, CountsImported, CountsStored, NewCounts, NewWalk, Walks, WalkStored
from api.routes.common import NOT_MODIFIED, READ, WRITE, Uuid, stored_already
from api.steps import recording, walk
from api.steps.versions import watched
from api.uploads import received

router = APIRouter(prefix="/api/groves/{grove}", tags=["walk"])


@router.get("/walks", response_model=Walks, responses={**READ, **NOT_MODIFIED})
def list_walks(request: Request, asker: Viewer) -> Response:
    """Return every walk with how much was counted on it, oldest first."""
    return asker.answers.give(request, asker.where, lambda: {"walks": recording.walks_table(asker.where)}, "walks")


@router.post("/walks", response_model=WalkStored, status_code=201, responses={**WRITE, **stored_already(WalkStored)})
def add_walk(asker: Helper, given: NewWalk) -> Response:
    """Store a walk under its own uuid; sent again, it is stored once (200)."""
    values = given.model_dump()
    with watched() as writing:
        done = recording.add_walk(asker.where, values, who=asker.who)
    told = {name: values[name] for name in ("walk", "date", "name", "observer")}
    return answer({**told, "act": writing.act}, 201 if done.figures["new"] else 200)


@router.get("/walks/{walk}/counts", response_model=Counts, responses={**READ, **NOT_MODIFIED})
def list_counts(request: Request, asker: Viewer, walk: Uuid) -> Response:
    """Return the counts of a walk by columns."""
    return asker.answers.give(request, asker.where, lambda: recording.counts_of(asker.where, walk), "counts", walk)


@router.post(
    "/walks/{walk}/counts",
    response_model=CountsStored,
    status_code=201,
    responses={**WRITE, **stored_already(CountsStored)},
)
def record_counts(asker: Helper, walk: Uuid, given: NewCounts) -> Response:
    """Store counts, all or none, each once; answered when they are on the disk."""
    values = [count.model_dump() for count in given.counts]
    done = recording.record_counts(asker.where, walk, values, who=asker.who)
    return answer(dict(done.figures), 201 if done.figures["new"] else 200)


@router.post("/imports/counts", response_model=CountsImported, status_code=201, responses=WRITE)
def import_counts(
    asker: Helper,
    service: At,
    file: Annotated[UploadFile, File(description="CSV of counts")],
    walk_name: Annotated[str | None, Form(alias="walk", max_length=200)] = None,
    date: Annotated[str | None, Form(max_length=40)] = None,
    crs: Annotated[str | None, Form(max_length=100)] = None,
    snap_m: Annotated[float | None, Form(gt=0, le=1000, allow_inf_nan=False)] = None,
    accept_good_rows: Annotated[bool, Form()] = False,
) -> Response:
    """Read the counts of one walk from a file, all or none unless the good lines are asked for."""
    with received(file, most_bytes=service.settings.limits.table_bytes) as path, watched() as writing:
        done = walk.import_counts(
            asker.where,
            path,
            walk=walk_name or None,
            date=date or None,
            crs=crs or None,
            snap_m=snap_m,
            accept_good_rows=accept_good_rows,
            who=asker.who,
        )
    told = done.as_json()
    told.pop("tables", None)
    return answer({**told, "act": writing.act}, 201)
