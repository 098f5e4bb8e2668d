"""Pictures from the air and class rasters: a cover survey of every row's floor, aligned to an earlier picture."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from api.steps.opening import open_grove
from api.steps.outcome import Outcome
from api.steps.overview import today
from api.steps.sward import settings_of
from api.steps.sward_record import named, rows_of, survey_of
from api.store import Grove
from gridmap import sward
from gridmap.errors import InputMissing, InputRefused
from gridmap.words import date_words


def import_picture(
    where: Path, file: Path, *, date: str | None = None, name: str | None = None, index: str = "excess_green",
    threshold: float | None = None, bands: Mapping[str, int] | None = None, earlier: Path | None = None,
    who: str = "grower",
) -> Outcome:
    """Measure every row's floor in a picture from the air, and keep it as a cover survey; the picture is not kept.

    Parameters
    ----------
    where, file : Path
        Grove file; GeoTIFF.
    date : str
        Day on which it was flown; only the grower knows.
    name : str, optional
        Name of the survey.
    index, threshold, bands :
        As in `gridmap.sward.measure_picture`.
    earlier : Path, optional
        An earlier picture: the shift between both is taken off, and what is left goes into the error.
    who : str
        For the history.
    """
    day = _flown(date)
    with open_grove(where) as grove:
        floor = _floor(grove)
        shift = None if earlier is None else sward.picture_shift(earlier, file, floor.total_bounds, floor.crs)
        found = sward.measure_picture(
            file, floor, index=index, threshold=threshold, bands=bands,
            shift_m=(0.0, 0.0) if shift is None else (shift.east_m, shift.north_m),
            misplaced_m=0.0 if shift is None else shift.left_m,
        )  # fmt: skip
        about: dict[str, Any] = {
            "kind": "aerial", "picture": file.name, "index": index, "threshold": round(found.threshold, 4),
            "by_otsu": found.by_otsu, "mulch_m": settings_of(grove).mulch_m or 0.0,
        }  # fmt: skip
        if shift is not None and earlier is not None:
            about |= {"against": earlier.name, "shift_east_m": round(shift.east_m, 3),
                      "shift_north_m": round(shift.north_m, 3), "shift_left_m": round(shift.left_m, 3)}  # fmt: skip
        survey, stored, seen = _keep(grove, found.rows, day, name, about, who, f"measure picture {file.name}")
    how = "found in the picture" if found.by_otsu else "yours"
    said = [
        f"{seen} of {len(floor)} rows measured in {file.name} of {date_words(dt.date.fromisoformat(day))}.",
        f"Green is {index.replace('_', ' ')} over {found.threshold:.3f} ({how}).",
    ]
    if shift is not None:
        said.append(f"The picture lay {shift.east_m:+.2f} m east and {shift.north_m:+.2f} m north of the earlier one; "
                    f"that was taken off, {shift.left_m:.2f} m is left and counted as error.")  # fmt: skip
    else:
        said.append("Not aligned: name the earlier picture before you believe a change between two.")
    return Outcome(said=tuple(said), cautions=found.cautions,
                   figures={"survey": survey, "rows": seen, "looks_new": stored, **about})  # fmt: skip


def import_classes(
    where: Path, file: Path, classes: Mapping[int, str], *, date: str | None = None, name: str | None = None,
    who: str = "grower",
) -> Outcome:
    """Measure every row's floor in a class raster, and keep it as a cover survey.

    Parameters
    ----------
    where, file : Path
        Grove file; GeoTIFF of whole numbers.
    classes : mapping of int to str
        Which part of the floor each value stands for.
    date, name : str, optional
        Day and name of the survey.
    who : str
        For the history.
    """
    day = _flown(date)
    if not classes:
        raise InputMissing("no class is named", "the values of a class raster mean nothing by themselves",
                           "say for instance 1=grass 2=bare", missing=["what each class stands for"])
    with open_grove(where) as grove:
        floor = _floor(grove)
        rows = sward.measure_classes(file, floor, classes)
        told = {str(value): part for value, part in classes.items()}
        about = {"kind": "classes", "raster": file.name, "classes": told}
        survey, stored, seen = _keep(grove, rows, day, name, about, who, f"measure classes {file.name}")
    said = (f"{seen} of {len(floor)} rows measured in {file.name}.",
            "These areas are counted as the raster has them: check a sample of places and put them right.")  # fmt: skip
    return Outcome(said=said, figures={"survey": survey, "rows": seen, "looks_new": stored, **about})


def _flown(date: str | None) -> str:
    if date is None:
        raise InputMissing("the day of the picture is not said", "cover belongs to a day", "say --date YYYY-MM-DD",
                           missing=["the day of the picture"])
    try:
        return dt.date.fromisoformat(date).isoformat()
    except ValueError:
        raise InputRefused(f"the date is {date!r}", "it must be a day such as 2026-02-03") from None


def _floor(grove: Grove) -> gpd.GeoDataFrame:
    """Return the floor of every row, or say that there is none."""
    floor = sward.row_floor(grove.trees(), grove.blocks(), mulch_m=settings_of(grove).mulch_m or 0.0)
    if not len(floor):
        raise InputMissing("the grove has no rows yet", "the floor is measured row by row", "lay rows or import trees",
                           missing=["trees"])
    return floor


def _keep(
    grove: Grove, rows: gpd.GeoDataFrame, day: str, name: str | None, about: Mapping[str, Any], who: str, what: str
) -> tuple[str, int, int]:
    """Store the rows that were seen; return the survey, how many looks were new, how many rows were seen."""
    if dt.date.fromisoformat(day) > today(grove):
        raise InputRefused(f"the date is {day}", "it lies ahead", "check the year")
    seen = rows[rows["grass_cover"].notna()].reset_index(drop=True)
    cover = rows_of(seen, pd.DataFrame(seen.drop(columns=["geometry", "block", "row", "upslope_m"])))
    with grove.act(what, who=who):
        survey = survey_of(grove, day, name, cover, about)
        stored = grove.add_cover(named(grove, cover.assign(survey=survey)))
    return survey, stored.new, len(seen)


def named_classes(given: list[str]) -> dict[int, str]:
    """Read what each value of a class raster stands for, written VALUE=PART.

    Examples
    --------
    >>> named_classes(["1=grass", "3=bare"])
    {1: 'grass', 3: 'bare'}
    >>> named_classes(["grass"])
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Class is 'grass': it must be a value and its part, as 1=grass.
    """
    classes = {}
    for text in given:
        value, _, part = text.partition("=")
        if not value.strip().lstrip("-").isdigit() or not part.strip():
            raise InputRefused(f"class is {text!r}", "it must be a value and its part, as 1=grass")
        classes[int(value)] = part.strip()
    return classes
