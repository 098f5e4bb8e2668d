"""Treatment: what only the grower knows, the options, zones made and edited, their mix."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, File, Request, UploadFile
from fastapi.responses import Response

from api.access import Asker, At, Owner, Seen, Viewer
from api.cache import answer
from api.models.treat import (
    FactsForm,
    FactsImported,
    FactsKept,
    FactsTable,
    FactsTyped,
    NewZone,
    Options,
    ZoneEdit,
    Zones,
    ZoneTold,
)
from api.routes.common import EDIT, NOT_MODIFIED, READ, WRITE, Uuid, Walk, stored_already
from api.steps import facts, typed, zone_layer
from api.steps.versions import Seen as SeenRow
from api.steps.versions import watched
from api.steps.weighing import weigh_options
from api.uploads import received

router = APIRouter(prefix="/api/groves/{grove}", tags=["treat"])

Kind = Literal["threshold", "sprayer", "label", "prices"]


@router.get("/facts", response_model=FactsTable, responses={**READ, **NOT_MODIFIED})
def list_facts(request: Request, asker: Viewer) -> Response:
    """Return threshold, sprayer, label and prices as they were typed, and what is missing."""
    return asker.answers.give(request, asker.where, lambda: typed.facts_table(asker.where), "facts")


@router.get("/facts/{name}", response_model=FactsForm, responses=READ)
def show_facts(asker: Viewer, name: Kind) -> Response:
    """Return one of them with what each field asks for."""
    told = typed.facts_form(asker.where, name)
    return answer(told, version=told["version"])


@router.patch("/facts/{name}", response_model=FactsKept, responses=EDIT)
def change_facts(asker: Owner, name: Kind, seen: Seen, given: FactsTyped) -> Response:
    """Keep what was typed; what is left out stays, null takes a field back."""
    with watched(SeenRow("setting", name, seen, f"the {name}")) as writing:
        done = typed.change_facts(asker.where, name, given.root, who=asker.who)
    told = typed.facts_form(asker.where, name)
    more = {"act": writing.act, "missing": list(done.figures["missing"]), "said": list(done.said)}
    return answer({**told, **more}, version=told["version"])


@router.post("/imports/facts", response_model=FactsImported, status_code=201, responses=WRITE)
def import_facts(
    asker: Owner, service: At, file: Annotated[UploadFile, File(description="JSON, as gridmap show --json writes it")]
) -> Response:
    """Read threshold, sprayer, label and prices from a file."""
    with received(file, most_bytes=service.settings.limits.facts_bytes) as path, watched() as writing:
        done = facts.import_facts(asker.where, path, who=asker.who)
    return answer({"act": writing.act, "missing": list(done.figures["missing"]), "said": list(done.said)}, 201)


@router.get("/options", response_model=Options, responses={**READ, **NOT_MODIFIED})
def show_options(request: Request, asker: Viewer, walk: Walk = None) -> Response:
    """Put nothing, a spot, whole blocks and everything side by side; nothing is stored."""
    return asker.answers.give(request, asker.where, lambda: weigh_options(asker.where, walk=walk), "options", walk)


@router.get("/zones", response_model=Zones, responses={**READ, **NOT_MODIFIED})
def list_zones(request: Request, asker: Viewer) -> Response:
    """Return every version of every zone, oldest first."""
    return asker.answers.give(request, asker.where, lambda: {"zones": zone_layer.zone_list(asker.where)}, "zones")


@router.post("/zones", response_model=ZoneTold, status_code=201, responses={**WRITE, **stored_already(ZoneTold)})
def make_zone(asker: Owner, given: NewZone) -> Response:
    """Choose the trees worth spraying as whole runs, clear of every setback, and keep the zone."""
    values = given.model_dump()
    with watched() as writing:
        done = zone_layer.add_zone(asker.where, values.pop("zone"), **values, who=asker.who)
    return _made(asker, done, writing.act)


def _made(asker: Asker, done: Any, act: str | None) -> Response:
    """Answer a zone that was made; without one, say why."""
    if done.figures["zone"] is None:
        return answer({"zone": None, "said": list(done.said), "cautions": list(done.cautions)})
    return _zone(asker, str(done.figures["zone"]), 201 if done.figures["new"] else 200, act=act, said=list(done.said))


def _zone(asker: Asker, zone: str, status: int = 200, **more: Any) -> Response:
    told = zone_layer.zone_layer(asker.where, zone)
    return answer({**told, **more}, status, version=told["version"])


@router.get("/zones/{zone}", response_model=ZoneTold, responses=READ)
def show_zone(asker: Viewer, zone: Uuid) -> Response:
    """Return one version of a zone with its runs, trees and loads."""
    return _zone(asker, zone)


@router.post(
    "/zones/{zone}/edits", response_model=ZoneTold, status_code=201, responses={**EDIT, **stored_already(ZoneTold)}
)
def edit_zone(asker: Owner, zone: Uuid, seen: Seen, given: ZoneEdit) -> Response:
    """Add and drop trees, rows or stretches by hand: a new version, the old one stays."""
    with watched(SeenRow("zone", zone, seen, "the zone")) as writing:
        done = zone_layer.edit_zone(asker.where, zone, given.zone, add=given.add, drop=given.drop, who=asker.who)
    return _made(asker, done, writing.act)


@router.post("/zones/{zone}/mix", response_model=ZoneTold, responses=EDIT)
def mix_zone(asker: Owner, zone: Uuid, seen: Seen) -> Response:
    """Work the newest zone's litres, product and loads out anew from what is typed now."""
    with watched(SeenRow("zone", zone, seen, "the zone")) as writing:
        done = zone_layer.mix_zone(asker.where, zone)
    return _zone(asker, zone, act=writing.act, said=list(done.said), cautions=list(done.cautions))


@router.post("/zones/{zone}/freeze", response_model=ZoneTold, responses=EDIT)
def freeze_zone(asker: Owner, zone: Uuid, seen: Seen) -> Response:
    """Freeze a zone before its sheet is printed; a change makes a new version."""
    with watched(SeenRow("zone", zone, seen, "the zone")) as writing:
        done = zone_layer.freeze_zone(asker.where, zone, who=asker.who)
    return _zone(asker, zone, act=writing.act, said=list(done.said))
