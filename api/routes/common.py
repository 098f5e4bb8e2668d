"""What the routers share."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import File, Form, Path, Query, UploadFile
from fastapi.responses import Response

from api.cache import GEOJSON, answer
from api.models.base import Problem
from api.steps.outcome import Outcome

Uuid = Annotated[
    str, Path(pattern=r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$", description="UUID")
]
Walk = Annotated[
    str | None, Query(max_length=200, description="UUID, date or name of a walk; the latest when left out")
]
Counts = Annotated[
    str | None,
    Query(pattern="^(nymphs|nymphs_and_adults)$", description="What is counted; the threshold says it when left out"),
]
Upload = Annotated[UploadFile, File(description="GeoJSON, GeoPackage, KML, GPX, zipped Shapefile or CSV")]
Words = Annotated[str | None, Form(max_length=100)]


def problems(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Describe the problems that an operation may answer with."""
    return {status: {"model": Problem, "description": _WORDS[status]} for status in statuses}


_WORDS: Final = {
    400: "The request can't be understood",
    401: "Not paired",
    403: "Not allowed",
    404: "Not there",
    409: "Does not fit what is in the grove now, or something only the grower knows is missing",
    412: "Changed meanwhile",
    413: "Too large",
    415: "Another media type",
    422: "What was given can't be used; nothing was stored",
    428: "The edit does not say which version it has seen",
    429: "Too many wrong codes",
    503: "The grove can't be read or written now",
}
READ: Final = problems(400, 401, 403, 404, 409, 422, 503)
WRITE: Final = problems(400, 401, 403, 404, 409, 413, 415, 422, 503)
EDIT: Final = problems(400, 401, 403, 404, 409, 412, 413, 415, 422, 428, 503)
NOT_MODIFIED: Final[dict[int | str, dict[str, Any]]] = {304: {"description": "Nothing has changed"}}


def stored_already(model: type) -> dict[int | str, dict[str, Any]]:
    """Describe the answer to what was sent again with the same content."""
    return {200: {"model": model, "description": "It is stored already, with the same content"}}


def said_here(done: Outcome) -> list[str]:
    """Return what there is to say, without the hints for the command line."""
    return [sentence for sentence in done.said if not sentence.startswith("Next: gridmap")]


def imported(done: Outcome, act: str | None, *names: str) -> Response:
    """Answer what an import read in: these figures, the act, and what there is to say."""
    told = done.as_json()
    return answer({**{name: told[name] for name in names if name in told}, "act": act, "said": said_here(done)}, 201)


def one(layer: dict[str, Any], **more: Any) -> Response:
    """Answer the one feature of a layer, its version as the ETag."""
    feature = layer["features"][0]
    return answer({**feature, **more}, media_type=GEOJSON, version=feature["properties"]["version"])
