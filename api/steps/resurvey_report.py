"""What a survey of known trees says, in words, tables and figures."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from api.steps.outcome import Outcome
from api.steps.places import label
from api.steps.places_ground import coordinates
from gridmap.ground import SurveyMatch

if TYPE_CHECKING:
    from api.steps.resurvey import Survey

#: Below this a pair is worth a look on the ground.
SURE: Final = 0.9
#: A shift that another one rivals this much is not taken without being asked.
DOUBTFUL_SHIFT: Final = 0.01


def told(
    survey: Survey, name: str, notes: list[str], moved_out: int, *, accept: bool, retired: bool, planted: bool
) -> Outcome:
    """Say what the survey would change, or changed."""
    match, replants = survey.match, survey.replants
    unsure = match.matched[match.matched["sure"] < SURE]
    new = match.unknown.drop(index=match.unknown.index[replants.matched["new"].to_numpy(dtype=np.int64)])
    doubles = int((new["nearest_m"] < match.limit_m / 2).sum())
    said = [
        f"{len(survey.points):,} points from {name}: {len(match.matched):,} of {len(survey.trees):,} trees found, "
        f"{len(match.not_seen)} not seen, {len(replants.matched)} in gaps, {len(new)} where no tree is known.",
        f"The survey lies {shift_words(match)}; then trees and points are {match.error_m:.2f} m apart (root mean "
        f"square), and one over {match.limit_m:.1f} m away is not taken for the tree.",
    ]
    if match.shift_doubt > DOUBTFUL_SHIFT:
        said.append("Another shift fits nearly as well; this one can't be accepted without --no-shift.")
    if len(unsure):
        said.append(f"{len(unsure)} pairs are less than {SURE:.0%} sure: two neighbours may be taken for each other.")
    if doubles:
        said.append(f"{doubles} points lie beside a tree that has its point already: surveyed twice?")
    if moved_out:
        said.append(f"{moved_out} trees are outside the outline of their block by this survey.")
    said += notes
    if not accept:
        said.append("Nothing was stored. Look at the tables, then say it again with --accept.")
    else:
        shift = "without" if survey.take_off_shift else "with"
        said.append(f"Positions are stored {shift} that shift; labels, plants and counts are as they were.")
        if len(match.not_seen):
            said.append("Trees not seen are gone now." if retired else "Trees not seen stay (--retire-unseen).")
        if len(replants.matched):
            said.append("Gaps have new plants now." if planted else "Gaps stay gaps (--plant-gaps).")
    return Outcome(said=tuple(said), tables=_tables(survey, unsure, new), figures=_figures(survey, new, accept=accept))


def _tables(survey: Survey, unsure: pd.DataFrame, new: pd.DataFrame) -> dict[str, pd.DataFrame]:
    names = np.array([label(place) for place in survey.trees.to_dict("records")], dtype=object)
    gaps = np.array([label(place) for place in survey.gaps.to_dict("records")], dtype=object)
    replants = survey.replants.matched
    tables = {
        "Less sure": (names, unsure, "distance_m"),
        "Not seen": (names, survey.match.not_seen, "nearest_m"),
        "In gaps": (gaps, replants, "distance_m"),
    }
    found = {
        title: pd.DataFrame({"tree": labels[part["old"]], "m": part[metres].round(2), "sure": part["sure"].round(2)})
        for title, (labels, part, metres) in tables.items()
        if len(part)
    }
    if len(new):
        at = survey.points.geometry.iloc[new["new"]]
        found["No tree known here"] = pd.DataFrame(
            {"easting": at.x.round(2).to_numpy(), "northing": at.y.round(2).to_numpy()}
        ).assign(**{"nearest m": new["nearest_m"].round(2).to_numpy(), "sure": new["sure"].round(2).to_numpy()})
    return found


def _figures(survey: Survey, new: pd.DataFrame, *, accept: bool) -> dict[str, Any]:
    match, replants = survey.match, survey.replants
    names = [label(place) for place in survey.trees.to_dict("records")]
    gaps = [label(place) for place in survey.gaps.to_dict("records")]
    moved = np.hypot(
        *(coordinates(survey.trees)[match.matched["old"]] - coordinates(survey.points)[match.matched["new"]]).T
    )
    return {
        "shift_east_m": match.shift_m[0],
        "shift_north_m": match.shift_m[1],
        "shift_doubt": match.shift_doubt,
        "error_m": match.error_m,
        "limit_m": match.limit_m,
        "matched": [
            {"tree": names[line["old"]], "point": line["new"] + 1, "moved_m": far, "distance_m": line["distance_m"]}
            | {"sure": line["sure"]}
            for line, far in zip(match.matched.to_dict("records"), moved, strict=True)
        ],
        "not_seen": [
            {"tree": names[line["old"]], "nearest_m": line["nearest_m"], "sure": line["sure"]}
            for line in match.not_seen.to_dict("records")
        ],
        "in_gaps": [
            {"tree": gaps[line["old"]], "distance_m": line["distance_m"], "sure": line["sure"]}
            for line in replants.matched.to_dict("records")
        ],
        "unknown": [
            {"point": int(line["new"]) + 1, "nearest_m": line["nearest_m"], "sure": line["sure"]}
            for line in new.to_dict("records")
        ],
        "stored": accept,
    }


def report_of(survey: Survey) -> str:
    """Return a mark of all that a survey would change: who looked at it stores exactly that, or nothing."""
    match = survey.match
    parts = (survey.trees["tree"], survey.gaps["place"], match.matched[["old", "new"]], match.not_seen["old"],
             match.unknown["new"], survey.replants.matched[["old", "new"]], survey.take_off_shift)  # fmt: skip
    xy = coordinates(survey.points).round(3).tolist()
    content = json.dumps([np.asarray(part).tolist() for part in parts] + [match.shift_m.round(3).tolist(), xy])
    return hashlib.sha256(content.encode()).hexdigest()[:32]


def shift_words(match: SurveyMatch) -> str:
    """Say how far and which way the survey lies off."""
    east, north = match.shift_m
    if np.hypot(east, north) < 0.05:
        return "where the trees are"
    up, right = "north" if north > 0 else "south", "east" if east > 0 else "west"
    return f"{abs(north):.1f} m {up} and {abs(east):.1f} m {right} of the known trees"
