"""Pressure: the map by columns, what stands beside it, and why a tree's number is what it is."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.access import Viewer
from api.models.pressure import PressureMap, PressureSummary, Why
from api.routes.common import NOT_MODIFIED, READ, Counts, Uuid, Walk
from api.steps import pressure_layer
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
