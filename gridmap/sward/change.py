"""Ground gained and lost between two surveys, by block and by how far up the slope it lies."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputRefused
from gridmap.units import M2_PER_HA

KINDS: Final = ("gained", "grassed throughout", "lost", "bare or litter throughout", "too few looks to say")
_EPSILON: Final = 1e-9


def ground_changed(
    before: pd.DataFrame, after: pd.DataFrame, floor: gpd.GeoDataFrame, *, level: float
) -> gpd.GeoDataFrame:
    """Tell of every row's floor whether grass gained it, kept it, lost it, or never had it.

    Parameters
    ----------
    before, after : DataFrame
        `row_cover` of two surveys: block, row, grass_cover, standard_error.
    floor : GeoDataFrame
        block, row, upslope_m, geometry: the floor of each row (any projected CRS [m]).
    level : float
        Share of the floor under grass that counts as grassed.

    Returns
    -------
    GeoDataFrame
        ``floor`` with change (one of `KINDS`), before, after (grass_cover, NaN where not looked at), chance_before,
        chance_after (chance that the row lay, lies over the level), area_ha.

    Notes
    -----
    A row is grassed with chance Phi((cover - level) / error). It has changed, or not, where both chances are over 0.8
    or under 0.2; else there are too few looks to say. No published source for the 0.8: own choice.

    Examples
    --------
    >>> row = pd.DataFrame({"block": ["A"], "row": [1], "grass_cover": [0.2], "standard_error": [0.05]})
    >>> floor = gpd.GeoDataFrame({"block": ["A"], "row": [1], "upslope_m": [5.0]}, geometry=[shapely.box(0, 0, 100, 6)])
    >>> ground_changed(row, row.assign(grass_cover=0.9), floor, level=0.5)[["change", "area_ha"]].values.tolist()
    [['gained', 0.06]]
    >>> ground_changed(row.head(0), row, floor, level=0.5)["change"].tolist()
    ['too few looks to say']
    """
    from scipy.special import ndtr

    share = checks.number(level, "level that counts as grassed", over=0.0, most=1.0)
    checks.columns(floor, ["block", "row", "upslope_m", "geometry"], "floor")
    table = floor.copy()
    for name, cover in (("before", before), ("after", after)):
        checks.columns(cover, ["block", "row", "grass_cover", "standard_error"], name)
        known = cover.set_index(["block", "row"])[["grass_cover", "standard_error"]]
        if known.index.has_duplicates:
            raise InputRefused(f"a row stands twice in {name}", "each row has one cover", "use row_cover of one survey")
        found = known.reindex(pd.MultiIndex.from_frame(table[["block", "row"]]))
        table[name] = found["grass_cover"].to_numpy()
        error = found["standard_error"].clip(lower=1e-6).to_numpy()
        table[f"chance_{name}"] = ndtr((table[name].to_numpy() - share) / error)
    table["change"] = _kinds(table["chance_before"].to_numpy(), table["chance_after"].to_numpy())
    table["area_ha"] = table.geometry.area / M2_PER_HA
    return table


def _kinds(before: FloatArray, after: FloatArray) -> list[str]:
    was, is_now = before >= 0.8, after >= 0.8
    was_not, is_not = before <= 0.2, after <= 0.2
    return np.select(
        [was_not & is_now, was & is_now, was & is_not, was_not & is_not], list(KINDS[:4]), KINDS[4]
    ).tolist()


def area_by_band(changed: pd.DataFrame, *, band_m: float = 50.0) -> pd.DataFrame:
    """Sum the changed floor by block and by band of metres upslope.

    Parameters
    ----------
    changed : DataFrame
        block, upslope_m, change, area_ha, as `ground_changed` or `polygons_changed` gives them.
    band_m : float
        Width of a band [m upslope].

    Returns
    -------
    DataFrame
        block, from_m, to_m, and the hectares of each of `KINDS`; every band that has floor.

    Examples
    --------
    >>> changed = pd.DataFrame({"block": ["A", "A"], "upslope_m": [10.0, 60.0], "change": ["gained", "lost"],
    ...     "area_ha": [0.2, 0.1]})
    >>> area_by_band(changed)[["block", "from_m", "gained", "lost"]].values.tolist()
    [['A', 0.0, 0.2, 0.0], ['A', 50.0, 0.0, 0.1]]
    """
    width = checks.number(band_m, "width of a band", "m", over=0.0)
    checks.columns(changed, ["block", "upslope_m", "change", "area_ha"], "changed floor")
    start = np.floor(changed["upslope_m"].to_numpy(dtype=np.float64) / width + _EPSILON) * width
    table = changed.assign(from_m=start).pivot_table(
        index=["block", "from_m"], columns="change", values="area_ha", aggfunc="sum", fill_value=0.0
    )
    table = table.reindex(columns=list(KINDS), fill_value=0.0).reset_index()
    table.insert(2, "to_m", table["from_m"] + width)
    return table.rename_axis(columns=None)


def polygons_changed(before: gpd.GeoSeries, after: gpd.GeoSeries, floor: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Tell what of each piece of floor grass gained, kept and lost between two drawn outlines.

    Parameters
    ----------
    before, after : GeoSeries
        Grass as drawn at two surveys (polygons), in the CRS of ``floor`` [m].
    floor : GeoDataFrame
        block, upslope_m and whatever names a piece; geometry.

    Returns
    -------
    GeoDataFrame
        One line for each piece and kind that has area: the columns of ``floor``, change, area_ha, geometry. Areas of
        one piece sum to its own.

    Examples
    --------
    >>> floor = gpd.GeoDataFrame({"block": ["A"], "upslope_m": [5.0]}, geometry=[shapely.box(0, 0, 100, 100)])
    >>> old, new = (gpd.GeoSeries([shapely.box(0, 0, 100, top)]) for top in (40, 70))
    >>> polygons_changed(old, new, floor)[["change", "area_ha"]].round(2).values.tolist()
    [['gained', 0.3], ['grassed throughout', 0.4], ['bare or litter throughout', 0.3]]
    """
    checks.columns(floor, ["block", "upslope_m", "geometry"], "floor")
    for name, shapes in (("before", before), ("after", after)):
        if shapes.crs != floor.crs:
            raise InputRefused(f"outlines {name} are in another CRS than the floor", "both must be in the grove's")
    old, new = (shapely.make_valid(shapely.union_all(shapes.to_numpy())) for shapes in (before, after))
    pieces = floor.geometry.to_numpy()
    parts = {
        KINDS[0]: shapely.intersection(pieces, shapely.difference(new, old)),
        KINDS[1]: shapely.intersection(pieces, shapely.intersection(new, old)),
        KINDS[2]: shapely.intersection(pieces, shapely.difference(old, new)),
        KINDS[3]: shapely.difference(pieces, shapely.union(new, old)),
    }
    tables = []
    for kind, shapes in parts.items():
        area = shapely.area(shapes)
        some = area > _EPSILON
        tables.append(floor[some].assign(change=kind, area_ha=area[some] / M2_PER_HA, geometry=shapes[some]))
    return gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), geometry="geometry", crs=floor.crs)


def year_passed(rows: pd.DataFrame, *, level: float) -> pd.DataFrame:
    """Tell in which year each row passed the grower's level, if it has.

    Parameters
    ----------
    rows : DataFrame
        `row_cover` of all surveys: date, block, row, upslope_m, grass_cover.
    level : float
        Share of the floor under grass that counts as grassed.

    Returns
    -------
    DataFrame
        block, row, upslope_m, passed (year of the first survey from which on the row was over the level at every look;
        missing where it is not over it now), surveys (that looked at the row), note ("over at the first look", "never
        over", "fell back", or empty).

    Examples
    --------
    >>> rows = pd.DataFrame({"date": ["2019-09-01", "2021-09-01", "2023-09-01"], "block": "A", "row": 1,
    ...     "upslope_m": 10.0, "grass_cover": [0.2, 0.6, 0.7]})
    >>> year_passed(rows, level=0.5)[["passed", "surveys"]].values.tolist()
    [[2021, 3]]
    """
    share = checks.number(level, "level that counts as grassed", over=0.0, most=1.0)
    checks.columns(rows, ["date", "block", "row", "upslope_m", "grass_cover"], "cover of rows")
    lines = []
    for (block, row), looks in rows.sort_values("date").groupby(["block", "row"], sort=True):
        over = (looks["grass_cover"] >= share).to_numpy()
        under = np.flatnonzero(~over)
        first = int(under[-1]) + 1 if len(under) else 0
        passed = pd.Timestamp(str(looks["date"].iloc[first])).year if first < len(over) else None
        note = "" if passed else ("fell back" if over.any() else "never over")
        lines.append((block, row, float(looks["upslope_m"].mean()), passed, len(over),
                      "over at the first look" if passed and first == 0 else note))
    table = pd.DataFrame(lines, columns=["block", "row", "upslope_m", "passed", "surveys", "note"])
    return table.astype({"passed": "Int64"})
