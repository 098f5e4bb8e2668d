"""What leaves the service as a file: always an attachment, but for the picture."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Final, Literal

from fastapi import APIRouter
from fastapi.responses import FileResponse, Response
from starlette.background import BackgroundTask

from api.access import Owner, Viewer
from api.routes.common import READ, Uuid, Walk
from api.steps import handing_out

router = APIRouter(prefix="/api/groves/{grove}", tags=["outputs"])

ZoneFormat = Literal["geojson", "gpkg", "kml", "shp.zip", "gpx", "csv"]
#: A page among the files is opened from the disk; were it opened here, it may do nothing.
_SANDBOX: Final = "sandbox; default-src 'none'; frame-ancestors 'none'"


def _handed_out(make: Callable[[Path], Path], name: str, media_type: str, *, inline: bool = False) -> Response:
    """Answer with a file that is made in a folder of its own, and clear the folder away afterwards."""
    folder = Path(tempfile.mkdtemp(prefix="gridmap-"))
    try:
        file = make(folder)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return FileResponse(
        file,
        media_type=media_type,
        filename=name,
        content_disposition_type="inline" if inline else "attachment",
        headers={"Cache-Control": "no-store", "Content-Security-Policy": _SANDBOX},
        background=BackgroundTask(shutil.rmtree, folder, ignore_errors=True),
    )


def _files(*media: str) -> dict[int | str, dict[str, object]]:
    """Describe an answer that is a file."""
    binary = {"type": "string", "format": "binary"}
    content = {kind: {"schema": {"type": "object"} if kind.endswith("json") else binary} for kind in media}
    return {200: {"description": "The file", "content": content}}


@router.get(
    "/outputs/pressure.{ending}",
    response_class=Response,
    responses={**READ, **_files(*handing_out.PRESSURE_FORMATS.values())},
)
def hand_out_pressure(asker: Viewer, ending: Literal["png", "html", "csv"], walk: Walk = None) -> Response:
    """Hand out a walk's map: picture, take-away page, or every tree's figures."""
    return _handed_out(
        lambda out: handing_out.hand_out_pressure(asker.where, ending, out, walk=walk),
        f"pressure.{ending}",
        handing_out.PRESSURE_FORMATS[ending],
        inline=ending == "png",
    )


@router.get(
    "/outputs/change.{ending}",
    response_class=Response,
    responses={**READ, **_files(*handing_out.CHANGE_FORMATS.values())},
)
def hand_out_change(asker: Viewer, ending: Literal["csv", "geojson"], walk: Walk = None) -> Response:
    """Hand out every tree's change since the walk before."""
    return _handed_out(
        lambda out: handing_out.hand_out_change(asker.where, ending, out, walk=walk),
        f"change.{ending}",
        handing_out.CHANGE_FORMATS[ending],
    )


@router.get(
    "/zones/{zone}/exports/{format}",
    response_class=Response,
    responses={**READ, **_files(*(media for _, media in handing_out.ZONE_FORMATS.values()))},
)
def hand_out_zone(asker: Viewer, zone: Uuid, format: ZoneFormat) -> Response:
    """Hand out a zone for whatever the grower carries."""
    name, media_type = handing_out.ZONE_FORMATS[format]
    return _handed_out(lambda out: handing_out.hand_out_zone(asker.where, zone, format, out), name, media_type)


@router.get("/zones/{zone}/run-sheet.pdf", response_class=Response, responses={**READ, **_files("application/pdf")})
def hand_out_sheet(asker: Viewer, zone: Uuid) -> Response:
    """Print the run sheet of a frozen zone."""
    return _handed_out(
        lambda out: handing_out.hand_out_sheet(asker.where, zone, out), "run-sheet.pdf", "application/pdf"
    )


@router.get("/grove.gpkg", response_class=Response, responses={**READ, **_files("application/geopackage+sqlite3")})
def hand_out_grove(asker: Owner) -> Response:
    """Hand out a checked copy of the grove file."""
    return _handed_out(
        lambda out: handing_out.hand_out_grove(asker.where, out), "grove-copy.gpkg", "application/geopackage+sqlite3"
    )
