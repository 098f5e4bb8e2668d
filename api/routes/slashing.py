"""When to slash: seed-head checks, the log, running grasses."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from api.access import Helper, Owner, Viewer
from api.cache import GEOJSON, answer
from api.models.geojson import FeatureCollection
from api.models.sward import (
    NewRunning,
    NewSeedChecks,
    NewSlash,
    RunningStored,
    SeedChecks,
    Slashes,
    Slashing,
    SlashStored,
    Stored,
)
from api.routes.common import NOT_MODIFIED, READ, WRITE, stored_already
from api.steps import slashing
from api.steps.versions import watched

router = APIRouter(prefix="/api/groves/{grove}", tags=["sward"])


@router.get("/slashing", response_model=Slashing, responses=READ)
def show_slashing(
    asker: Viewer,
    on: Annotated[str | None, Query(pattern=r"^\d{4}-\d{2}-\d{2}$", description="A day; today when left out")] = None,
) -> Response:
    """Return readiness by part and grass, what speaks against the day, look-alikes, the log."""
    return answer(slashing.slashing_of(asker.where, on=on))


@router.get("/seed-checks", response_model=SeedChecks, responses={**READ, **NOT_MODIFIED})
def list_seed_checks(request: Request, asker: Viewer) -> Response:
    """Return every seed-head check, oldest first."""
    return asker.answers.give(
        request, asker.where, lambda: {"checks": slashing.checks_table(asker.where)}, "seed-checks"
    )


@router.post("/seed-checks", response_model=Stored, status_code=201, responses={**WRITE, **stored_already(Stored)})
def add_seed_checks(asker: Helper, given: NewSeedChecks) -> Response:
    """Store seed-head checks, all or none, each once."""
    with watched() as writing:
        done = slashing.add_seed_checks(asker.where, [check.model_dump() for check in given.checks], who=asker.who)
    return answer({**done.figures, "act": writing.act}, 201 if done.figures["new"] else 200)


@router.get("/slashes", response_model=Slashes, responses={**READ, **NOT_MODIFIED})
def list_slashes(request: Request, asker: Viewer) -> Response:
    """Return the log of slashing, oldest first."""
    return asker.answers.give(
        request, asker.where, lambda: {"slashes": slashing.slashes_table(asker.where)}, "slashes"
    )


@router.post(
    "/slashes", response_model=SlashStored, status_code=201, responses={**WRITE, **stored_already(SlashStored)}
)
def log_slash(asker: Owner, given: NewSlash) -> Response:
    """Store a slash, once."""
    with watched() as writing:
        done = slashing.log_slash(asker.where, given.model_dump(exclude_none=True), who=asker.who)
    return answer(
        {**done.figures, "act": writing.act, "said": list(done.said)}, 201 if done.figures["new"] else 200
    )


@router.get("/running-grasses", response_model=FeatureCollection, responses={**READ, **NOT_MODIFIED})
def list_running_grasses(request: Request, asker: Viewer) -> Response:
    """Return every sighting of a running grass, oldest first, with the trend of its patch."""
    return asker.answers.give(
        request, asker.where, lambda: slashing.running_layer(asker.where), "running", media_type=GEOJSON
    )


@router.post(
    "/running-grasses", response_model=RunningStored, status_code=201,
    responses={**WRITE, **stored_already(RunningStored)},
)  # fmt: skip
def pin_running_grass(asker: Helper, given: NewRunning) -> Response:
    """Store where a running grass was seen, once."""
    longitude, latitude = given.geometry.coordinates[:2]
    seen: dict[str, Any] = {"sighting": given.id, **given.properties.model_dump(exclude_none=True)}
    with watched() as writing:
        done = slashing.pin_running(asker.where, {**seen, "longitude": longitude, "latitude": latitude}, who=asker.who)
    return answer({**done.figures, "act": writing.act}, 201 if done.figures["new"] else 200)
