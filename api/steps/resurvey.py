"""A survey of trees that are known already: what it would change, and the change where the grower takes it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from api.steps.ground import neighbour_distance_m
from api.steps.outcome import Outcome
from api.steps.places import block_named, past_day, redraw_rows, today
from api.steps.places_ground import coordinates, lay_again
from api.steps.resurvey_report import DOUBTFUL_SHIFT, report_of, shift_words, told
from api.store import Grove, open_grove
from api.store.refusals import ChangedMeanwhile
from gridmap import checks
from gridmap.crs import to_grove
from gridmap.errors import InputRefused
from gridmap.exchange import read_trees
from gridmap.ground import SurveyMatch, match_survey

#: Without a limit of the grower's, a point further from a tree than this many times the distance to its neighbour is
#: not that tree.
LIMIT_SPACINGS: Final = 2.0


@dataclass(frozen=True)
class Survey:
    """What a file of surveyed trees says of the places of some blocks.

    Parameters
    ----------
    trees, gaps : GeoDataFrame
        Places with a living plant, and without one.
    points : GeoDataFrame
        Surveyed points, the shift of the survey still in.
    match, replants : SurveyMatch
        Of the trees, and of the gaps with those points that are no known tree.
    take_off_shift : bool
        Whether positions are stored without the shift of the survey.
    """

    trees: gpd.GeoDataFrame
    gaps: gpd.GeoDataFrame
    points: gpd.GeoDataFrame
    match: SurveyMatch
    replants: SurveyMatch

    take_off_shift: bool

    def positions(self) -> gpd.GeoDataFrame:
        """Return place and new geometry of the trees that were found."""
        found = self.match.matched
        return self._placed(self.trees["place"].to_numpy()[found["old"]], found["new"].to_numpy())

    def not_surveyed(self) -> gpd.GeoDataFrame:
        """Return place and new geometry of the others, gaps too: the shift of the survey takes them along."""
        trees = self.trees.iloc[self.match.not_seen["old"].to_numpy(dtype=np.int64)]
        others = pd.concat([trees[["place", "geometry"]], self.gaps[["place", "geometry"]]])
        shift = np.zeros(2) if self.take_off_shift else self.match.shift_m
        return gpd.GeoDataFrame(others, geometry="geometry", crs=self.points.crs).set_geometry(
            gpd.GeoSeries(others["geometry"], crs=self.points.crs).translate(*shift)
        )

    def replanted(self) -> gpd.GeoDataFrame:
        """Return place and new geometry of the gaps in which a tree was found."""
        found = self.replants.matched
        at = self.match.unknown["new"].to_numpy()[found["new"]]
        return self._placed(self.gaps["place"].to_numpy()[found["old"]], at)

    def _placed(self, place: npt.NDArray[np.object_], at: checks.IntArray) -> gpd.GeoDataFrame:
        xy = coordinates(self.points)[at] - (self.match.shift_m if self.take_off_shift else 0.0)
        return gpd.GeoDataFrame({"place": place}, geometry=gpd.points_from_xy(*xy.T), crs=self.points.crs)


def resurvey(
    path: Path,
    file: Path,
    *,
    block: str | None = None,
    limit_m: float | None = None,
    layer: str | None = None,
    crs: str | None = None,
    no_shift: bool = False,
    take_off_shift: bool = False,
    accept: bool = False,
    retire_unseen: bool = False,
    plant_gaps: bool = False,
    on: str | None = None,
    shown: str | None = None,
    who: str = "grower",
) -> Outcome:
    """Tell which surveyed point is which known tree; store the new positions only where that is accepted.

    Parameters
    ----------
    path, file : Path
        The grove; tree positions as `read_trees` takes them, labels not needed.
    block : str, optional
        Look at this block alone; else at all that the survey touches.
    limit_m : float, optional
        A point further from a tree is not that tree [m].
    layer, crs : str, optional
        Of the file.
    no_shift : bool
        Take the survey where it lies; else its common shift is found, taken off to match, and put back.
    take_off_shift : bool
        Store positions without that shift, so that the trees stay where outlines and keep-outs were drawn.
    accept, retire_unseen, plant_gaps : bool
        Store the positions; let trees that were not seen be gone; set a new plant into gaps where a tree was seen.
    on : str, optional
        Day of the survey, YYYY-MM-DD, for plants that come and go; today when left out.
    shown : str, optional
        ``report`` of the figures that were looked at before: where they would be others by now, nothing is stored.
    """
    if (retire_unseen or plant_gaps) and not accept:
        raise InputRefused("nothing is stored without --accept", "the survey is only looked at", "add --accept")
    with open_grove(path, read_only=not accept) as grove:
        places, lines = grove.places(), grove.rows()
        read = read_trees(file, crs=crs, layer=layer, rows="later", block="survey")
        points, notes = to_grove(read, grove.grove.crs_code, near=_bounds(places))
        survey = look(
            places,
            grove.blocks(),
            points,
            block=block,
            limit_m=limit_m,
            no_shift=no_shift,
            take_off_shift=take_off_shift,
        )
        day = past_day(grove, on, "the day of the survey") if on is not None else today(grove)
        report = report_of(survey)
        if accept:
            _refuse_doubtful(survey.match)
            if shown is not None and shown != report:
                raise ChangedMeanwhile("what the survey would change", grove.state()[0])
            with grove.act(f"resurvey from {file.name}", who=who):
                _store(grove, survey, places, lines, day, retire_unseen=retire_unseen, plant_gaps=plant_gaps)
        moved_out = _moved_out(survey, grove.blocks())
    done = told(survey, file.name, notes, moved_out, accept=accept, retired=retire_unseen, planted=plant_gaps)
    return replace(done, figures={**done.figures, "report": report})


def look(
    places: gpd.GeoDataFrame,
    blocks: gpd.GeoDataFrame,
    points: gpd.GeoDataFrame,
    *,
    block: str | None = None,
    limit_m: float | None = None,
    no_shift: bool = False,
    take_off_shift: bool = False,
) -> Survey:
    """Match surveyed points with the trees of a block, or of all blocks that the survey touches."""
    if not places["tree"].notna().any():
        raise InputRefused("the grove has no trees", "a survey is matched with trees", "import the trees first")
    xy, new = coordinates(places[places["tree"].notna()]), coordinates(points)
    near = neighbour_distance_m(xy)
    if limit_m is None and not np.isfinite(near):
        raise InputRefused("the grove has a single tree", "it shows no spacing", "say --limit-m")
    limit = checks.number(LIMIT_SPACINGS * near if limit_m is None else limit_m, "limit", "m", over=0)
    names = [block_named(blocks, block)["block"]] if block is not None else _touched(places, xy, new, limit)
    if not names:
        raise InputRefused(
            f"no surveyed point lies within {limit:.1f} m of a tree", "the survey is of other ground", "check its CRS"
        )
    own = places[places["block"].isin(names)]
    trees, gaps = own[own["tree"].notna()], own[own["tree"].isna()]
    match = match_survey(coordinates(trees), new, limit_m=limit, shift_m=np.zeros(2) if no_shift else None)
    rest = new[match.unknown["new"].to_numpy(dtype=np.int64)]
    replants = match_survey(coordinates(gaps), rest, limit_m=match.limit_m, shift_m=match.shift_m)
    return Survey(trees.reset_index(drop=True), gaps.reset_index(drop=True), points, match, replants, take_off_shift)


def _touched(places: gpd.GeoDataFrame, xy: checks.FloatArray, new: checks.FloatArray, limit: float) -> list[str]:
    """Return the blocks in which a point lies near a tree, the survey as a whole being off by as much again."""
    near = shapely.dwithin(shapely.MultiPoint(new), shapely.points(xy), 2 * limit)
    return list(dict.fromkeys(places[places["tree"].notna()]["block"][near]))


def _store(
    grove: Grove,
    survey: Survey,
    places: gpd.GeoDataFrame,
    lines: gpd.GeoDataFrame,
    day: Any,
    *,
    retire_unseen: bool,
    plant_gaps: bool,
) -> None:
    """Store what the survey found, as parts of one act."""
    grove.move_places(survey.positions())
    grove.move_places(survey.not_surveyed())
    if retire_unseen:
        grove.retire(survey.trees["tree"][survey.match.not_seen["old"]], day)
    if plant_gaps:
        where = survey.replanted()
        grove.move_places(where)
        for place in where["place"]:
            grove.plant_in(place, day)
    lay_again(grove, moved=[*survey.trees["place"], *survey.gaps["place"]])
    redraw_rows(grove, places, lines, dict.fromkeys(survey.trees["block"]))


def _refuse_doubtful(match: SurveyMatch) -> None:
    if match.shift_doubt > DOUBTFUL_SHIFT:
        raise InputRefused(
            f"the survey lies {shift_words(match)}, or a tree further along: both fit",
            "a whole row of trees would be taken for its neighbours",
            "survey a corner or a gap as well, or say --no-shift if it lies where it should",
        )


def _moved_out(survey: Survey, blocks: gpd.GeoDataFrame) -> int:
    """Count the trees that the survey found outside the outline of their block."""
    outlines = blocks.set_index("block").geometry
    names = survey.trees["block"].to_numpy()[survey.match.matched["old"]]
    points = survey.positions().geometry
    return int(sum(not outlines[name].covers(point) for name, point in zip(names, points, strict=True)))


def _bounds(places: gpd.GeoDataFrame) -> checks.FloatArray | None:
    return np.asarray(places.total_bounds) if len(places) else None
