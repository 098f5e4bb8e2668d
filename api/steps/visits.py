"""Which walks a map is made of: the walk asked for, the one before it, what was sprayed between them, older ones."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd

from gridmap.checks import FloatArray
from gridmap.errors import InputRefused
from gridmap.pressure import PastLevel, PressureModel, past_level
from gridmap.words import date_words

if TYPE_CHECKING:
    from api.steps.pressure import Grove
    from api.store import Grove as StoredGrove
    from api.store import Zone

#: A walk of longer ago tells of the grove's level, not of its places.
MOST_DAYS: Final = 366
#: Older walks that tell where the level is looked for; more of them say little more and take longer.
OLDER: Final = 4
#: Entries of a record that say that spraying went on.
SPRAYING: Final = ("start", "run", "load", "stop", "resume", "finish")
#: Names of the two visits for the model.
BEFORE, NOW = 0, 1


@dataclass(frozen=True)
class Treated:
    """A zone that was sprayed on a day: by its record, or taken so because its sheet was printed then."""

    zone: str
    name: str
    on: dt.date
    trees: frozenset[str]
    recorded: bool = False


@dataclass(frozen=True)
class Past:
    """What the grove holds from before the walk that was asked for.

    Parameters
    ----------
    walks : DataFrame
        The `walks` contract, oldest first.
    counts : DataFrame
        The `counts` contract of these walks.
    treated : tuple of Treated
        Zones that were sprayed, the oldest first.
    """

    walks: pd.DataFrame
    counts: pd.DataFrame
    treated: tuple[Treated, ...] = ()


@dataclass(frozen=True)
class Used:
    """Which walks went into a map, and how.

    Parameters
    ----------
    beats : DataFrame
        tree, block, geometry, taps, reason, counted, visit (0 before, 1 the walk asked for), treated (zone or None).
    before : dict or None
        The walk before: walk, date, name; None where there is none to go with.
    treatments : tuple of Treated
        What was sprayed between the two.
    level : PastLevel or None
        What older walks say of the level.
    older : tuple of str
        Days of the older walks.
    """

    beats: pd.DataFrame
    before: dict[str, Any] | None
    treatments: tuple[Treated, ...]
    level: PastLevel | None
    older: tuple[str, ...]

    def treated(self, trees: pd.Series) -> list[str | None] | None:
        """Return for each tree the zone it was last sprayed in between the two walks; None where nothing was."""
        if not self.treatments:
            return None
        zone = {tree: one.zone for one in self.treatments for tree in one.trees}
        return [zone.get(tree) for tree in trees]

    def words(self) -> list[str]:
        """Say which walks were used, and what was taken as sprayed."""
        said = []
        if self.before is not None:
            number = int((self.beats["visit"] == BEFORE).sum())
            said.append(f"Used too: the walk of {_day(self.before['date'])}, {number} beats, for what is still alike.")
        if self.older:
            said.append(
                f"The level was looked for where {len(self.older)} older "
                f"{'walk' if len(self.older) == 1 else 'walks'} had it."
            )
        return said + self.treatment_words()

    def treatment_words(self) -> list[str]:
        """Say what was taken as sprayed between the two walks."""
        return [
            f"{one.name.capitalize()} "
            + (f"was sprayed on {_day(one.on)}" if one.recorded
               else f"is taken as sprayed on {_day(one.on)}, when its sheet was made")
            + f": earlier counts say nothing of its {len(one.trees)} trees."
            for one in self.treatments
        ]

    def figures(self) -> dict[str, Any]:
        """Return the same for a program."""
        before = None if self.before is None else {key: str(self.before[key]) for key in ("walk", "date")}
        return {
            "walk_before": before,
            "walks_older": list(self.older),
            "beats_used": len(self.beats),
            "treated_between": [
                {
                    "zone": one.zone,
                    "name": one.name,
                    "date": str(one.on),
                    "trees": len(one.trees),
                    "recorded": one.recorded,
                }
                for one in self.treatments
            ],
        }


def _day(day: object) -> str:
    return date_words(day) if isinstance(day, dt.date) else str(day)


def read_past(grove: StoredGrove, walks: pd.DataFrame, chosen: str) -> Past:
    """Read the walks before one, and the zones that were sprayed."""
    at = int(np.flatnonzero(walks["walk"].to_numpy() == chosen)[0])
    earlier = walks.iloc[max(0, at - 1 - OLDER) : at].reset_index(drop=True)
    counts = grove.counts(list(earlier["walk"])) if len(earlier) else grove.counts(chosen).head(0)
    return Past(earlier, counts, treated_zones(grove))


def treated_zones(grove: StoredGrove) -> tuple[Treated, ...]:
    """Return the zones that were sprayed: by their record, or, without one, taken so on the day of their sheet.

    Of a zone without a record the last version that was printed counts. Check trees were left, so they are not in.
    """
    zone, made, recorded = ZoneInfo(grove.grove.time_zone), [], set()
    for one in grove.treatments():
        kept = grove.zone(one.zone)
        recorded.add(kept.name)
        done = [entry.at for entry in one.entries if entry.kind in SPRAYING]
        if done:
            made.append(_treated(grove, kept, max(done).astimezone(zone).date(), recorded=True))
    zones = pd.DataFrame(grove.zones())
    frozen = zones[zones["frozen"].astype(bool)].drop_duplicates("name", keep="last")
    for name in frozen.loc[~frozen["name"].isin(recorded), "zone"]:
        kept = grove.zone(str(name))
        made.append(_treated(grove, kept, kept.created.astimezone(zone).date(), recorded=False))
    return tuple(sorted(made, key=lambda one: one.on))


def _treated(grove: StoredGrove, kept: Zone, on: dt.date, *, recorded: bool) -> Treated:
    inside = frozenset(kept.trees.loc[kept.trees["why"] != "dropped", "tree"]) - set(grove.check_trees(kept.uuid))
    return Treated(kept.uuid, kept.name, on, inside, recorded)


def coordinates(frame: pd.DataFrame) -> FloatArray:
    """Return the positions of a frame of points [m]."""
    geometry = gpd.GeoSeries(frame["geometry"])
    return np.column_stack([geometry.x, geometry.y])


def counted_numbers(counts: pd.DataFrame, counted: str) -> FloatArray:
    """Return the insects of every count that the map is of."""
    names = counted_columns(counted)
    for name in names:
        if counts[name].isna().any():
            raise InputRefused(
                f"{int(counts[name].isna().sum())} counts of the walk have no {name}",
                f"the map is of {counted.replace('_', ' ')}",
                "add them, or say --counts nymphs",
            )
    return np.asarray(counts[names].sum(axis=1), dtype=np.float64)


def counted_columns(counted: str) -> list[str]:
    """Return the columns of the counts that are added up."""
    return ["nymphs"] if counted == "nymphs" else ["nymphs", "adults"]


def use_walks(grove: Grove, counted: str) -> Used:
    """Put the beats of the walk and of the one before it on top of each other, and ask older ones for the level."""
    now = _placed(grove, grove.counts)
    if not len(now):
        raise InputRefused(
            f"the walk of {grove.walk['date']} has no count",
            "the map is made of counts",
            "read its counts in, or choose another walk",
        )
    parts = [now.assign(counted=counted_numbers(now, counted), visit=NOW)]
    # Of a past walk, what was not counted is no reason to refuse the map of this one.
    told = _placed(grove, grove.past.counts).dropna(subset=counted_columns(counted))
    with_counts = grove.past.walks[grove.past.walks["walk"].isin(told["walk"])]
    walks: list[dict[str, Any]] = [dict(line) for _, line in with_counts.iterrows()]
    before = walks.pop() if walks and (grove.walk["date"] - walks[-1]["date"]).days <= MOST_DAYS else None
    treatments: tuple[Treated, ...] = ()
    if before is not None:
        first = told[told["walk"] == before["walk"]]
        parts.insert(0, first.assign(counted=counted_numbers(first, counted), visit=BEFORE))
        # On the day of a walk the trees were beaten first: nobody beats a tree that has just been sprayed.
        treatments = tuple(one for one in grove.past.treated if before["date"] <= one.on < grove.walk["date"])
    beats = pd.concat(parts, ignore_index=True)
    zone = {tree: one.zone for one in treatments for tree in one.trees}
    beats["treated"] = [
        zone.get(tree) if visit == NOW else None for tree, visit in zip(beats["tree"], beats["visit"], strict=True)
    ]
    older = told[told["walk"].isin([walk["walk"] for walk in walks])]
    level = _level(older, counted, walks, standard_taps(grove)) if len(older) else None
    return Used(beats, before, treatments, level, tuple(str(walk["date"]) for walk in walks))


def _placed(grove: Grove, counts: pd.DataFrame) -> pd.DataFrame:
    """Return counts with the block and place of their plant, those of plants that have gone too."""
    return pd.DataFrame(counts.merge(grove.plants[["tree", "block", "geometry"]], on="tree", how="inner"))


def standard_taps(grove: Grove) -> float:
    """Return the taps of a standard beat."""
    return float(grove.facts.threshold.standard_taps or 3)


def _level(older: pd.DataFrame, counted: str, walks: list[dict[str, Any]], taps: float) -> PastLevel:
    order = {walk["walk"]: number for number, walk in enumerate(walks)}
    return past_level(
        coordinates(older),
        counted_numbers(older, counted),
        taps=older["taps"].to_numpy(),
        block=older["block"].to_numpy(),
        visit=[order[walk] for walk in older["walk"]],
        suspected=(older["reason"] == "suspected").to_numpy(),
        standard_taps=taps,
    )


def fit_model(grove: Grove, used: Used) -> PressureModel:
    """Fit the count model to the beats that are used."""
    beats = used.beats
    model = PressureModel(
        grove.facts.threshold.per_beat, standard_taps=standard_taps(grove), past_level=used.level
    )
    return model.fit(
        coordinates(beats),
        beats["counted"].to_numpy(),
        taps=beats["taps"].to_numpy(),
        block=beats["block"].to_numpy(),
        suspected=(beats["reason"] == "suspected").to_numpy(),
        visit=beats["visit"].to_numpy() if used.before is not None else None,
        treated=list(beats["treated"]) if used.treatments else None,
    )
