"""One table from what can go wrong to what a client is told: application/problem+json (RFC 9457), never a traceback."""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from api.steps.outcome import plain
from api.steps.refusals import ChangedMeanwhile, Conflict, NotThere, TooLarge
from gridmap import errors

log = logging.getLogger("gridmap")

MEDIA_TYPE: Final = "application/problem+json"


@dataclass(frozen=True)
class Kind:
    """How one kind of trouble is told: HTTP status, last part of its type, title."""

    status: int
    name: str
    title: str


class DoorRefused(errors.InputRefused):
    """The door itself refuses: not paired, not allowed, another media type, a version missing."""

    def __init__(self, kind: Kind, what: str, rule: str | None = None, remedy: str | None = None) -> None:
        super().__init__(what, rule, remedy)
        self.kind = kind


NOT_UNDERSTOOD: Final = Kind(400, "not-understood", "The request can't be understood")
NOT_PAIRED: Final = Kind(401, "not-paired", "This device is not paired")
NOT_ALLOWED: Final = Kind(403, "not-allowed", "This is not allowed")
NOT_FOUND: Final = Kind(404, "not-found", "This is not there")
NO_METHOD: Final = Kind(405, "no-such-operation", "This can't be done here")
CONFLICT: Final = Kind(409, "conflict", "This does not fit what is in the grove now")
CHANGED: Final = Kind(412, "changed-meanwhile", "Somebody changed this meanwhile")
TOO_LARGE: Final = Kind(413, "too-large", "This is more than is taken at once")
WRONG_MEDIA: Final = Kind(415, "media-type", "This is not sent in a form that is read")
REFUSED: Final = Kind(422, "input-refused", "What was given can't be used")
VERSION_MISSING: Final = Kind(428, "version-missing", "The edit does not say which version it has seen")
TOO_MANY: Final = Kind(429, "too-many", "Too many wrong codes")
BROKEN: Final = Kind(500, "not-foreseen", "This should not have happened")

#: The first that fits, the special before the general.
TABLE: Final[tuple[tuple[type[errors.GridmapError], Kind], ...]] = (
    (NotThere, NOT_FOUND),
    (ChangedMeanwhile, CHANGED),
    (Conflict, CONFLICT),
    (TooLarge, TOO_LARGE),
    (errors.OutlineRefused, Kind(422, "outline-refused", "The outline can't be used")),
    (errors.CRSRefused, Kind(422, "crs-refused", "The coordinates can't be used")),
    (errors.FileRefused, Kind(422, "file-refused", "The file can't be used")),
    (errors.RowsRefused, Kind(422, "rows-refused", "Some lines can't be used")),
    (errors.InputRefused, REFUSED),
    (errors.InputMissing, Kind(409, "input-missing", "Something only the grower knows is missing")),
    (errors.GroveBusy, Kind(503, "grove-busy", "Another program holds the grove")),
    (errors.GroveReadOnly, Kind(503, "grove-read-only", "The grove can't be written")),
    (errors.GroveFileError, Kind(503, "grove-file", "The grove can't be used")),
    (errors.GridmapError, REFUSED),
)
_BY_STATUS: Final = {
    kind.status: kind for kind in (NOT_UNDERSTOOD, NOT_ALLOWED, NOT_FOUND, NO_METHOD, TOO_LARGE, WRONG_MEDIA)
}


def kind_of(error: errors.GridmapError) -> Kind:
    """Return how an error is told."""
    if isinstance(error, DoorRefused):
        return error.kind
    return next(kind for sort, kind in TABLE if isinstance(error, sort))


def problem(error: errors.GridmapError) -> Response:
    """Write an error as a problem; what there is to mend it with rides along."""
    kind = kind_of(error)
    more: dict[str, Any] = {}
    problems: Sequence[tuple[object, str]] = getattr(error, "problems", ())
    if problems:
        more["problems"] = [{"at": _where(at, error), "problem": said} for at, said in problems]
    if getattr(error, "missing", None):
        more["missing"] = list(error.missing)  # type: ignore[attr-defined]
    if isinstance(getattr(error, "mended", None), Mapping):
        more["mended"] = error.mended  # type: ignore[attr-defined]
    if isinstance(error, ChangedMeanwhile):
        more["version"] = str(error.version)
    return written(kind, str(error), what=error.what, rule=error.rule, remedy=error.remedy, **more)


def _where(at: object, error: errors.GridmapError) -> str:
    if isinstance(at, int):
        return f"{getattr(error, 'unit', 'line')}{f'[{at}]' if hasattr(error, 'unit') else f' {at}'}"
    return str(at)


def written(kind: Kind, detail: str, **more: Any) -> Response:
    """Write a problem of a kind; what is None is left out."""
    content = {
        "type": f"/problems#{kind.name}",
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        **{name: value for name, value in more.items() if value is not None},
    }
    headers = {"Cache-Control": "no-store"}
    if kind.status == 503:
        headers["Retry-After"] = "5"
    if kind.status == 401:
        headers["WWW-Authenticate"] = "Bearer"
    text = json.dumps(plain(content), ensure_ascii=False, allow_nan=False)
    return Response(text.encode("utf-8", "replace"), kind.status, headers, MEDIA_TYPE)


def _validation(error: RequestValidationError) -> Response:
    """Tell what FastAPI found in the same shape, field by field."""
    problems = []
    for found in error.errors():
        path = [str(part) for part in found["loc"] if part != "body"]
        at = "".join(f"[{part}]" if part.isdigit() else f".{part}" for part in path).lstrip(".") or "body"
        problems.append({"at": at[:200], "problem": str(found["msg"])[:300]})
    first = "; ".join(f"{one['at']}: {one['problem']}" for one in problems[:3])
    what = f"{len(problems)} of the fields can't be used" if len(problems) > 1 else "one of the fields can't be used"
    told = errors.InputRefused(what, first, "see /openapi.json for what is asked")
    return written(REFUSED, str(told), what=told.what, rule=first, remedy=told.remedy, problems=problems[:100])


def register(app: FastAPI) -> None:
    """Let every error of the app come out as a problem."""

    @app.exception_handler(errors.GridmapError)
    def _known(request: Request, error: errors.GridmapError) -> Response:
        return problem(error)

    @app.exception_handler(RequestValidationError)
    def _fields(request: Request, error: RequestValidationError) -> Response:
        return _validation(error)

    @app.exception_handler(HTTPException)
    def _http(request: Request, error: HTTPException) -> Response:
        kind = _BY_STATUS.get(error.status_code, Kind(error.status_code, "not-understood", str(error.detail)))
        answer = written(kind, f"{kind.title}: {error.detail}." if error.detail else f"{kind.title}.")
        for name, value in (error.headers or {}).items():
            answer.headers[name] = value
        return answer

    @app.exception_handler(Exception)
    def _unforeseen(request: Request, error: Exception) -> Response:
        log.error("%s %s failed", request.method, request.url.path, exc_info=error)
        return written(BROKEN, f"{BROKEN.title} ({type(error).__name__}). What was not finished is not in the grove.")
