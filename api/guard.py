"""The gate: every request passes here first, and every answer leaves through here.

Refused before anything is worked out: a host name that is not ours (a page elsewhere may let its own name point here),
a write that another site's page sends, a body that is too large, of another kind, nested too deep, or no JSON by RFC
8259. Every answer gets the content security policy and its companions.
"""

from __future__ import annotations

import json
from typing import Any, Final, NoReturn
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import NOT_ALLOWED, NOT_UNDERSTOOD, TOO_LARGE, WRONG_MEDIA, DoorRefused, Kind, problem
from api.settings import MIB, Limits, Settings

SAFE: Final = ("GET", "HEAD", "OPTIONS")
#: Whole numbers that every reader of JSON takes alike (RFC 8259, section 6, and what the databases hold).
_LARGEST: Final = 2**63


def policy(import_map: str | None = None) -> str:
    """Return the content security policy: everything from here alone, no inline script but the import map by its hash.

    Examples
    --------
    >>> "script-src 'self' 'sha256-abc'" in policy("sha256-abc")
    True
    """
    scripts = "'self'" if import_map is None else f"'self' '{import_map}'"
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src {scripts}",
            "style-src 'self'",
            "img-src 'self' data: blob:",
            "font-src 'self'",
            "connect-src 'self'",
            "worker-src 'self'",
            "manifest-src 'self'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
            "object-src 'none'",
        )
    )


HEADERS: Final = {
    "Content-Security-Policy": policy(),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Permissions-Policy": "geolocation=(self), camera=(), microphone=()",
}


class Guard:
    """Wrap the app: look at each request first, and dress each answer."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        try:
            self._look(scope)
            receive = await self._body(scope, receive)
        except DoorRefused as refused:
            await problem(refused)(scope, receive, dressed)
            return
        await self.app(scope, receive, dressed)

    def _look(self, scope: Scope) -> None:
        """Refuse another host name, and a write that comes from another site."""
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        name = urlsplit(f"//{host}").hostname if _is_host(host) else None
        if name not in self.settings.hosts:
            raise DoorRefused(
                NOT_ALLOWED,
                "the service is not called by this name",
                "it answers under the address it was started with",
            )
        if scope["method"] in SAFE:
            return
        site, origin = headers.get("sec-fetch-site"), headers.get("origin")
        if site not in (None, "same-origin", "none") or (origin is not None and not _same(origin, scope, host)):
            raise DoorRefused(
                NOT_ALLOWED, "the write comes from another site's page", "only the service's own page may"
            )

    async def _body(self, scope: Scope, receive: Receive) -> Receive:
        """Read a JSON body and look at it; count an upload while it streams."""
        if scope["method"] in SAFE:
            return receive
        headers = Headers(scope=scope)
        media = headers.get("content-type", "").partition(";")[0].strip().lower()
        length = headers.get("content-length", "")
        sent = int(length) if length.isdigit() and len(length) < 16 else None
        if media == "multipart/form-data":
            most = self.settings.limits.layer_bytes + MIB
            if sent is not None and sent > most:
                raise _too_large(sent, most)
            return _counted(receive, most)
        most = self.settings.limits.json_bytes
        if sent is not None and sent > most:
            raise _too_large(sent, most)
        body = await _read(receive, most)
        if body:
            if media != "application/json" and not (media.startswith("application/") and media.endswith("+json")):
                raise DoorRefused(
                    WRONG_MEDIA,
                    f"the body is {media[:60] or 'of no stated kind'}",
                    "it must be application/json or application/geo+json, a file multipart/form-data",
                )
            look_through(body, self.settings.limits)
        return _replayed(body, receive)


def _is_host(host: str) -> bool:
    return bool(host) and not any(mark in host for mark in "/?#@\\ ") and host.isascii()


def _same(origin: str, scope: Scope, host: str) -> bool:
    """Tell whether an origin is the service's own: scheme, name and port."""
    try:
        there, here = urlsplit(origin), urlsplit(f"{scope['scheme']}://{host}")
        usual = {"http": 80, "https": 443}
        return (there.scheme, there.hostname, there.port or usual.get(there.scheme)) == (
            here.scheme,
            here.hostname,
            here.port or usual.get(here.scheme),
        )
    except ValueError:
        return False


def _too_large(sent: int, most: int) -> DoorRefused:
    return DoorRefused(
        TOO_LARGE,
        f"the body has over {min(sent, most) / MIB:,.0f} MB",
        f"at most {most / MIB:,.0f} MB are taken at once",
    )


async def _read(receive: Receive, most: int) -> bytes:
    """Read a whole body within a limit."""
    parts, size = [], 0
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise DoorRefused(NOT_UNDERSTOOD, "the body broke off", None, "send it again")
        parts.append(message.get("body", b""))
        size += len(parts[-1])
        if size > most:
            raise _too_large(size, most)
        if not message.get("more_body", False):
            return b"".join(parts)


def _replayed(body: bytes, receive: Receive) -> Receive:
    """Give a body that was read already once more, then whatever comes."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


def _counted(receive: Receive, most: int) -> Receive:
    """Count an upload while it is read, and stop at the limit."""
    size = 0

    async def counting() -> Message:
        nonlocal size
        message = await receive()
        size += len(message.get("body", b""))
        if size > most:
            raise HTTPException(413, f"an upload may have at most {most / MIB:,.0f} MB")
        return message

    return counting


def look_through(body: bytes, limits: Limits) -> None:
    """Refuse a body that is no JSON as RFC 8259 has it, nested too deep, or holds what no grove file could keep.

    Raises
    ------
    DoorRefused
        What is wrong with it.

    Examples
    --------
    >>> look_through(b'{"taps": 3}', Limits())
    >>> look_through(b'{"taps": NaN}', Limits())
    Traceback (most recent call last):
    api.errors.DoorRefused: The body holds the number NaN: JSON has no such number.
    """
    try:
        value = json.loads(body.decode("utf-8"), parse_constant=_no_constant)
    except UnicodeDecodeError:
        raise _refused("the body is no UTF-8", "JSON between programs is UTF-8 (RFC 8259, section 8.1)") from None
    except json.JSONDecodeError as error:
        rule = f"line {error.lineno}, column {error.colno}: {error.msg.lower()}"
        raise _refused("the body is no JSON", rule) from None
    except (RecursionError, ValueError):
        raise _refused("the body is nested without end or holds an endless number", "no map is like that") from None
    _walk(value, limits.json_depth)


def _walk(value: Any, most: int) -> None:
    """Look at every value, level by level."""
    level: list[Any] = [value]
    for _ in range(most + 1):
        below: list[Any] = []
        for one in level:
            if isinstance(one, dict):
                for key in one:
                    _check_text(key)
                below.extend(one.values())
            elif isinstance(one, list):
                below.extend(one)
            elif isinstance(one, str):
                _check_text(one)
            elif isinstance(one, (int, float)) and not isinstance(one, bool) and not -_LARGEST < one < _LARGEST:
                raise _refused("the body holds a number that is out of all measure", "no length or count is as large")
        if not below:
            return
        level = below
    raise _refused(f"the body is nested over {most} levels deep", "no map is")


def _check_text(text: str) -> None:
    if "\x00" in text or not (text.isascii() or text.isprintable() or _encodes(text)):
        raise _refused("the body holds a character that is none", "half of a pair, or NUL")


def _encodes(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _no_constant(word: str) -> NoReturn:
    raise _refused(f"the body holds the number {word}", "JSON has no such number")


def _refused(what: str, rule: str, kind: Kind = NOT_UNDERSTOOD) -> DoorRefused:
    return DoorRefused(kind, what, rule)
