"""The groves: which there are, what each is and holds, its history, undo, the season's line of days, pairing."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from api.access import COOKIE, At, Owner, Seen, Viewer, is_own, role_for
from api.cache import answer
from api.errors import NOT_ALLOWED, NOT_PAIRED, DoorRefused
from api.models.grove import (
    GroveChange,
    Groves,
    History,
    NewGrove,
    Overview,
    PairAsked,
    Paired,
    UndoAsked,
    Undone,
    YearLine,
)
from api.routes.common import EDIT, READ, WRITE, problems
from api.steps import overview as looking
from api.steps.devices import pair as let_in
from api.steps.grove import new_grove
from api.steps.grove import undo_last as take_last_back
from api.steps.hosting import told_of
from api.steps.versions import Seen as SeenRow
from api.steps.versions import watched
from gridmap import __version__

router = APIRouter(prefix="/api", tags=["grove"])
A_YEAR_S = 365 * 24 * 3600


@router.get("/groves", response_model=Groves, responses=problems(400, 403))
def list_groves(request: Request, service: At) -> Response:
    """List the groves that the asker may see, and what answers."""
    told = []
    for uuid in service.shelf.groves():
        where = service.shelf.where(uuid)
        found = role_for(request, service, where)
        if found is not None:
            info = told_of(where)
            told.append({"grove": uuid, "name": info.name, "invented": info.invented, "role": found[0]})
    own = is_own(request, service.settings)
    about = {
        "gridmap": __version__,
        "shared": service.settings.shared,
        "may_create": own and service.shelf.may_create,
    }
    return answer({"groves": told, "service": about})


@router.post("/groves", response_model=Overview, status_code=201, responses=WRITE)
def create_grove(request: Request, service: At, given: NewGrove) -> Response:
    """Start a first grove at the place that the service was started for."""
    _only_here(request, service)
    where = service.shelf.place_for_new()
    new_grove(
        where,
        name=given.name,
        at=f"{given.longitude},{given.latitude}",
        time_zone=given.time_zone,
        season_start=given.season_start,
        currency=given.currency,
        region=given.region,
        crs_named=given.crs,
    )
    service.shelf.put(where)
    return answer({**looking.overview(where), "role": "owner"}, 201)


@router.post("/demo", response_model=Overview, status_code=201, responses=WRITE)
def make_demo(request: Request, service: At) -> Response:
    """Make the invented grove in a temporary folder; it is gone when the service stops."""
    _only_here(request, service)
    where = service.shelf.where(service.shelf.make_demo())
    return answer({**looking.overview(where), "role": "owner"}, 201)


def _only_here(request: Request, service: At) -> None:
    if not is_own(request, service.settings):
        raise DoorRefused(NOT_ALLOWED, "a grove is started at the machine that keeps it")


@router.post("/pair", response_model=Paired, status_code=201, responses=problems(400, 401, 403, 413, 415, 422, 429))
def pair_device(request: Request, service: At, given: PairAsked) -> Response:
    """Let this device in, with a code from the laptop's screen; its token goes into a cookie that no script reads."""
    service.check_codes()
    for uuid in service.shelf.groves():
        found = let_in(service.shelf.where(uuid), given.code, given.name)
        if found is not None:
            device, token = found
            told = {"device": device.uuid, "name": device.name, "role": device.role, "grove": uuid, "token": token}
            done = answer(told, 201)
            done.headers["Cache-Control"] = "no-store"
            secure = request.url.scheme == "https"
            done.set_cookie(
                f"{COOKIE}{uuid[:8]}", token, max_age=A_YEAR_S, httponly=True, samesite="strict", secure=secure
            )
            return done
    service.wrong_code()
    raise DoorRefused(NOT_PAIRED, "the code is not good, or no more", "it is good once, for a quarter of an hour",
                      "make a new one on the laptop")  # fmt: skip


@router.get("/groves/{grove}", response_model=Overview, responses=READ)
def show_grove(asker: Viewer) -> Response:
    """Say what the grove is and holds, and the one thing to do next."""
    told = {**looking.overview(asker.where), "role": asker.role}
    return answer(told, version=told["version"])


@router.patch("/groves/{grove}", response_model=Overview, responses=EDIT)
def change_grove(asker: Owner, seen: Seen, given: GroveChange) -> Response:
    """Change name, region, time zone, season start, currency or uphill bearing."""
    with watched(SeenRow("grove", asker.grove, seen, "the grove")) as writing:
        looking.change_grove(asker.where, given.model_dump(exclude_unset=True), who=asker.who)
    told = {**looking.overview(asker.where), "role": asker.role, "act": writing.act}
    return answer(told, version=told["version"])


@router.get("/groves/{grove}/history", response_model=History, responses=READ)
def list_acts(asker: Viewer, most: Annotated[int, Query(ge=1, le=1000)] = 20) -> Response:
    """List who did what and when, newest first."""
    return answer({"acts": looking.acts(asker.where, most=most)})


@router.post("/groves/{grove}/undo", response_model=Undone, responses=WRITE)
def undo(asker: Owner, given: UndoAsked) -> Response:
    """Take an act back, if nothing has touched its entries since; the history keeps both."""
    with watched() as writing:
        if given.act is None:
            done = take_last_back(asker.where, who=asker.who)
        else:
            done = looking.undo(asker.where, given.act, who=asker.who)
    figures = done.figures
    return answer(
        {"undone": figures["undone"], "act": writing.act, "entries": figures["entries"], "said": list(done.said)}
    )


@router.get("/groves/{grove}/year-line", response_model=YearLine, responses=READ)
def show_year_line(asker: Viewer) -> Response:
    """Return the season as marks on a line of days."""
    return answer(looking.year_line(asker.where))
