"""Devices: which may reach the grove over the network, a code for another, one shut out."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter
from fastapi.responses import Response

from api.access import At, Owner
from api.cache import answer
from api.models.base import Given, Told
from api.routes.common import READ, WRITE, Uuid
from api.steps import devices
from api.steps.devices import grouped

router = APIRouter(prefix="/api/groves/{grove}/devices", tags=["grove"])

Role = Literal["owner", "helper", "viewer"]


class DeviceTold(Told):
    """A device that was let in."""

    device: str
    name: str
    role: Role
    paired: str
    revoked: str | None


class Devices(Told):
    """Every device that ever was let in, oldest first."""

    devices: list[DeviceTold]


class InvitationAsked(Given):
    """What the next device may do."""

    role: Role


class Invitation(Told):
    """A code that lets one device in, once, within a quarter of an hour; ``address`` is where it is typed."""

    code: str
    role: Role
    address: str | None


@router.get("", response_model=Devices, responses=READ)
def list_devices(asker: Owner) -> Response:
    """List the devices that may reach the grove, and those that were shut out."""
    return answer({"devices": devices.device_table(asker.where)})


@router.post("/invitations", response_model=Invitation, status_code=201, responses=WRITE)
def invite_device(asker: Owner, service: At, given: InvitationAsked) -> Response:
    """Make a code for one device."""
    code = devices.invite(asker.where, given.role)
    done = answer({"code": grouped(code), "role": given.role, "address": service.settings.address}, 201)
    done.headers["Cache-Control"] = "no-store"
    return done


@router.delete("/{device}", response_model=Devices, responses=WRITE)
def shut_out_device(asker: Owner, device: Uuid) -> Response:
    """Shut a device out: its token is worth nothing from now on; undo does not bring it back."""
    devices.shut_out(asker.where, device)
    return answer({"devices": devices.device_table(asker.where)})
