"""Cover surveys in: looks from a phone, a table of looks, grass as walked or drawn, a picture, a class raster."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from api.steps.opening import open_grove
from api.steps.outcome import Outcome, plain
from api.steps.overview import today
from api.steps.sward import settings_of
from api.store import Grove
from api.store.refusals import Conflict, NotThere
from gridmap import checks, sward
from gridmap.crs import to_grove
from gridmap.errors import InputMissing, InputRefused, RowsRefused
from gridmap.exchange import read_layer
from gridmap.exchange.cover import read_cover
from gridmap.exchange.lines import read_line
from gridmap.words import date_words

#: Of the looks that come without a UUID, so that the same file read twice is stored once.
_LOOKS: Final = uuid.UUID("6d1f3f0a-54a4-4b53-a0c5-5c9b1f3d9f10")


def add_survey(where: Path, given: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Store a cover survey under the UUID its maker gave it; sent again, it is stored once."""
    with open_grove(where) as grove:
        known = given["survey"] in set(grove.cover_surveys()["survey"])
        try:
            grove.add_cover_survey(
                given["date"], survey=given["survey"], name=given.get("name"), observer=given.get("observer"),
                note=given.get("note"), who=who,
            )  # fmt: skip
        except InputRefused as refused:
            raise (Conflict(refused.what, refused.rule, refused.remedy) if known else refused) from None
    return Outcome(figures={"new": not known})


def record_looks(where: Path, survey: str, looks: Sequence[Mapping[str, Any]], *, who: str = "grower") -> Outcome:
    """Store looks of a survey, all or none, each once; lines of refusals count from 0."""
    frame = pd.DataFrame(
        [{**look, **{part: look["noted"].get(part) for part in sward.PARTS}, "line": number}
         for number, look in enumerate(looks)]
    )  # fmt: skip
    frame = frame.rename(columns={"look": "uuid"}).dropna(axis=1, how="all")
    with open_grove(where) as grove:
        if survey not in set(grove.cover_surveys()["survey"]):
            raise NotThere(f"there is no cover survey {survey}", None, "add the survey first")
        placed, problems = placed_looks(grove, frame, survey)
        if problems:
            raise RowsRefused(f"{len(problems)} of the looks can't be stored", problems[0][1], "nothing was stored",
                              problems)
        try:
            stored = grove.add_cover(placed, who=who, what="record cover")
        except InputRefused as refused:
            raise (Conflict(refused.what, refused.rule, refused.remedy)
                   if "stored already" in refused.what else refused) from None
    return Outcome(figures={"new": stored.new, "already": stored.already})


def import_cover(
    where: Path, file: Path, *, date: str | None = None, name: str | None = None, method: str | None = None,
    accept_good_rows: bool = False, who: str = "grower",
) -> Outcome:
    """Read looks at the floor from a CSV; lines of several dates are several surveys.

    Parameters
    ----------
    where, file : Path
        Grove file; CSV (`gridmap.exchange.read_cover`).
    date, name, method : str, optional
        Where the lines say none.
    accept_good_rows : bool
        Store the good lines and tell the bad ones.
    who : str
        For the history.
    """
    with open_grove(where) as grove:
        looks, problems = read_cover(file, method=method)
        looks["date"] = looks["date"].where(looks["date"].notna(), date)
        if looks["date"].isna().any():
            raise InputMissing("the day of the survey is not said", "the lines carry no date", "say --date YYYY-MM-DD",
                               missing=["the day of the survey"])
        lines: list[str] = []
        new = already = 0
        placed = []
        for day, of_day in looks.groupby("date", sort=True):
            found, wrong = placed_looks(grove, of_day, "")
            problems += wrong
            placed.append((str(day), found))
        if problems and not (accept_good_rows and any(len(found) for _, found in placed)):
            raise RowsRefused(f"{len(problems)} of {len(looks) + len(problems)} lines of {file.name} can't be used",
                              "nothing was stored", "mend them, or say --accept-good-rows", sorted(problems))
        with grove.act(f"import cover from {file.name}", who=who):
            for day, found in placed:
                survey = survey_of(grove, day, name, found)
                stored = grove.add_cover(named(grove, found.assign(survey=survey)))
                new, already = new + stored.new, already + stored.already
                lines.append(f"{date_words(dt.date.fromisoformat(day))}: {len(found)} looks in "
                             f"{found.groupby(['block', 'row']).ngroups} rows.")
    said = [f"{new} looks stored in {len(placed)} surveys." + (f" {already} were there already." if already else "")]
    if problems:
        said.append(f"{len(problems)} lines were left out.")
    return Outcome(
        said=(*said, *lines),
        figures={"looks_new": new, "looks_already_there": already, "surveys": [day for day, _ in placed],
                 "lines_left_out": [{"line": line, "problem": text} for line, text in sorted(problems)]},
    )  # fmt: skip


def placed_looks(
    grove: Grove, looks: pd.DataFrame, survey: str
) -> tuple[gpd.GeoDataFrame, list[tuple[int, str]]]:
    """Turn looks as noted into cover where it was looked at; a look without a position stands for its row's middle."""
    places = grove.places()
    rows = dict(iter(places.groupby(["block", "row"])))
    problems: list[tuple[int, str]] = []
    good: list[dict[Any, Any]] = []
    for line in looks.to_dict("records"):
        row = rows.get((line["block"], line["row"]))
        position = line.get("position")
        at = None if position is None or pd.isna(position) or row is None else row[row["position"] == position]
        if row is None:
            problems.append((line["line"], f"there is no row {line['row']} in block {line['block']!r}"))
        elif at is not None and not len(at):
            problems.append((line["line"], f"row {line['row']} of block {line['block']!r} has no place {position}"))
        else:
            here = row if at is None else at
            middle = here.geometry.iloc[len(here) // 2]
            good.append({**line, "upslope_m": here["upslope_m"].mean(), "geometry": middle, "survey": survey})
    frame = pd.DataFrame(good, columns=[*looks.columns, "upslope_m", "geometry", "survey"][: len(looks.columns) + 3])
    frame = frame.loc[:, ~frame.columns.duplicated()]
    measured = []
    for method, of_method in frame.groupby("method", sort=False):
        noted = [_noted(line) for line in of_method.to_dict("records")]
        try:
            measured.append(sward.measured_cover(of_method, str(method)).assign(noted=noted))
        except RowsRefused as refused:
            problems += [(int(of_method["line"].iloc[line]), text) for line, text in refused.problems]
            rest = of_method.drop(of_method.index[[line for line, _ in refused.problems]])
            kept = [look for line, look in enumerate(noted) if line not in dict(refused.problems)]
            if len(rest):
                measured.append(sward.measured_cover(rest, str(method)).assign(noted=kept))
    whole = pd.concat(measured).sort_index() if measured else frame.assign(**dict.fromkeys(sward.PARTS, np.nan))
    return gpd.GeoDataFrame(whole.rename(columns={"uuid": "look"}), geometry="geometry", crs=grove.crs), problems


def _noted(line: Mapping[Any, Any]) -> str:
    """Return what was written down, as it was (JSON)."""
    found = {part: float(line[part]) for part in sward.PARTS if part in line and not pd.isna(line[part])}
    return json.dumps(found, sort_keys=True)


def survey_of(
    grove: Grove, day: str, name: str | None, looks: pd.DataFrame, about: Mapping[str, Any] | None = None
) -> str:
    """Return the survey of that day and name, a new one where there is none."""
    surveys = grove.cover_surveys()
    same = surveys[(surveys["date"] == day) & (surveys["name"].isna() if name is None else surveys["name"] == name)]
    if len(same):
        return str(same["survey"].iloc[0])
    observers = sorted({str(who) for who in looks.get("observer", pd.Series(dtype=object)).dropna()})
    return grove.add_cover_survey(day, name=name, observer=", ".join(observers) or None, about=about)


def named(grove: Grove, looks: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Give looks without a UUID one from what names them, so that the same file read twice is stored once."""
    columns = ["survey", "block", "row", "position", "method"]
    keys = [tuple(str(value) for value in line) for line in looks.reindex(columns=columns).itertuples(index=False)]
    order = pd.Series(keys).groupby(pd.Series(keys)).cumcount().tolist()
    given = looks["look"] if "look" in looks.columns else pd.Series([None] * len(looks), index=looks.index)
    made = [
        value if isinstance(value, str) else str(uuid.uuid5(_LOOKS, "/".join((grove.grove.uuid, *key, str(number)))))
        for value, key, number in zip(given, keys, order, strict=True)
    ]
    return looks.assign(look=made)


def import_grass(
    where: Path, file: Path, *, date: str | None = None, accuracy_m: float | None = None, name: str | None = None,
    crs: str | None = None, layer: str | None = None, line: bool = False, who: str = "grower",
) -> Outcome:
    """Read the grass as it was walked (a line: grass below it) or drawn (polygons: grass inside).

    Parameters
    ----------
    where, file : Path
        Grove file; a layer of polygons, or one line.
    date : str
        Day of the survey; today where the grove is when left out.
    accuracy_m : float
        How far off the line may lie [m]; only the grower knows.
    name, crs, layer : str, optional
        Name of the survey; CRS and layer of the file.
    line : bool
        The file holds the edge as a line.
    who : str
        For the history.
    """
    if accuracy_m is None:
        raise InputMissing("how far off the edge may lie is not said", "a phone is some metres off", "say --accuracy",
                           missing=["accuracy of the edge, in metres"])
    accuracy = checks.number(accuracy_m, "accuracy of the edge", "m", over=0.0, most=100.0)
    with open_grove(where) as grove:
        day = date or today(grove).isoformat()
        read = read_line(file, layer=layer, crs=crs) if line else read_layer(file, layer=layer, crs=crs)
        shapes, notes = to_grove(read, grove.grove.crs_code, near=grove.blocks().total_bounds)
        grass = shapes.geometry.iloc[0] if line else shapely.make_valid(shapely.union_all(shapes.geometry.to_numpy()))
        cover = edge_cover(grove, grass, accuracy) if line else outline_cover(grove, grass, accuracy)
        if not len(cover):
            raise InputRefused(f"{file.name} touches no row", "the grass is measured row by row", "check where it lies")
        kind = "edge" if line else "outline"
        with grove.act(f"import grass from {file.name}", who=who):
            about = {"kind": kind, "accuracy_m": accuracy, "wkt": shapely.to_wkt(grass, rounding_precision=2)}
            survey = survey_of(grove, day, name, cover, about)
            stored = grove.add_cover(named(grove, cover.assign(survey=survey)))
    said = (f"{len(cover)} rows measured from the {kind} of {date_words(dt.date.fromisoformat(day))}.", *notes,
            "It tells grass alone: litter, rock and bare ground are not known from it.")  # fmt: skip
    return Outcome(said=said, figures={"survey": survey, "rows": len(cover), "looks_new": stored.new, "kind": kind})


def outline_cover(grove: Grove, grass: Any, accuracy_m: float) -> gpd.GeoDataFrame:
    """Measure the share of each row's floor inside drawn grass; blocks that it does not touch were not drawn."""
    floor = sward.row_floor(grove.trees(), grove.blocks(), mulch_m=settings_of(grove).mulch_m or 0.0)
    touched = {block for block, group in floor.groupby("block") if group.intersects(grass).any()}
    floor = floor[floor["block"].isin(touched)].reset_index(drop=True)
    shares = [
        (floor.intersection(shape).area / floor.area).to_numpy() if not shape.is_empty else np.zeros(len(floor))
        for shape in (grass, grass.buffer(accuracy_m), grass.buffer(-accuracy_m))
    ]
    return rows_of(floor, sward.part_inside(*shares, method="outline"))


def edge_cover(grove: Grove, edge: shapely.LineString, accuracy_m: float) -> gpd.GeoDataFrame:
    """Measure the share of each row that lies below a walked edge; places beyond its ends are not told."""
    places = grove.places().dropna(subset=["upslope_m"])
    if not len(places):
        raise InputMissing("no row has its metres upslope", "grass lies below its edge", "import heights first",
                           missing=["metres upslope"])
    told = []
    for _, group in places.groupby("block", sort=True):
        xy = group.get_coordinates().to_numpy()
        design = np.column_stack([xy - xy.mean(axis=0), np.ones(len(xy))])
        uphill = np.linalg.lstsq(design, group["upslope_m"].to_numpy(), rcond=None)[0][:2]
        along = shapely.line_locate_point(edge, group.geometry.to_numpy())
        nearest = shapely.get_coordinates(shapely.line_interpolate_point(edge, along))
        above = np.sign((xy - nearest) @ uphill) * np.hypot(*(xy - nearest).T)
        within = (along > 0.0) & (along < edge.length)
        told.append(group.assign(above=above)[within])
    beside = pd.concat(told)
    lines = []
    whole = places.groupby(["block", "row"]).size()
    for (block, row), group in beside.groupby(["block", "row"], sort=True):
        # A row of which half lies beyond the walked edge is not told by it
        if len(group) * 2 >= whole[(block, row)]:
            shares = [float((group["above"] < off).mean()) for off in (0.0, accuracy_m, -accuracy_m)]
            lines.append((block, row, group["upslope_m"].mean(), *shares, group.geometry.iloc[len(group) // 2]))
    names = ["block", "row", "upslope_m", "inside", "further", "nearer", "geometry"]
    frame = pd.DataFrame(lines, columns=names)
    cover = sward.part_inside(*(frame[name].to_numpy(dtype=float) for name in names[3:6]), method="edge")
    joined = pd.concat([frame[["block", "row", "upslope_m", "geometry"]], cover], axis=1)
    return gpd.GeoDataFrame(joined.assign(noted="{}"), geometry="geometry", crs=grove.crs)


def rows_of(floor: gpd.GeoDataFrame, cover: pd.DataFrame) -> gpd.GeoDataFrame:
    """Return cover of rows with a point on each."""
    points = gpd.GeoSeries(floor.geometry.representative_point().to_numpy(), crs=floor.crs)
    rows = floor[["block", "row", "upslope_m"]].reset_index(drop=True)
    table = pd.concat([rows, cover.reset_index(drop=True)], axis=1).assign(noted="{}")
    return gpd.GeoDataFrame(table, geometry=points, crs=floor.crs)


def surveys_table(where: Path) -> list[dict[str, Any]]:
    """Return every cover survey with how many looks and rows it has, oldest first."""
    with open_grove(where, read_only=True) as grove:
        surveys, cover = grove.cover_surveys(), grove.cover()
    grouped = cover.groupby("survey")
    number, rows = grouped.size(), cover.drop_duplicates(["survey", "block", "row"]).groupby("survey").size()
    methods = grouped["method"].agg(lambda of: sorted(set(of)))
    return plain([
        {**line, "looks": int(number.get(line["survey"], 0)), "rows": int(rows.get(line["survey"], 0)),
         "methods": methods.get(line["survey"], [])}
        for line in surveys.to_dict("records")
    ])  # fmt: skip


def looks_of(where: Path, survey: str) -> dict[str, Any]:
    """Return the looks of a survey by columns."""
    with open_grove(where, read_only=True) as grove:
        if survey not in set(grove.cover_surveys()["survey"]):
            raise NotThere(f"there is no cover survey {survey}", None, "add the survey first")
        cover = grove.cover(survey)
    names = ["look", "block", "row", "position", "upslope_m", "method", *sward.PARTS, "grass_cover", "ground_cover",
             "standard_error", "weight", "observer"]  # fmt: skip
    columns = {name: cover[name].tolist() for name in names}
    noted = [json.loads(text) for text in cover["noted"]]
    return plain({"survey": survey, "looks": len(cover), "columns": {**columns, "noted": noted}})
