"""Devices that may reach a grove over the network: let in by a code, known by a token, shut out at any time.

Tokens and codes are random and long, so a plain SHA-256 keeps them: there is no word to guess. Nothing of this is in
the history, since an undo must never let a device in again.
"""

from __future__ import annotations

import hashlib
import secrets
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from sqlalchemy import Connection, delete, insert, select, update

from api.store.info import words
from api.store.refusals import NotThere
from api.store.tables import DEVICE, INVITATION
from api.store.times import now
from gridmap import checks
from gridmap.errors import InputRefused

ROLES: Final = ("viewer", "helper", "owner")
#: A code is typed or scanned within this time, once.
CODE_LIVES: Final = timedelta(minutes=15)
#: Letters and digits that can't be taken for one another.
_LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
_CODE_LENGTH: Final = 12
MOST_DEVICES: Final = 200


@dataclass(frozen=True)
class Device:
    """A device that was let in: its UUID, what it is called, its role, since when, and since when no more."""

    uuid: str
    name: str
    role: str
    paired: datetime
    revoked: datetime | None


def hashed(secret: str) -> str:
    """Return what is kept of a token or a code.

    Examples
    --------
    >>> hashed("abc")[:16]
    'ba7816bf8f01cfea'
    """
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


def grouped(code: str) -> str:
    """Write a pairing code in groups of four.

    Examples
    --------
    >>> grouped("ABCDEFGHJKMN")
    'ABCD-EFGH-JKMN'
    """
    return "-".join(code[start : start + 4] for start in range(0, len(code), 4))


def invite(connection: Connection, role: str) -> str:
    """Make a code that lets one device in, once, within a quarter of an hour."""
    checks.one_of(role, ROLES, "role")
    code = "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH))
    connection.execute(delete(INVITATION).where(INVITATION.c.expires < now()))
    values = {"code_sha256": hashed(code), "role": role, "expires": now() + CODE_LIVES}
    connection.execute(insert(INVITATION).values(values))
    return code


def pair(connection: Connection, code: str, name: str) -> tuple[Device, str] | None:
    """Let a device in that has the code; return it with its token, None where the code is not (or no more) good."""
    name = words(name, "name of the device")
    if len(name) > 100:
        raise InputRefused(f"the name of the device has {len(name)} letters", "at most 100 are kept")
    found = invited(connection, code)
    if found is None:
        return None
    connection.execute(delete(INVITATION).where(INVITATION.c.id == found["id"]))
    return let_in(connection, name, found["role"])


def invited(connection: Connection, code: str) -> dict[str, Any] | None:
    """Return the invitation that a code stands for, None where it is not (or no more) good."""
    key = hashed(code.strip().upper().replace("-", "").replace(" ", ""))
    found = connection.execute(select(INVITATION).where(INVITATION.c.code_sha256 == key)).mappings().first()
    return None if found is None or found["expires"] < now() else dict(found)


def let_in(connection: Connection, name: str, role: str) -> tuple[Device, str]:
    """Store a device; return it with its token, which nobody can read again."""
    if len(connection.execute(select(DEVICE.c.id).where(DEVICE.c.revoked.is_(None))).all()) >= MOST_DEVICES:
        raise InputRefused(f"{MOST_DEVICES} devices are let in already", None, "shut some of them out first")
    token = secrets.token_urlsafe(32)
    row = {"uuid": str(uuid.uuid4()), "name": name, "role": role, "paired": now(), "revoked": None}
    connection.execute(insert(DEVICE).values({**row, "token_sha256": hashed(token)}))
    return Device(**row), token  # type: ignore[arg-type]


def known(connection: Connection, token: str) -> Device | None:
    """Return the device that holds a token, None where none does or it was shut out."""
    found = connection.execute(select(DEVICE).where(DEVICE.c.token_sha256 == hashed(token))).mappings().first()
    if found is None or found["revoked"] is not None:
        return None
    return _device(dict(found))


def listed(connection: Connection) -> list[Device]:
    """Return every device that ever was let in, oldest first."""
    return [_device(dict(row)) for row in connection.execute(select(DEVICE).order_by(DEVICE.c.id)).mappings()]


def revoke(connection: Connection, device: str) -> Device:
    """Shut a device out (by its UUID or the start of it); from now on its token is worth nothing."""
    same = [found for found in listed(connection) if found.uuid.startswith(device.strip().lower()) and device.strip()]
    if len(same) != 1:
        many = "no device" if not same else f"{len(same)} devices"
        raise NotThere(f"{many} {device!r}", None, "give the start of its number")
    connection.execute(update(DEVICE).where(DEVICE.c.uuid == same[0].uuid).values(revoked=now()))
    return same[0]


def _device(row: dict[str, object]) -> Device:
    return Device(**{name: row[name] for name in Device.__annotations__})  # type: ignore[arg-type]
