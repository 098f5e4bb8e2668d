"""Pressure: for every tree the count to expect, its limits, and the chance that it is over the grower's threshold."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from api.steps.facts import Facts, facts_of
from api.steps.grove import INVENTED
from api.steps.outcome import Outcome
from api.store import GroveFile, GroveInfo
from gridmap import checks
from gridmap.checks import FloatArray
from gridmap.errors import InputMissing, InputRefused
from gridmap.exchange import write_layer
from gridmap.pressure import PressureModel, block_table, hot_spots, knowledge
from gridmap.treatment import walked_blocks

COUNTED: Final = ("nymphs", "nymphs_and_adults")
DRAWS: Final = 400
SEED: Final = 20


@dataclass(frozen=True)
class Grove:
    """Everything of a grove file that the map, the zone and the sheet are worked out from.

    ``trees`` are the living ones; ``plants`` are all that ever stood there, so that a count on a tree that has gone
    since still tells about its place.
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
        Fitted to the walk.
    frame : DataFrame
        The pressure contract and ``knowledge``, one line for each living tree.
    draws : (draws, trees) array
        Joint draws of the expected count per standard beat, columns in the order of ``frame``.
    walked : tuple of str
        Blocks of which something is known.
    blocks, spots : frames
        Block table and hot spots.
    """

    grove: Grove
    counted: str
    model: PressureModel
    frame: pd.DataFrame
    draws: FloatArray
    walked: tuple[str, ...]
    blocks: pd.DataFrame
    spots: gpd.GeoDataFrame


def load_grove(path: Path, *, walk: str | None = None) -> Grove:
    """Read a grove and one of its walks: the latest, or the one with this date or name."""
    with GroveFile.open(path, read_only=True) as grove:
        chosen = choose_walk(grove.walks(), walk)
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


def counted_numbers(counts: pd.DataFrame, counted: str) -> FloatArray:
    """Return the insects of every count that the map is of."""
    names = ["nymphs"] if counted == "nymphs" else ["nymphs", "adults"]
    for name in names:
        if counts[name].isna().any():
            raise InputRefused(
                f"{int(counts[name].isna().sum())} counts of the walk have no {name}",
                f"the map is of {counted.replace('_', ' ')}",
                "add them, or say --counts nymphs",
            )
    return np.asarray(counts[names].sum(axis=1), dtype=np.float64)


def coordinates(frame: pd.DataFrame) -> FloatArray:
    """Return the positions of a frame of points [m]."""
    geometry = gpd.GeoSeries(frame["geometry"])
    return np.column_stack([geometry.x, geometry.y])


def work_out_pressure(grove: Grove, *, counts: str | None = None) -> Pressure:
    """Fit the count model to one walk and ask it about every living tree.

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
    trees = grove.trees
    beaten = grove.counts.merge(grove.plants[["tree", "block", "geometry"]], on="tree", how="inner")
    if not len(beaten):
        raise InputRefused(
            f"the walk of {grove.walk['date']} has no count",
            "the map is made of counts",
            "read its counts in, or choose another walk",
        )
    threshold = grove.facts.threshold
    model = PressureModel(threshold.per_beat, standard_taps=threshold.standard_taps or 3)
    model.fit(
        coordinates(beaten),
        counted_numbers(beaten, counted),
        taps=beaten["taps"].to_numpy(),
        block=beaten["block"].to_numpy(),
        suspected=(beaten["reason"] == "suspected").to_numpy(),
    )
    xy, block = coordinates(trees), trees["block"].to_numpy()
    frame = model.predict(xy, block=block)
    frame.insert(0, "tree", trees["tree"].to_numpy())
    walked = walked_blocks(grove.counts, grove.plants)
    frame["knowledge"] = knowledge(frame, walked=trees["block"].isin(walked).to_numpy()).to_numpy()
    draws = model.draw(xy, block=block, n=DRAWS, seed=SEED)
    table = block_table(trees, frame, draws, grove.counts, threshold=threshold.per_beat)
    spots = hot_spots(trees, frame, blocks=grove.blocks, walked=walked)
    return Pressure(
        grove=grove, counted=counted, model=model, frame=frame, draws=draws, walked=walked, blocks=table, spots=spots
    )


def map_pressure(path: Path, *, walk: str | None = None, counts: str | None = None, csv: Path | None = None) -> Outcome:
    """Work out the map of a walk and say what it found; with ``csv``, write every tree's figures too."""
    result = work_out_pressure(load_grove(path, walk=walk), counts=counts)
    if csv is not None:
        write_pressure(result, csv)
    outcome = describe_pressure(result)
    if csv is None:
        return outcome
    return Outcome(
        said=(*outcome.said, f"Every tree's figures are in {csv}."), figures=outcome.figures, tables=outcome.tables
    )


def describe_pressure(result: Pressure) -> Outcome:
    """Say what the map shows: the finding, the block table, the hot spots, where nothing is known."""
    grove, threshold = result.grove, result.grove.facts.threshold
    said = [INVENTED] if grove.info.invented else []
    said.append(finding(result))
    unknown = [block for block in grove.blocks["block"] if block not in result.walked]
    if unknown:
        said.append(f"Not walked, so unknown: {', '.join(unknown)}. Look there.")
    if threshold.per_beat is None:
        said.append(
            "No action threshold is typed in, so there is no chance over it. It is yours: none is published."
        )
    table = result.blocks
    known = table["walked"]
    shown = pd.DataFrame(
        {
            "block": table["block"],
            "trees": table["trees"],
            "beaten": table["beaten"],
            "count a beat (80 % limits)": [
                f"{row.median_per_beat:.1f} ({row.low_80:.1f} to {row.high_80:.1f})" if row.walked else "too few to say"
                for row in table.itertuples()
            ],
        }
    )
    if threshold.per_beat is not None:
        shown["trees over (80 % limits)"] = [
            f"{row.trees_over:.0f} ({row.trees_over_low_80:.0f} to {row.trees_over_high_80:.0f})" if row.walked else "?"
            for row in table.itertuples()
        ]
    tables = {f"Blocks, {result.counted.replace('_', ' ')} in a beat of {result.model.standard_taps:g} taps": shown}
    if len(result.spots):
        tables["Hot spots: neighbouring trees, each more likely over than not"] = pd.DataFrame(
            {
                "rank": result.spots["hot_spot"],
                "block": result.spots["block"],
                "rows": [
                    f"{a} to {b}" if a != b else f"{a}"
                    for a, b in zip(result.spots["from_row"], result.spots["to_row"], strict=True)
                ],
                "trees": result.spots["trees"],
                "trees over": result.spots["trees_over"].round(1),
                "count a beat": result.spots["median_per_beat"].round(1),
            }
        )
    figures = {
        "grove": grove.info.name,
        "invented": grove.info.invented,
        "walk": str(grove.walk["date"]),
        "counted": result.counted,
        "standard_taps": result.model.standard_taps,
        "threshold_per_beat": threshold.per_beat,
        "trees": len(grove.trees),
        "trees_beaten": int(grove.counts["tree"].nunique()),
        "blocks_walked": list(result.walked),
        "blocks_unknown": unknown,
        "blocks": table.to_dict("records"),
        "hot_spots": pd.DataFrame(result.spots.drop(columns="geometry")).to_dict("records"),
        "trees_over_in_walked_blocks": float(table.loc[known, "trees_over"].sum())
        if threshold.per_beat is not None
        else None,
        "trees_well_known": int((result.frame["knowledge"] == "well_known").sum()),
        "trees_doubtful": int((result.frame["knowledge"] == "doubtful").sum()),
        "trees_unknown": int((result.frame["knowledge"] == "unknown").sum()),
    }
    return Outcome(said=tuple(said), figures=figures, tables=tables)


def finding(result: Pressure) -> str:
    """Say in one sentence what the walk found."""
    date = result.grove.walk["date"]
    day = f"{date.day} {date:%B %Y}" if isinstance(date, dt.date) else str(date)
    beaten = result.grove.counts["tree"].nunique()
    head = f"Walk of {day}, {beaten} of {len(result.grove.trees):,} trees beaten:"
    numbers = counted_numbers(result.grove.counts, result.counted)
    if not numbers.any():
        worst = float(result.frame.loc[result.frame["knowledge"] != "unknown", "high_90"].max())
        bound = f"; a tree may still hold up to {worst:.1f} a beat (90 % limit)" if np.isfinite(worst) else ""
        return f"{head} nothing fell{bound}."
    threshold, spots = result.grove.facts.threshold.per_beat, len(result.spots)
    if threshold is None:
        return f"{head} {numbers.sum():,.0f} {result.counted.replace('_', ' ')} in all."
    if not spots:
        return f"{head} no place is more likely over your threshold than not."
    places = "one place is" if spots == 1 else f"{spots} places are"
    return f"{head} {places} likely over your threshold of {threshold:g}."


def write_pressure(result: Pressure, path: Path) -> None:
    """Write every tree's figures as CSV, with its label and its longitude and latitude."""
    trees = result.grove.trees[["tree", "block", "row", "position", "geometry"]]
    note = INVENTED if result.grove.info.invented else None
    write_layer(trees.merge(result.frame, on="tree", validate="one_to_one"), path, "csv", note=note)
