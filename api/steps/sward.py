"""The sward as it is asked for: surveys, rows by years, the front and its climb, ground gained and lost."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from api.steps.opening import open_grove
from api.steps.outcome import plain
from api.store import Grove
from api.store.refusals import NotThere
from gridmap import sward
from gridmap.crs import to_lonlat
from gridmap.errors import InputMissing
from gridmap.sward import Climb, SwardSettings

ROW_COLUMNS: Final = (
    "row", "upslope_m", "looks", "weight", "grass_cover", "low_90", "high_90", "ground_cover", "grass", "dead_grass",
    "litter", "rock", "bare",
)  # fmt: skip
BAND_M: Final = 25.0


@dataclass(frozen=True)
class Sward:
    """A grove's sward, loaded and worked out; what can't be told is None, and ``missing`` and ``notes`` say why."""

    surveys: pd.DataFrame
    rows: pd.DataFrame
    settings: SwardSettings
    level: float | None
    climb: Climb | None
    changed: gpd.GeoDataFrame | None
    since: str | None
    until: str | None
    missing: tuple[str, ...]
    notes: tuple[str, ...]
    invented: bool


def settings_of(grove: Grove) -> SwardSettings:
    """Return what the grower typed of the sward."""
    return SwardSettings.from_dict(grove.setting("sward") or {})


def load_sward(where: Path, *, level: float | None = None, since: str | None = None, until: str | None = None) -> Sward:
    """Load the surveys of a grove and work out what they say.

    Parameters
    ----------
    where : Path
        Grove file.
    level : float, optional
        Share of the floor that counts as grassed; the typed one when left out.
    since, until : str, optional
        Surveys (uuid or date) between which change is told; the first and the last when left out.
    """
    with open_grove(where, read_only=True) as grove:
        settings, surveys, cover = settings_of(grove), grove.cover_surveys(), grove.cover()
        trees, blocks, invented = grove.trees(), grove.blocks(), grove.grove.invented
        cover = _lying_now(cover, grove.places())
    wanted = settings.level if level is None else SwardSettings(level=level).level
    rows = sward.row_cover(cover)
    told: Climb | None = None
    notes: list[str] = []
    missing: list[str] = []
    if wanted is None:
        missing.append("the share of the floor that counts as grassed (sward: level)")
    elif len(rows):
        try:
            told = sward.climb(rows, level=wanted)
            notes += told.notes
        except InputMissing as trouble:
            missing += trouble.missing
            notes.append(str(trouble))
    first, last = _pair(surveys, since, until)
    changed = None
    if wanted is not None and first is not None and len(trees):
        try:
            floor = sward.row_floor(trees, blocks, mulch_m=settings.mulch_m or 0.0)
            before, after = (rows[rows["survey"] == survey] for survey in (first, last))
            changed = sward.ground_changed(before, after, floor, level=wanted)
        except InputMissing as trouble:
            notes.append(str(trouble))
    methods = sorted(set(cover["method"]))
    if len(methods) > 1:
        ways = " and ".join(sward.METHOD_NAMES[method] for method in methods)
        notes.append(f"surveyed by {ways}: methods differ in what they see, so compare like with like")
    if "aerial" in methods:
        notes.append(sward.DORMANT)
    return Sward(surveys, rows, settings, wanted, told, changed, first, last, tuple(missing), tuple(notes), invented)


def _lying_now(cover: gpd.GeoDataFrame, places: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Give looks the metres upslope that their row has today: heights may have come after the survey."""
    rows = places.groupby(["block", "row"])["upslope_m"].mean()
    now = rows.reindex(pd.MultiIndex.from_frame(cover[["block", "row"]])).to_numpy()
    return cover.assign(upslope_m=np.where(np.isnan(now), cover["upslope_m"], now))


def _pair(surveys: pd.DataFrame, since: str | None, until: str | None) -> tuple[str | None, str | None]:
    """Return the surveys between which change is told."""
    if len(surveys) < 2:
        return None, None
    named = [_named(surveys, since) or str(surveys["survey"].iloc[0]), _named(surveys, until)]
    return named[0], named[1] or str(surveys["survey"].iloc[-1])


def _named(surveys: pd.DataFrame, name: str | None) -> str | None:
    if name is None:
        return None
    same = surveys[(surveys["survey"] == name) | (surveys["date"] == name) | (surveys["name"] == name)]
    if not len(same):
        raise NotThere(f"there is no cover survey {name!r}", f"there are {', '.join(surveys['date'])}")
    return str(same["survey"].iloc[-1])


def areas_of(changed: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return the hectares of each kind of change, with 90 % limits from each row's chances.

    Rows are taken as independent: their variance p (1 - p) times the square of their area, summed. Rows that were not
    looked at twice are in no kind but "too few looks to say".
    """
    area = changed["area_ha"].to_numpy()
    was, is_now = changed["chance_before"].to_numpy(), changed["chance_after"].to_numpy()
    chances = (is_now * (1 - was), is_now * was, was * (1 - is_now), (1 - was) * (1 - is_now))
    lines = []
    for kind, chance in zip(sward.KINDS, [*chances, None], strict=True):
        mine = float(area[(changed["change"] == kind).to_numpy()].sum())
        if chance is None:
            lines.append((kind, mine, math.nan, math.nan))
            continue
        mean, spread = float(np.nansum(area * chance)), math.sqrt(float(np.nansum(area**2 * chance * (1 - chance))))
        lines.append((kind, mine, min(max(mean - 1.645 * spread, 0.0), mine), max(mean + 1.645 * spread, mine)))
    return pd.DataFrame(lines, columns=["change", "area_ha", "low_90_ha", "high_90_ha"])


def sward_of(where: Path, *, level: float | None = None, since: str | None = None, until: str | None = None) -> Any:
    """Return everything that the place Sward shows, as plain values."""
    found = load_sward(where, level=level, since=since, until=until)
    order = {survey: number for number, survey in enumerate(found.surveys["survey"])}
    blocks = sorted(set(found.rows["block"]))
    rows = found.rows
    columns: dict[str, Any] = {
        "survey": [order[survey] for survey in rows["survey"]],
        "block": [blocks.index(block) for block in rows["block"]],
        **{name: rows[name].tolist() for name in ROW_COLUMNS},
    }
    looks = rows.groupby("survey")["looks"].sum() if len(rows) else pd.Series(dtype="float64")
    number = rows.groupby("survey").size() if len(rows) else pd.Series(dtype="float64")
    surveys = [
        {**line, "looks": int(looks.get(line["survey"], 0)), "rows": int(number.get(line["survey"], 0))}
        for line in found.surveys.to_dict("records")
    ]
    return plain(
        {
            "level": found.level, "settings": found.settings.to_dict(), "surveys": surveys, "blocks": blocks,
            "rows": columns, **climb_of(found.climb), "change": change_of(found), "missing": found.missing,
            "notes": found.notes,
        }
    )  # fmt: skip


def climb_of(told: Climb | None) -> dict[str, Any]:
    """Return the front, its advance, and what follows from them, as plain values."""
    if told is None:
        nothing: dict[str, Any] = {name: [] for name in ("front", "by_block", "passed", "coming")}
        return {**nothing, **dict.fromkeys(("advance", "plateaus", "trend"))}
    trend = None
    if told.trend is not None:
        trend = {"share_per_year": told.trend.slope, "low_90": told.trend.low_90, "high_90": told.trend.high_90,
                 "p": told.trend.p, "surveys": told.trend.surveys, "enough": told.trend.enough}  # fmt: skip
    return {
        "front": told.surveys.to_dict("records"),
        "advance": told.advance if math.isfinite(told.advance["m_per_year"]) else None,
        "plateaus": list(told.model.plateaus_) if told.model is not None else None,
        "by_block": told.blocks.to_dict("records"),
        "passed": told.passed.to_dict("records"),
        "coming": told.coming.to_dict("records"),
        "trend": trend,
    }


def change_of(found: Sward) -> dict[str, Any] | None:
    """Return ground gained and lost, row by row, in all, and by block and band of the slope."""
    if found.changed is None:
        return None
    rows = found.changed[["block", "row", "upslope_m", "change", "before", "after", "area_ha"]]
    bands = sward.area_by_band(found.changed.dropna(subset=["upslope_m"]), band_m=BAND_M)
    words = {kind: kind.replace(" ", "_") + "_ha" for kind in sward.KINDS}
    return {
        "since": found.since, "until": found.until, "areas": areas_of(found.changed).to_dict("records"),
        "bands": bands.rename(columns=words).to_dict("records"), "rows": pd.DataFrame(rows).to_dict("records"),
    }  # fmt: skip


def floor_layer(where: Path, *, level: float | None = None, since: str | None = None, until: str | None = None) -> Any:
    """Return the floor of each row as GeoJSON: change, cover before and after, hectares."""
    import shapely

    found = load_sward(where, level=level, since=since, until=until)
    features = []
    if found.changed is not None:
        lonlat = to_lonlat(found.changed)
        shapes = shapely.set_precision(lonlat.geometry.to_numpy(), 1e-7)
        names = ["block", "row", "upslope_m", "change", "before", "after", "chance_before", "chance_after", "area_ha"]
        for line, shape in zip(pd.DataFrame(lonlat[names]).to_dict("records"), shapes, strict=True):
            told = {**line, "since": found.since, "until": found.until}
            features.append({"type": "Feature", "geometry": shapely.geometry.mapping(shape), "properties": told})
    return plain({"type": "FeatureCollection", "features": features})


def front_layer(where: Path, *, level: float | None = None) -> Any:
    """Return the front of the first and last survey as lines on the ground, the last with its limits."""
    import shapely

    found = load_sward(where, level=level)
    features = []
    if found.climb is not None and found.climb.model is not None:
        with open_grove(where, read_only=True) as grove:
            trees = grove.trees()
        surveys = found.climb.surveys
        wanted = [("first", surveys.iloc[0]["front_m"], surveys.iloc[0])] if len(surveys) > 1 else []
        last = surveys.iloc[-1]
        wanted += [(kind, last[column], last) for kind, column in
                   (("front", "front_m"), ("low_90", "low_90"), ("high_90", "high_90"))]  # fmt: skip
        for kind, upslope, survey in wanted:
            lines = level_lines(trees, float(upslope))
            for block, line in to_lonlat(lines).set_index("block").geometry.items():
                features.append({
                    "type": "Feature", "geometry": shapely.geometry.mapping(shapely.set_precision(line, 1e-7)),
                    "properties": {"kind": kind, "block": block, "survey": survey["survey"], "date": survey["date"],
                                   "upslope_m": float(upslope)},
                })  # fmt: skip
    return plain({"type": "FeatureCollection", "features": features})


def level_lines(trees: gpd.GeoDataFrame, upslope_m: float) -> gpd.GeoDataFrame:
    """Draw in each block the line of so many metres upslope: between its trees, never beyond them."""
    import contourpy
    import shapely
    from scipy.interpolate import LinearNDInterpolator
    from scipy.spatial import QhullError

    lines = []
    known = trees.dropna(subset=["upslope_m"])
    for block, group in known.groupby("block", sort=True):
        xy, z = group.get_coordinates().to_numpy(), group["upslope_m"].to_numpy()
        if math.isnan(upslope_m) or len(z) < 4 or not z.min() < upslope_m < z.max():
            continue
        x, y = (np.linspace(low, high, 81) for low, high in zip(xy.min(axis=0), xy.max(axis=0), strict=True))
        try:
            grid = LinearNDInterpolator(xy - xy[0], z)(*np.meshgrid(x - xy[0][0], y - xy[0][1]))
        except QhullError:
            # Trees of one straight row span no ground
            continue
        drawn = contourpy.contour_generator(x, y, np.ma.masked_invalid(grid)).lines(upslope_m)
        whole = [line for line in drawn if len(line) > 1]
        if whole:
            lines.append((block, shapely.MultiLineString(whole).simplify(0.3)))
    frame = pd.DataFrame(lines, columns=["block", "geometry"])
    return gpd.GeoDataFrame(frame, geometry="geometry", crs=trees.crs)
