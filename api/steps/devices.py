"""Devices that may reach a grove over the network: invited by a code, paired, listed, shut out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from api.steps.opening import open_grove
from api.steps.outcome import Outcome, plain
from api.store import devices
from api.store.devices import ROLES, grouped

__all__ = [
    "ROLES",
    "device_of",
    "device_table",
    "grouped",
    "invite",
    "invite_in_words",
    "list_devices",
    "pair",
    "shut_out",
]


def device_of(where: Path, token: str) -> devices.Device | None:
    """Return the device that holds a token for this grove, None where none does."""
    with open_grove(where, read_only=True) as grove:
        return grove.device(token)


def invite(where: Path, role: str) -> str:
    """Make a code that lets one device in, once, within a quarter of an hour."""
    with open_grove(where) as grove, grove.beside_history() as connection:
        return devices.invite(connection, role)


def invite_in_words(where: Path, role: str) -> Outcome:
    """Make a code and say what it is for."""
    code = grouped(invite(where, role))
    said = f"{code} lets one device in as {role}, once, within 15 minutes. Type it on the page of the shared grove."
    return Outcome(said=(said,), figures={"code": code, "role": role})


def pair(where: Path, code: str, name: str) -> tuple[devices.Device, str] | None:
    """Let a device in that has a code of this grove; return it with its token."""
    with open_grove(where, read_only=True) as grove:
        if not grove.invited(code):
            return None
    with open_grove(where) as grove, grove.beside_history() as connection:
        return devices.pair(connection, code, name)


def device_table(where: Path) -> list[dict[str, Any]]:
    """Return every device that ever was let in, oldest first; times in UTC."""
    with open_grove(where, read_only=True) as grove:
        found = grove.devices()
    return plain(
        [
            {
                "device": device.uuid,
                "name": device.name,
                "role": device.role,
                "paired": device.paired,
                "revoked": device.revoked,
            }
            for device in found
        ]
    )


def list_devices(where: Path) -> Outcome:
    """Say which devices may reach the grove, and which were shut out."""
    with open_grove(where, read_only=True) as grove:
        found = grove.devices()
    table = pd.DataFrame(
        {
            "number": [device.uuid[:8] for device in found],
            "device": [device.name for device in found],
            "role": [device.role for device in found],
            "paired": [device.paired.date().isoformat() for device in found],
            "shut out": [device.revoked.date().isoformat() if device.revoked else None for device in found],
        }
    )
    open_ones = sum(device.revoked is None for device in found)
    return Outcome(
        said=(f"{open_ones} devices may reach this grove.",) if found else ("No device was ever paired.",),
        tables={"Devices": table} if found else {},
        figures={"devices": device_table(where)},
    )


def shut_out(where: Path, device: str) -> Outcome:
    """Shut a device out: its token is worth nothing from now on."""
    with open_grove(where) as grove, grove.beside_history() as connection:
        gone = devices.revoke(connection, device)
    return Outcome(said=(f"{gone.name} ({gone.role}) is shut out.",), figures={"device": gone.uuid})
