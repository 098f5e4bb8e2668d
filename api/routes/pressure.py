"""Pressure: the map by columns, what stands beside it, and why a tree's number is what it is."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from api.access import Viewer
from api.models.pressure import ChangeMap, LookNext, PressureMap, PressureSummary, Why
from api.routes.common import NOT_MODIFIED, READ, Counts, Uuid, Walk
from api.steps import pressure_layer
from api.steps.change_layer import change_layer
from api.steps.look_layer import look_layer
from api.steps.where_next import MOST, USUAL_NUMBER
from api.steps.why import why_tree

router = APIRouter(prefix="/api/groves/{grove}/pressure", tags=["pressure"])


@router.get("", response_model=PressureMap, responses={**READ, **NOT_MODIFIED})
def show_pressure(request: Request, asker: Viewer, walk: Walk = None, counts: Counts = None) -> Response:
    """Return every living tree's figures by columns, in the order of the trees layer."""
    return asker.answers.give(
        request,
        asker.where,
        lambda: pressure_layer.pressure_layer(asker.where, walk=walk, counts=counts),
        "pressure",
        walk,
        counts,
    )


@router.get("/summary", response_model=PressureSummary, responses={**READ, **NOT_MODIFIED})
def show_summary(request: Request, asker: Viewer, walk: Walk = None, counts: Counts = None) -> Response:
    """Return the finding, the blocks, the rows and the hot spots of a walk."""
    return asker.answers.give(
        request,
        asker.where,
        lambda: pressure_layer.pressure_summary(asker.where, walk=walk, counts=counts),
        "summary",
        walk,
        counts,
    )


@router.get("/next", response_model=LookNext, responses={**READ, **NOT_MODIFIED})
def show_next(
    request: Request,
    asker: Viewer,
    walk: Walk = None,
    counts: Counts = None,
    trees: Annotated[int, Query(ge=1, le=MOST, description="How many trees to name")] = USUAL_NUMBER,
) -> Response:
    """Name the trees to beat next, most worth first, and say whether it would change the decision."""
    return asker.answers.give(
        request,
        asker.where,
        lambda: look_layer(asker.where, walk=walk, counts=counts, n=trees),
        "next",
        walk,
        counts,
        str(trees),
    )


@router.get("/change", response_model=ChangeMap, responses={**READ, **NOT_MODIFIED})
def show_change(request: Request, asker: Viewer, walk: Walk = None, counts: Counts = None) -> Response:
    """Return the change since the walk before: every tree by columns, blocks, treated against untreated."""
    return asker.answers.give(
        request,
        asker.where,
        lambda: change_layer(asker.where, walk=walk, counts=counts),
        "change",
        walk,
        counts,
    )


@router.get("/trees/{tree}", response_model=Why, responses={**READ, **NOT_MODIFIED})
def show_why(request: Request, asker: Viewer, tree: Uuid, walk: Walk = None, counts: Counts = None) -> Response:
    """Say what one tree's number rests on: the beats around it, the formula, its source."""
    return asker.answers.give(
        request,
        asker.where,
        lambda: why_tree(asker.where, tree, walk=walk, counts=counts),
        "why",
        tree,
        walk,
        counts,
    )
