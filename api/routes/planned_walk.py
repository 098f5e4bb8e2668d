"""Planned walks, what phones record on them, moves, positions, paper."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, File, Form, Query, Request, UploadFile
from fastapi.responses import Response

from api.access import At, Helper, Viewer
from api.cache import answer
from api.models import planned_walk as models
from api.routes.common import NOT_MODIFIED, READ, WRITE, Uuid, stored_already
from api.routes.outputs import _files, _handed_out
from api.steps import being_there, moving_counts, phone, walk_plan
from api.steps.versions import watched
from api.uploads import received

router = APIRouter(prefix="/api/groves/{grove}", tags=["walk"])


@router.get("/plans", response_model=models.Plans, responses={**READ, **NOT_MODIFIED})
def list_plans(request: Request, asker: Viewer) -> Response:
    """Return every planned walk, the newest last."""
    return asker.answers.give(request, asker.where, lambda: {"plans": walk_plan.plans_table(asker.where)}, "plans")


@router.post(
    "/plans",
    response_model=models.PlanStored,
    status_code=201,
    responses={**WRITE, **stored_already(models.PlanStored)},
)
def plan_walk(asker: Helper, given: models.NewPlan) -> Response:
    """Plan a walk: which trees, which way round, and when enough were beaten; sent again, it is stored once."""
    with watched() as writing:
        done = walk_plan.make_plan(asker.where, given.model_dump(), who=asker.who)
    told = walk_plan.show_plan(asker.where, str(done.figures["plan"]))
    return answer({**told, "act": writing.act}, 201 if done.figures["new"] else 200)


@router.get("/plans/{plan}", response_model=models.Plan, responses={**READ, **NOT_MODIFIED})
def show_plan(request: Request, asker: Viewer, plan: Uuid) -> Response:
    """Return a planned walk: trees in walking order, the way, the time, the verdict tables."""
    return asker.answers.give(request, asker.where, lambda: walk_plan.show_plan(asker.where, plan), "plan", plan)


@router.get("/plans/{plan}/bundle", response_model=models.Bundle, responses={**READ, **NOT_MODIFIED})
def take_along(request: Request, asker: Viewer, plan: Uuid) -> Response:
    """Return all that a phone takes along to where there is no signal."""
    return asker.answers.give(request, asker.where, lambda: walk_plan.bundle(asker.where, plan), "bundle", plan)


@router.get(
    "/plans/{plan}/tally-sheet.pdf",
    response_class=Response,
    responses={**READ, **_files("application/pdf")},
)
def hand_out_tally(asker: Viewer, plan: Uuid) -> Response:
    """Hand out the tally sheet of a planned walk, in walking order, with boxes to write into."""

    def make(out: Path) -> Path:
        walk_plan.print_tally(asker.where, out / "tally-sheet.pdf", plan)
        return out / "tally-sheet.pdf"

    return _handed_out(make, "tally-sheet.pdf", "application/pdf")


@router.post("/walks/{walk}/events", response_model=models.EventsTaken, responses=WRITE)
def record_events(asker: Helper, walk: Uuid, given: models.NewEvents) -> Response:
    """Store what a phone recorded, each event once and by itself; answered when all of it is on the disk."""
    about = None if given.walk is None else given.walk.model_dump()
    return answer(phone.record_events(asker.where, walk, given.device, given.events, about=about, who=asker.who))


@router.get("/walks/{walk}/events", response_model=models.Events, responses=READ)
def list_events(
    asker: Viewer,
    walk: Uuid,
    after: Annotated[int, Query(ge=0, le=2**53, description="Number of the last one had")] = 0,
) -> Response:
    """Return what was recorded on a walk in the order of arrival, what was overtaken among it."""
    return answer(phone.events_of(asker.where, walk, after))


@router.get("/walks/{walk}/positions", response_model=models.Positions, responses={**READ, **NOT_MODIFIED})
def list_positions(request: Request, asker: Viewer, walk: Uuid) -> Response:
    """Return where the phone was at each count, and which counts lie in another block than they say."""
    return asker.answers.give(
        request, asker.where, lambda: being_there.positions_of(asker.where, walk), "positions", walk
    )


@router.post(
    "/walks/{walk}/moves",
    response_model=models.Moved,
    status_code=201,
    responses={**WRITE, 200: {"model": models.Moved, "description": "Only looked at, nothing was stored"}},
)
def move_counts(asker: Helper, walk: Uuid, given: models.NewMove) -> Response:
    """Give counts to another block's trees in one act; undo puts all of them back."""
    asked = given.model_dump()
    done = moving_counts.move_counts(asker.where, walk, asked.pop("to_block"), **asked, who=asker.who)
    told = done.as_json()
    kept = {name: told[name] for name in ("moved", "left", "act", "clock", "said")}
    return answer(kept, 200 if given.look else 201)


@router.post("/walks/{walk}/paper", response_model=models.EventsTaken, responses=WRITE)
def enter_paper(asker: Helper, walk: Uuid, given: models.Paper) -> Response:
    """Store what was written on a tally sheet; a line typed again replaces what it said before."""
    return answer(phone.record_paper(asker.where, walk, given.model_dump(), who=asker.who))


@router.post("/imports/phone", response_model=models.PhoneRead, status_code=201, responses=WRITE)
def read_phone(
    asker: Helper,
    service: At,
    file: Annotated[UploadFile, File(description="JSON that a phone saved")],
    confirmed: Annotated[bool, Form()] = False,
) -> Response:
    """Read a file that a phone saved; what is there already is stored once."""
    with received(file, most_bytes=service.settings.limits.table_bytes) as path:
        done = phone.read_phone(asker.where, path, confirmed=confirmed, who=asker.who)
    return answer(done.as_json(), 201)
