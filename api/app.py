"""The service: an app made from its settings, one router for each room, every answer through the gate."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from api import errors
from api.access import Service
from api.cache import GEOJSON
from api.guard import Guard
from api.models.examples import add_examples
from api.routes import (
    devices,
    ground,
    grove,
    outputs,
    page,
    planned_walk,
    plants,
    pressure,
    slashing,
    sward,
    terrain,
    treat,
    walk,
)
from api.settings import Settings
from gridmap import __version__

ABOUT = (
    "Grove mapping and spot treatment. Coordinates are WGS 84 longitude and latitude (RFC 7946), figures carry their "
    "unit in their name. The label and the permit are the law; local codes and a licensed adviser come before anything "
    "said here."
)


def create_app(settings: Settings) -> FastAPI:
    """Make the service.

    Parameters
    ----------
    settings : Settings
        Which groves it answers for, and to whom.

    Returns
    -------
    FastAPI
        The app; its groves are in ``app.state.service``.
    """
    service = Service(settings)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        yield
        service.shelf.close()

    app = FastAPI(
        title="gridmap",
        version=__version__,
        description=ABOUT,
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
        generate_unique_id_function=lambda route: route.name,
        redirect_slashes=False,
    )
    app.state.service = service
    errors.register(app)
    rooms = (
        grove, devices, ground, plants, terrain, walk, planned_walk,
        pressure, treat, sward, slashing, outputs, page,
    )
    for room in rooms:
        app.include_router(room.router)
    app.add_middleware(Guard, settings=settings)
    app.openapi = lambda: _described(app)  # type: ignore[method-assign]
    return app


def _is_geojson(content: dict[str, Any]) -> bool:
    """Tell whether an answer is GeoJSON, which has a media type of its own."""
    return str(content.get("schema", {}).get("$ref", "")).endswith(("/Feature", "/FeatureCollection"))


def _described(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI description: problems under their own media type, an example for each operation."""
    if app.openapi_schema is None:
        told = get_openapi(title=app.title, version=app.version, description=app.description, routes=app.routes)
        for path in told["paths"].values():
            for operation in path.values():
                for status, response in operation["responses"].items():
                    if status.startswith(("4", "5")) and "application/json" in response.get("content", {}):
                        response["content"] = {errors.MEDIA_TYPE: response["content"].pop("application/json")}
                    elif _is_geojson(response.get("content", {}).get("application/json", {})):
                        response["content"] = {GEOJSON: response["content"].pop("application/json")}
        add_examples(told)
        app.openapi_schema = told
    return app.openapi_schema
