"""Pressure: for every tree the count to expect, its limits, and the chance that it is over the grower's threshold."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd

from api.steps.facts import Facts, facts_of
from api.steps.places_ground import kept_dem
from api.steps.visits import Past, Used, coordinates, fit_model, read_past, use_walks
from api.store import GroveInfo, open_grove
from gridmap import __version__, checks
from gridmap.checks import FloatArray
from gridmap.errors import InputMissing, InputRefused
from gridmap.ground import Dem
from gridmap.pressure import PressureModel, block_table, hot_spots, knowledge
from gridmap.treatment import walked_blocks

COUNTED: Final = ("nymphs", "nymphs_and_adults")
DRAWS: Final = 400
SEED: Final = 20


#: The last maps that were worked out, by the content they were worked out from: zone and outputs of one walk share one.
_KEPT: Final[dict[str, Pressure]] = {}
_MOST_KEPT: Final = 4
#: One map is worked out at a time: whoever asks for the same one meanwhile waits and gets it.
_TURN: Final = threading.Lock()


@dataclass(frozen=True)
class Grove:
    """Everything of a grove file that the map, the zone and the sheet are worked out from.

    ``trees`` are the living ones; ``plants`` are all that ever stood there, so that a count on a tree that has gone
    since still tells about its place. ``past`` are the walks before and what was sprayed.
    """

    info: GroveInfo
    blocks: gpd.GeoDataFrame
    trees: gpd.GeoDataFrame
    plants: gpd.GeoDataFrame
    keep_outs: gpd.GeoDataFrame
    walk: dict[str, Any]
    counts: pd.DataFrame
    catch: pd.DataFrame
    facts: Facts
    points: gpd.GeoDataFrame
    dem: Dem | None
    past: Past


class Joint:
    """What rests on joint draws, worked out once, by whoever asks first; the others wait for it."""

    def __init__(self, draw: Callable[[], FloatArray], tabulate: Callable[[FloatArray], pd.DataFrame]) -> None:
        self._draw, self._tabulate = draw, tabulate
        self._lock = threading.Lock()
        self._draws: FloatArray | None = None
        self._blocks: pd.DataFrame | None = None
        self._once: dict[Hashable, Any] = {}
        self._turn = threading.Lock()

    def once(self, key: Hashable, work_out: Callable[[], Any]) -> Any:
        """Return what belongs to this map under a key, worked out by whoever asks first."""
        with self._turn:
            if key not in self._once:
                self._once[key] = work_out()
            return self._once[key]

    @property
    def draws(self) -> FloatArray:
        """Joint draws, (draws, trees)."""
        with self._lock:
            if self._draws is None:
                self._draws = self._draw()
            return self._draws

    @property
    def blocks(self) -> pd.DataFrame:
        """Block table."""
        if self._blocks is None:
            self._blocks = self._tabulate(self.draws)
        return self._blocks


@dataclass(frozen=True)
class Pressure:
    """The map of one walk.

    Parameters
    ----------
    grove : Grove
        What it was worked out from.
    counted : {"nymphs", "nymphs_and_adults"}
        What is counted.
    model : PressureModel
        Fitted to the walk and the one before it.
    frame : DataFrame
        The pressure contract and ``knowledge``, one line for each living tree.
    joint : Joint
        Works out ``draws`` and ``blocks`` when they are first asked for: the map itself needs neither.
    walked : tuple of str
        Blocks with a count in this walk; what an earlier walk found in another block is no knowledge of it now.
    spots : GeoDataFrame
        Hot spots.
    used : Used
        Which walks it is made of.
    """

    grove: Grove
    counted: str
    model: PressureModel
    frame: pd.DataFrame
    joint: Joint
    walked: tuple[str, ...]
    spots: gpd.GeoDataFrame
    used: Used

    @property
    def draws(self) -> FloatArray:
        """Joint draws of the expected count per standard beat, (draws, trees), columns in the order of ``frame``."""
        return self.joint.draws

    @property
    def blocks(self) -> pd.DataFrame:
        """Block table."""
        return self.joint.blocks


def load_grove(path: Path, *, walk: str | None = None) -> Grove:
    """Read a grove and one of its walks: the latest, or the one with this date or name."""
    with open_grove(path, read_only=True) as grove:
        walks = grove.walks()
        chosen = choose_walk(walks, walk)
        return Grove(
            info=grove.grove,
            blocks=grove.blocks(),
            trees=grove.trees(),
            plants=grove.trees(include_gone=True),
            keep_outs=grove.keep_outs(),
            walk=chosen,
            counts=grove.counts(chosen["walk"]),
            catch=grove.catch(chosen["walk"]),
            facts=facts_of(grove.settings()),
            points=grove.points(),
            dem=kept_dem(grove),
            past=read_past(grove, walks, chosen["walk"]),
        )


def choose_walk(walks: pd.DataFrame, named: str | None) -> dict[str, Any]:
    """Return the walk with this date or name, the latest when none is named."""
    if not len(walks):
        raise InputMissing(
            "there is no walk in the grove file",
            "the map is made of counts",
            "read one in with gridmap import-counts",
            missing=["a walk with counts"],
        )
    if named is None:
        return dict(walks.iloc[-1])
    found = walks[(walks["date"].astype(str) == named) | (walks["name"] == named) | (walks["walk"] == named)]
    if len(found) != 1:
        known = ", ".join(
            f"{date}{f' ({name})' if isinstance(name, str) else ''}"
            for date, name in zip(walks["date"], walks["name"], strict=True)
        )
        many = "no walk" if not len(found) else f"{len(found)} walks"
        raise InputRefused(f"{many} is called {named!r}", f"there are: {known}", "name one by its date or name")
    return dict(found.iloc[0])


def what_is_counted(facts: Facts, asked: str | None) -> str:
    """Return what the map counts: what the grower asks for, else what the threshold counts."""
    if asked is not None:
        checks.one_of(asked, COUNTED, "what is counted")
        typed = facts.threshold.counts
        if typed is not None and typed != asked:
            raise InputRefused(
                f"the map is asked to count {asked}",
                f"your threshold counts {typed}",
                "leave --counts out, or type the threshold anew",
            )
        return asked
    if facts.threshold.counts is None:
        raise InputMissing(
            "it is not said what to count",
            "nymphs, or nymphs and adults; your threshold says which",
            "type your threshold with gridmap set-threshold, or say --counts",
            missing=["what the threshold counts (threshold: counts)"],
        )
    return facts.threshold.counts


def work_out_pressure(grove: Grove, *, counts: str | None = None) -> Pressure:
    """Fit the count model to a walk and the one before it, and ask it about every living tree.

    Parameters
    ----------
    grove : Grove
        From `load_grove`.
    counts : {"nymphs", "nymphs_and_adults"}, optional
        What to count; the threshold says it when left out.

    Raises
    ------
    InputMissing, InputRefused
        No threshold and nothing said of what to count; no count on a living tree.
    """
    counted = what_is_counted(grove.facts, counts)
    key = _content_key(grove, counted)
    with _TURN:
        kept = _KEPT.pop(key, None)
        result = _work_out(grove, counted) if kept is None else kept
        _KEPT[key] = result
        while len(_KEPT) > _MOST_KEPT:
            del _KEPT[next(iter(_KEPT))]
    return replace(result, grove=grove)


def _content_key(grove: Grove, counted: str) -> str:
    """Name the content that a map is worked out from; the same name means the same map."""
    plants, trees = grove.plants, grove.trees
    sprayed = [(one.zone, one.on, sorted(one.trees)) for one in grove.past.treated]
    told = (counted, grove.facts.threshold, grove.walk["walk"], grove.walk["date"], sprayed, __version__)
    made_of = hashlib.sha256(repr(told).encode())
    for frame in (
        grove.counts[["tree", "taps", "nymphs", "adults", "reason"]],
        grove.past.walks[["walk", "date"]].astype(str),
        grove.past.counts[["walk", "tree", "taps", "nymphs", "adults", "reason"]],
        pd.DataFrame({"tree": plants["tree"], "block": plants["block"], "at": plants.geometry.to_wkb()}),
        trees[["tree", "block", "row", "position"]],
        grove.blocks[["block", "row_spacing_m", "tree_spacing_m"]],
    ):
        made_of.update(pd.util.hash_pandas_object(pd.DataFrame(frame), index=False).to_numpy().tobytes())
    return made_of.hexdigest()


def _work_out(grove: Grove, counted: str) -> Pressure:
    """Fit and predict, as `work_out_pressure` says."""
    trees, threshold = grove.trees, grove.facts.threshold
    used = use_walks(grove, counted)
    model = fit_model(grove, used)
    xy, block = coordinates(trees), trees["block"].to_numpy()
    treated = used.treated(trees["tree"])
    frame = model.predict(xy, block=block, treated=treated)
    frame.insert(0, "tree", trees["tree"].to_numpy())
    walked = walked_blocks(grove.counts, grove.plants)
    frame["knowledge"] = knowledge(frame, walked=trees["block"].isin(walked).to_numpy()).to_numpy()
    joint = Joint(
        lambda: model.draw(xy, block=block, n=DRAWS, seed=SEED, treated=treated),
        lambda draws: block_table(trees, frame, draws, grove.counts, threshold=threshold.per_beat),
    )
    spots = hot_spots(trees, frame, blocks=grove.blocks, walked=walked)
    return Pressure(grove, counted, model, frame, joint, walked, spots, used)
