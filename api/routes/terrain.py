"""The lie of the land: heights read in, gates and refill points drawn, changed and read in."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import Response

from api.access import At, Owner, Seen, Viewer
from api.cache import GEOJSON, answer
from api.models.base import Done
from api.models.geojson import Feature, FeatureCollection
from api.models.terrain import HeightsImported, NewPoint, NewPoints, PointChange, PointsImported
from api.routes.common import EDIT, NOT_MODIFIED, READ, WRITE, Upload, Uuid, Words, imported, one, stored_already
from api.steps import points, terrain, tree_heights
from api.steps.versions import Seen as SeenRow
from api.steps.versions import watched
from api.uploads import received

router = APIRouter(prefix="/api/groves/{grove}", tags=["terrain"])
Unit = Annotated[
    str | None,
    Form(pattern="^(metre|foot|us_survey_foot)$", description="Of the heights, where the file does not say it"),
]
Kind = Annotated[str | None, Form(pattern="^(gate|refill|other)$", description="Of entries that carry none")]


@router.post("/imports/dem", response_model=HeightsImported, status_code=201, responses=WRITE)
def import_dem(
    asker: Owner, service: At, file: Annotated[UploadFile, File(description="GeoTIFF")], vertical_unit: Unit = None
) -> Response:
    """Read heights from a DEM; rows keep their numbers and arrows stay as they were drawn."""
    with received(file, most_bytes=service.settings.limits.layer_bytes) as path, watched() as writing:
        done = terrain.import_dem(asker.where, path, vertical_unit=vertical_unit, who=asker.who)
    return imported(done, writing.act, "dem", "cell_m", "places", "places_with_height", "blocks", "notes")


@router.post("/imports/heights", response_model=HeightsImported, status_code=201, responses=WRITE)
def import_heights(asker: Owner, service: At, file: Upload, crs: Words = None, layer: Words = None) -> Response:
    """Read heights that were measured at trees; plainly wrong ones are left out and named."""
    with received(file, most_bytes=service.settings.limits.layer_bytes) as path, watched() as writing:
        done = tree_heights.import_heights(asker.where, path, layer=layer, crs=crs, who=asker.who)
    names = ("heights", "wrong", "scatter_m", "places", "places_with_height", "blocks", "notes")
    return imported(done, writing.act, *names)


@router.post("/imports/points", response_model=PointsImported, status_code=201, responses=WRITE)
def import_points(
    asker: Owner, service: At, file: Upload, crs: Words = None, layer: Words = None, kind: Kind = None
) -> Response:
    """Read gates, refill points and other points from a file."""
    with received(file, most_bytes=service.settings.limits.layer_bytes) as path, watched() as writing:
        done = terrain.import_points(asker.where, path, layer=layer, crs=crs, kind=kind, who=asker.who)
    return imported(done, writing.act, "points", "notes")


@router.get("/points", response_model=FeatureCollection, responses={**READ, **NOT_MODIFIED})
def list_points(request: Request, asker: Viewer) -> Response:
    """Return gates, refill points and other points."""
    return asker.answers.give(
        request, asker.where, lambda: points.points_layer(asker.where), "points", media_type=GEOJSON
    )


@router.post(
    "/points",
    response_model=FeatureCollection,
    status_code=201,
    responses={**WRITE, **stored_already(FeatureCollection)},
)
def add_points(asker: Owner, given: NewPoint | NewPoints) -> Response:
    """Store drawn points, each under its own uuid; sent again, each is stored once (200)."""
    with watched() as writing:
        done = points.add_points(asker.where, _plain(given), who=asker.who)
    told = points.points_layer(
        asker.where, only=done.figures["ids"], act=writing.act, notes=list(done.figures["notes"])
    )
    return answer(told, 201 if done.figures["new"] else 200, media_type=GEOJSON)


def _plain(given: NewPoint | NewPoints) -> list[dict[str, Any]]:
    features = given.features if isinstance(given, NewPoints) else [given]
    return [feature.model_dump(exclude_unset=True) for feature in features]


@router.get("/points/{point}", response_model=Feature, responses=READ)
def show_point(asker: Viewer, point: Uuid) -> Response:
    """Return one point."""
    return one(points.points_layer(asker.where, only=[point]))


@router.patch("/points/{point}", response_model=Feature, responses=EDIT)
def change_point(asker: Owner, point: Uuid, seen: Seen, given: PointChange) -> Response:
    """Change place, name or kind of a point."""
    with watched(SeenRow("point_of_interest", point, seen, "the point")) as writing:
        points.change_point(asker.where, point, given.model_dump(exclude_unset=True), who=asker.who)
    return one(points.points_layer(asker.where, only=[point]), act=writing.act)


@router.delete("/points/{point}", response_model=Done, responses=EDIT)
def remove_point(asker: Owner, point: Uuid, seen: Seen) -> Response:
    """Take a point out; undo brings it back."""
    with watched(SeenRow("point_of_interest", point, seen, "the point")) as writing:
        done = points.remove_point(asker.where, point, who=asker.who)
    return answer({"act": writing.act, "said": list(done.said)})
