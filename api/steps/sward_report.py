"""The climb of the grass in words, and as files: picture, sheet, tables, layers."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from api.steps.grove import INVENTED
from api.steps.opening import open_grove
from api.steps.outcome import Outcome
from api.steps.outputs import make_folder
from api.steps.sward import Sward, areas_of, change_of, climb_of, level_lines, load_sward
from gridmap import __version__
from gridmap.exchange import write_layer
from gridmap.words import date_words


def tell_sward(
    where: Path, *, level: float | None = None, since: str | None = None, out: Path | None = None
) -> Outcome:
    """Tell how the grass climbs, and write its page, tables and layers where a folder is named.

    Parameters
    ----------
    where : Path
        Grove file.
    level : float, optional
        Share of the floor that counts as grassed; the typed one when left out.
    since : str, optional
        Survey (date, name, uuid) from which change is told.
    out : Path, optional
        Folder for grass.pdf, grass.png, grass-rows.csv, grass-change.gpkg, grass-front.gpkg.
    """
    found = load_sward(where, level=level, since=since)
    said = [*([INVENTED] if found.invented else []), title_of(found) + ".", detail_of(found)]
    said += [f"Missing: {thing}." for thing in found.missing]
    tables: dict[str, pd.DataFrame] = {}
    if found.climb is not None:
        surveys = found.climb.surveys.rename(columns={"front_m": "front m", "low_90": "low 90", "high_90": "high 90"})
        tables["Front by survey"] = surveys.drop(columns=["survey", "year"]).round(1)
        tables["By block"] = found.climb.blocks.round(1)
        if len(found.climb.coming):
            years = found.climb.coming[["year", "earliest", "latest"]].map(_year_words)
            tables["Next rows"] = found.climb.coming[["block", "row", "upslope_m"]].round(1).join(years)
    if found.changed is not None:
        tables["Floor"] = areas_of(found.changed).round(2)
    files = [] if out is None else write_sward(where, found, out)
    if files:
        said.append(f"In {out}: {', '.join(sorted(files))}.")
    figures = {"level": found.level, **climb_of(found.climb), "change": change_of(found), "missing": found.missing,
               "files": files}  # fmt: skip
    return Outcome(said=tuple(said), figures=figures, tables=tables, cautions=found.notes)


def _year_words(year: float) -> str:
    return "over ten years" if math.isnan(year) else f"{year:.1f}"


def title_of(found: Sward) -> str:
    """Say the finding in a few words."""
    if found.climb is None or not math.isfinite(found.climb.advance["m_per_year"]):
        return f"Cover of {len(found.surveys)} surveys" if len(found.surveys) else "No cover survey yet"
    rate, low, high = (found.climb.advance[name] for name in ("m_per_year", "low_90", "high_90"))
    if not math.isfinite(low):
        return f"The grass moved {rate:+.1f} m a year, from too few surveys to be sure"
    if low <= 0.0 <= high:
        return "The grass neither surely climbs nor surely falls back"
    verb = "climbs" if rate > 0 else "falls back"
    return f"The grass {verb} {abs(rate):.1f} m a year"


def detail_of(found: Sward) -> str:
    """Say the limits and what they rest on."""
    number = found.rows[["block", "row"]].drop_duplicates().shape[0]
    surveys = "one survey" if len(found.surveys) == 1 else f"{len(found.surveys)} surveys"
    rests = f"from {surveys} of {number} rows"
    if found.level is not None:
        rests += f"; the front is where grass covers {100 * found.level:.0f} % of the floor"
    if found.climb is None or not math.isfinite(found.climb.advance["low_90"]):
        return rests[0].upper() + rests[1:] + "."
    low, high = found.climb.advance["low_90"], found.climb.advance["high_90"]
    return f"90 % limits {low:.1f} to {high:.1f} m a year, {rests}."


def write_sward(where: Path, found: Sward, out: Path) -> list[str]:
    """Write the page of the grass as PDF and PNG, its rows as CSV, its layers as GeoPackage; return their names."""
    from maps import grass

    make_folder(out)
    with open_grove(where, read_only=True) as grove:
        blocks, trees, name = grove.blocks(), grove.trees(), grove.grove.name
    note = INVENTED if found.invented else None
    files = ["grass-rows.csv"]
    found.rows.round(4).assign(**({"note": note} if note else {})).to_csv(out / files[0], index=False)
    pictures: dict[str, str] = {}
    fronts = fronts_of(found, trees)
    if found.climb is not None and found.level is not None:
        known = found.rows.dropna(subset=["upslope_m", "grass_cover"])
        pictures["profile"] = grass.draw_profile(known, found.climb.surveys, level=found.level)
        pictures["strip"] = grass.draw_strip(known, found.climb.surveys)
        if len(fronts):
            write_layer(fronts, out / "grass-front.gpkg", note=note)
            files.append("grass-front.gpkg")
    if found.changed is not None:
        pictures["change"] = grass.draw_change(found.changed, blocks, fronts)
        write_layer(found.changed, out / "grass-change.gpkg", note=note)
        files.append("grass-change.gpkg")
    page = page_of(found, name)
    files += [grass.grass_sheet(page, pictures, out / file).name for file in ("grass.pdf", "grass.png")]
    return files


def fronts_of(found: Sward, trees: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the front of the first and last survey, the last with its limits, as lines by block [m]."""
    parts = []
    if found.climb is not None:
        surveys = found.climb.surveys
        wanted = [("first", surveys.iloc[0], "front_m")] if len(surveys) > 1 else []
        columns = {"low_90": "low_90", "high_90": "high_90", "front": "front_m"}
        wanted += [(kind, surveys.iloc[-1], column) for kind, column in columns.items()]
        for kind, survey, column in wanted:
            lines = level_lines(trees, float(survey[column]))
            parts.append(lines.assign(kind=kind, date=survey["date"], upslope_m=float(survey[column])))
    whole = [part for part in parts if len(part)]
    if not whole:
        return gpd.GeoDataFrame({"kind": []}, geometry=[], crs=trees.crs)
    return gpd.GeoDataFrame(pd.concat(whole, ignore_index=True), geometry="geometry", crs=trees.crs)


def page_of(found: Sward, name: str) -> dict[str, Any]:
    """Return what the page of the grass says in words."""
    areas: list[list[str]] = []
    between = ""
    if found.changed is not None:
        dates = dict(zip(found.surveys["survey"], found.surveys["date"], strict=True))
        first, last = (dt.date.fromisoformat(dates[survey]) for survey in (found.since, found.until))
        between = f"Floor from {date_words(first)} to {date_words(last)}"
        areas = [
            [line["change"], f"{line['area_ha']:.2f}",
             "" if math.isnan(line["low_90_ha"]) else f"{line['low_90_ha']:.2f} to {line['high_90_ha']:.2f}"]
            for line in areas_of(found.changed).to_dict("records")
        ]  # fmt: skip
    blocks = [] if found.climb is None else [_block_line(line) for line in found.climb.blocks.to_dict("records")]
    notes = [f"{note[0].upper()}{note[1:].removesuffix('.')}." for note in found.notes]
    return {
        "title": title_of(found), "detail": detail_of(found), "grove": name, "invented": found.invented,
        "change": between, "areas": areas, "blocks": blocks, "notes": notes,
        "foot": f"gridmap {__version__}. Gained, grassed, lost and bare are told row by row; limits from each row's "
                "chance to be over your level.",
    }  # fmt: skip


def _block_line(line: dict[Any, Any]) -> list[str]:
    front = "outside the rows" if math.isnan(line["front_m"]) else f"{line['front_m']:.0f} m"
    if math.isnan(line["m_per_year"]):
        return [line["block"], front, "can't be told"]
    limits = "" if math.isnan(line["low_90"]) else f" ({line['low_90']:.1f} to {line['high_90']:.1f})"
    return [line["block"], front, f"{line['m_per_year']:+.1f}{limits}"]
