"""The sward: cover surveys in, the front and its climb out."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, File, Form, Query, Request, UploadFile
from fastapi.responses import Response

from api.access import At, Helper, Owner, Seen, Viewer
from api.cache import GEOJSON, answer
from api.models.geojson import FeatureCollection
from api.models.sward import (
    CoverImported,
    GrassImported,
    Looks,
    NewLooks,
    NewSurvey,
    PictureImported,
    SettingsForm,
    SettingsTyped,
    Stored,
    Surveys,
    SurveyStored,
    Sward,
)
from api.routes.common import EDIT, NOT_MODIFIED, READ, WRITE, Upload, Uuid, Words, said_here, stored_already
from api.steps import slashing, sward, sward_picture, sward_record
from api.steps.versions import Seen as SeenRow
from api.steps.versions import watched
from api.uploads import received

router = APIRouter(prefix="/api/groves/{grove}", tags=["sward"])
Level = Annotated[
    float | None, Query(ge=0.05, le=0.95, allow_inf_nan=False, description="To try another; the typed one else")
]
Survey = Annotated[str | None, Query(max_length=200, description="UUID, date or name of a cover survey")]
FormDay = Annotated[str | None, Form(max_length=40)]
FormName = Annotated[str | None, Form(max_length=200)]


@router.get("/sward", response_model=Sward, responses={**READ, **NOT_MODIFIED})
def show_sward(
    request: Request, asker: Viewer, level: Level = None, since: Survey = None, until: Survey = None
) -> Response:
    """Return surveys, rows by years, the front and its climb, ground gained and lost."""
    return asker.answers.give(
        request, asker.where, lambda: sward.sward_of(asker.where, level=level, since=since, until=until), "sward",
        level, since, until,
    )  # fmt: skip


@router.get("/sward/floor", response_model=FeatureCollection, responses={**READ, **NOT_MODIFIED})
def show_floor(
    request: Request, asker: Viewer, level: Level = None, since: Survey = None, until: Survey = None
) -> Response:
    """Return the floor of each row with what grass gained, kept and lost."""
    return asker.answers.give(
        request, asker.where, lambda: sward.floor_layer(asker.where, level=level, since=since, until=until), "floor",
        level, since, until, media_type=GEOJSON,
    )  # fmt: skip


@router.get("/sward/front", response_model=FeatureCollection, responses={**READ, **NOT_MODIFIED})
def show_front(request: Request, asker: Viewer, level: Level = None) -> Response:
    """Return the front of the first and last survey as lines on the ground, the last with its limits."""
    return asker.answers.give(
        request, asker.where, lambda: sward.front_layer(asker.where, level=level), "front", level, media_type=GEOJSON
    )


@router.get("/sward/settings", response_model=SettingsForm, responses=READ)
def show_sward_settings(asker: Viewer) -> Response:
    """Return what was typed of the sward, with what each field asks for."""
    told = slashing.sward_form(asker.where)
    return answer(told, version=told["version"])


@router.patch("/sward/settings", response_model=SettingsForm, responses=EDIT)
def change_sward_settings(asker: Owner, seen: Seen, given: SettingsTyped) -> Response:
    """Keep what was typed; what is left out stays, null takes a field back."""
    with watched(SeenRow("setting", "sward", seen, "the sward")) as writing:
        done = slashing.set_sward(asker.where, given.model_dump(exclude_unset=True), who=asker.who)
    told = slashing.sward_form(asker.where)
    return answer({**told, "act": writing.act, "said": list(done.said)}, version=told["version"])


@router.get("/cover-surveys", response_model=Surveys, responses={**READ, **NOT_MODIFIED})
def list_cover_surveys(request: Request, asker: Viewer) -> Response:
    """Return every cover survey with how much was looked at, oldest first."""
    return asker.answers.give(
        request, asker.where, lambda: {"surveys": sward_record.surveys_table(asker.where)}, "cover-surveys"
    )


@router.post(
    "/cover-surveys", response_model=SurveyStored, status_code=201, responses={**WRITE, **stored_already(SurveyStored)}
)
def add_cover_survey(asker: Helper, given: NewSurvey) -> Response:
    """Store a cover survey under its own uuid; sent again, it is stored once (200)."""
    values = given.model_dump()
    with watched() as writing:
        done = sward_record.add_survey(asker.where, values, who=asker.who)
    told = {name: values[name] for name in ("survey", "date", "name", "observer")}
    return answer({**told, "act": writing.act}, 201 if done.figures["new"] else 200)


@router.get("/cover-surveys/{survey}/looks", response_model=Looks, responses={**READ, **NOT_MODIFIED})
def list_looks(request: Request, asker: Viewer, survey: Uuid) -> Response:
    """Return the looks of a survey by columns."""
    return asker.answers.give(
        request, asker.where, lambda: sward_record.looks_of(asker.where, survey), "looks", survey
    )


@router.post(
    "/cover-surveys/{survey}/looks", response_model=Stored, status_code=201,
    responses={**WRITE, **stored_already(Stored)},
)  # fmt: skip
def record_looks(asker: Helper, survey: Uuid, given: NewLooks) -> Response:
    """Store looks, all or none, each once; answered when they are on the disk."""
    with watched() as writing:
        done = sward_record.record_looks(
            asker.where, survey, [look.model_dump() for look in given.looks], who=asker.who
        )
    return answer({**done.figures, "act": writing.act}, 201 if done.figures["new"] else 200)


@router.post("/imports/cover", response_model=CoverImported, status_code=201, responses=WRITE)
def import_cover(
    asker: Helper,
    service: At,
    file: Annotated[UploadFile, File(description="CSV of looks")],
    date: FormDay = None,
    name: FormName = None,
    method: Annotated[str | None, Form(pattern="^(points|stations|percent|daubenmire)$")] = None,
    accept_good_rows: Annotated[bool, Form()] = False,
) -> Response:
    """Read looks at the floor from a file, all or none unless the good lines are asked for."""
    with received(file, most_bytes=service.settings.limits.table_bytes) as path, watched() as writing:
        done = sward_record.import_cover(
            asker.where, path, date=date or None, name=name or None, method=method or None,
            accept_good_rows=accept_good_rows, who=asker.who,
        )  # fmt: skip
    return answer({**done.figures, "act": writing.act, "said": said_here(done)}, 201)


@router.post("/imports/grass", response_model=GrassImported, status_code=201, responses=WRITE)
def import_grass(
    asker: Owner,
    service: At,
    file: Upload,
    accuracy_m: Annotated[float, Form(gt=0, le=100, allow_inf_nan=False)],
    date: FormDay = None,
    name: FormName = None,
    crs: Words = None,
    layer: Words = None,
    edge: Annotated[bool, Form(description="The file holds the edge as one line, grass below it")] = False,
) -> Response:
    """Read grass as it was walked or drawn, and measure every row in it."""
    with received(file, most_bytes=service.settings.limits.layer_bytes) as path, watched() as writing:
        done = sward_record.import_grass(
            asker.where, path, date=date or None, accuracy_m=accuracy_m, name=name or None, crs=crs or None,
            layer=layer or None, line=edge, who=asker.who,
        )  # fmt: skip
    told = {key: done.figures[key] for key in ("survey", "rows", "kind")}
    return answer({**told, "act": writing.act, "said": said_here(done)}, 201)


@router.post("/imports/picture", response_model=PictureImported, status_code=201, responses=WRITE)
def import_picture(
    asker: Owner,
    service: At,
    file: Annotated[UploadFile, File(description="GeoTIFF")],
    date: Annotated[str, Form(max_length=40)],
    name: FormName = None,
    index: Annotated[Literal["excess_green", "excess_green_minus_red", "ndvi"], Form()] = "excess_green",
    threshold: Annotated[float | None, Form(ge=-3, le=3, allow_inf_nan=False)] = None,
    near_infrared: Annotated[int | None, Form(ge=1, le=1000, description="Band, where the file does not say")] = None,
    earlier: Annotated[UploadFile | None, File(description="An earlier GeoTIFF to align to")] = None,
) -> Response:
    """Measure every row's floor in a picture from the air; the picture itself is not kept."""
    most = service.settings.limits.layer_bytes
    with received(file, most_bytes=most) as path, watched() as writing:
        given: dict[str, Any] = {
            "date": date, "name": name or None, "index": index, "threshold": threshold, "who": asker.who,
            "bands": None if near_infrared is None else {"near_infrared": near_infrared},
        }  # fmt: skip
        if earlier is None or not earlier.filename:
            done = sward_picture.import_picture(asker.where, path, **given)
        else:
            with received(earlier, most_bytes=most) as before:
                done = sward_picture.import_picture(asker.where, path, earlier=before, **given)
    names = ("survey", "rows", "index", "threshold", "by_otsu", "shift_east_m", "shift_north_m", "shift_left_m")
    told = {key: done.figures.get(key) for key in names}
    more = {"act": writing.act, "said": said_here(done), "cautions": list(done.cautions)}
    return answer({**told, **more}, 201)
