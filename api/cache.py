"""Answers that were worked out, kept as long as nothing in their grove changes; and the writing of every answer."""

from __future__ import annotations

import gzip
import hashlib
import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fastapi import Request
from fastapi.responses import Response

from api.steps.opening import state_of
from gridmap import __version__

_MOST_BYTES: Final = 64 * 2**20
_PACK_FROM: Final = 1024
GEOJSON: Final = "application/geo+json"
JSON: Final = "application/json"


@dataclass(frozen=True)
class _Answer:
    etag: str
    body: bytes
    packed: bytes


def text_of(content: Any) -> bytes:
    """Write JSON without NaN and Infinity (the steps give null for what is not known)."""
    return json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode("utf-8", "replace")


def answer(content: Any, status: int = 200, *, media_type: str = JSON, version: str | None = None) -> Response:
    """Answer with JSON; ``version`` goes out as the ETag too."""
    headers = {"Cache-Control": "private, no-cache"}
    if version is not None:
        headers["ETag"] = f'"{version}"'
    return Response(text_of(content), status, headers, media_type)


class Answers:
    """Keeps what was worked out, by the content that it was worked out from."""

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[str, ...], _Answer] = OrderedDict()
        self._bytes = 0
        self._lock = threading.Lock()

    def give(
        self,
        request: Request,
        where: Path,
        make: Callable[[], Mapping[str, Any]],
        *key: object,
        media_type: str = JSON,
    ) -> Response:
        """Answer from what is kept, or work it out; 304 where the asker has it already.

        Parameters
        ----------
        request : Request
            Its If-None-Match and Accept-Encoding count.
        where : Path
            The grove, of whose state the answer is.
        make : function
            Works the content out.
        key : objects
            What else the answer depends on: what was asked, with which parameters.
        media_type : str
            Of the answer.
        """
        name = (str(where), state_of(where), *(str(part) for part in key))
        with self._lock:
            kept = self._kept.get(name)
            if kept is not None:
                self._kept.move_to_end(name)
        if kept is None:
            etag = f'W/"{hashlib.sha256(repr((name, __version__)).encode("utf-8", "replace")).hexdigest()[:24]}"'
            body = text_of(make())
            kept = _Answer(etag, body, gzip.compress(body, 5, mtime=0) if len(body) > _PACK_FROM else b"")
            # What was changed while it was worked out is of no one state: it is given, not kept
            if state_of(where) == name[1]:
                self._keep(name, kept)
        return _given(request, kept, media_type)

    def _keep(self, name: tuple[str, ...], kept: _Answer) -> None:
        with self._lock:
            if name not in self._kept:
                self._kept[name] = kept
                self._bytes += len(kept.body) + len(kept.packed)
            while self._bytes > _MOST_BYTES and self._kept:
                _, old = self._kept.popitem(last=False)
                self._bytes -= len(old.body) + len(old.packed)


def _given(request: Request, kept: _Answer, media_type: str) -> Response:
    headers = {"ETag": kept.etag, "Cache-Control": "private, no-cache", "Vary": "Accept-Encoding"}
    asked = [mark.strip() for mark in request.headers.get("if-none-match", "").split(",")]
    if kept.etag in asked or kept.etag.removeprefix("W/") in asked:
        return Response(status_code=304, headers=headers)
    if kept.packed and "gzip" in request.headers.get("accept-encoding", ""):
        return Response(kept.packed, 200, {**headers, "Content-Encoding": "gzip"}, media_type)
    return Response(kept.body, 200, headers, media_type)
