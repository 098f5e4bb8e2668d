"""Who asks, for which grove, and whether they may; and which version an edit says it has seen."""

from __future__ import annotations

import ipaddress
import re
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final

from fastapi import Depends, Header, Request
from fastapi import Path as InPath

from api.cache import Answers
from api.errors import NOT_ALLOWED, NOT_PAIRED, NOT_UNDERSTOOD, TOO_MANY, VERSION_MISSING, DoorRefused
from api.settings import Settings
from api.shelf import Shelf
from api.steps.devices import ROLES, device_of
from api.steps.refusals import NotThere

COOKIE: Final = "gridmap-"
#: Wrong pairing codes within this time [s], from all devices together, until the next has to wait.
_WINDOW_S: Final = 600.0
_MOST_WRONG: Final = 20


class Service:
    """What the handlers share: settings, groves, answers that were worked out, wrong codes of late."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.shelf = Shelf(settings)
        self.answers = Answers()
        self._wrong: deque[float] = deque(maxlen=_MOST_WRONG)
        self._lock = threading.Lock()

    def check_codes(self) -> None:
        """Refuse another pairing code while too many wrong ones came."""
        with self._lock:
            full = len(self._wrong) == _MOST_WRONG and time.monotonic() - self._wrong[0] < _WINDOW_S
        if full:
            raise DoorRefused(TOO_MANY, "too many wrong codes came", None, "wait ten minutes, then make a new code")

    def wrong_code(self) -> None:
        """Note a wrong pairing code."""
        with self._lock:
            self._wrong.append(time.monotonic())


@dataclass(frozen=True)
class Asker:
    """Who asks for a grove: where it is kept, its UUID, the asker's role and name."""

    grove: str
    where: Path
    role: str
    who: str
    answers: Answers


def service_of(request: Request) -> Service:
    """Return what the handlers share."""
    service: Service = request.app.state.service
    return service


At = Annotated[Service, Depends(service_of)]


def is_own(request: Request, settings: Settings) -> bool:
    """Tell whether the asker sits at the machine itself and may do everything."""
    if settings.database is not None:
        return False
    if not settings.shared:
        return True
    host = request.client.host if request.client else ""
    try:
        return ipaddress.ip_address(host).is_loopback and request.url.hostname in ("localhost", "127.0.0.1", "::1")
    except ValueError:
        return False


def tokens_of(request: Request) -> list[str]:
    """Return every token that a request brings: the bearer's, and those of its cookies."""
    scheme, _, bearer = request.headers.get("authorization", "").partition(" ")
    tokens = [bearer.strip()] if scheme.lower() == "bearer" and bearer.strip() else []
    return [*tokens, *(value for name, value in request.cookies.items() if name.startswith(COOKIE))][:20]


def role_for(request: Request, service: Service, where: Path) -> tuple[str, str] | None:
    """Return role and name of the asker for a grove, None where they hold no token for it."""
    if is_own(request, service.settings):
        return "owner", "grower"
    for token in tokens_of(request):
        device = device_of(where, token)
        if device is not None:
            return device.role, device.name
    return None


def asking(least: str) -> Callable[..., Asker]:
    """Make the dependency that lets in whoever has at least a role (viewer, helper, owner)."""

    def asker(
        request: Request,
        service: At,
        grove: Annotated[str, InPath(description="UUID of the grove", max_length=64)],
    ) -> Asker:
        if not is_own(request, service.settings) and not tokens_of(request):
            raise DoorRefused(NOT_PAIRED, "this device is not paired", None, "scan the code on the laptop's screen")
        where = service.shelf.where(grove)
        found = role_for(request, service, where)
        if found is None:
            # As if it were not there: who may not see it is not told that it is
            raise NotThere(f"there is no grove {grove}")
        role, who = found
        if ROLES.index(role) < ROLES.index(least):
            raise DoorRefused(NOT_ALLOWED, f"a {role} may not do this", f"it takes {_a(least)}", "ask the owner")
        return Asker(grove, where, role, who, service.answers)

    return asker


def _a(role: str) -> str:
    return f"an {role}" if role == "owner" else f"a {role}"


Viewer = Annotated[Asker, Depends(asking("viewer"))]
Helper = Annotated[Asker, Depends(asking("helper"))]
Owner = Annotated[Asker, Depends(asking("owner"))]

_VERSION = re.compile(r'^(?:W/)?"?(\d{1,18})"?$')


def seen_version(
    if_match: Annotated[str | None, Header(description="The version that the edit has seen", examples=['"17"'])] = None,
) -> int:
    """Return the version that an edit says it has seen."""
    if if_match is None:
        raise DoorRefused(
            VERSION_MISSING,
            "the edit does not say which version it has seen",
            "without it two windows could overwrite each other",
            'send If-Match: "version"',
        )
    found = _VERSION.match(if_match.strip())
    if found is None:
        raise DoorRefused(NOT_UNDERSTOOD, f"If-Match is {if_match[:60]!r}", 'it must be one version, such as "17"')
    return int(found[1])


Seen = Annotated[int, Depends(seen_version)]
