"""Change since the walk before: per tree and per block with limits, treated trees against untreated ones."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import pandas as pd

from api.steps.grove import INVENTED
from api.steps.outcome import Outcome, plain
from api.steps.pressure import DRAWS, SEED, Pressure, load_grove, work_out_pressure
from api.steps.visits import BEFORE, coordinates
from gridmap.errors import FileRefused, InputMissing
from gridmap.exchange import write_layer
from gridmap.pressure import Change, change_between
from gridmap.words import date_words

FIGURES: Final = (
    "median_ratio", "low_50", "high_50", "low_80", "high_80", "low_90", "high_90", "chance_fewer",
)
#: Decimals of a figure in a file: far finer than its limits.
DECIMALS: Final = 4
ENDINGS: Final = {".csv": "csv", ".geojson": "geojson"}


def work_out_change(result: Pressure) -> Change:
    """Compare the walk with the one before it, tree by tree and block by block.

    Raises
    ------
    InputMissing
        There is no walk before it, within a year.
    """
    used, trees = result.used, result.grove.trees
    if used.before is None:
        raise InputMissing(
            "there is no walk to compare with",
            "change is told between a walk and the one before it, at most a year apart",
            "walk again, or name a later walk",
            missing=["an earlier walk with counts"],
        )
    treated = used.treated(trees["tree"])
    change: Change = result.joint.once(
        "change",
        lambda: change_between(
            result.model,
            coordinates(trees),
            before=BEFORE,
            block=trees["block"].to_numpy(),
            treated_before=None if treated is None else [None] * len(trees),
            treated_after=treated,
            n=DRAWS,
            seed=SEED,
        ),
    )
    return change


def change_frame(result: Pressure) -> pd.DataFrame:
    """Return every living tree's change; no figure where either walk knows nothing of its block.

    Returns
    -------
    DataFrame
        tree, block, row, position, the figures of `gridmap.pressure.Change`, ``clear`` (fewer, more: the 80 % limits
        leave out no change; unclear: they don't; unknown) and ``treated``.
    """
    change, trees = work_out_change(result), result.grove.trees
    frame = pd.DataFrame(trees[["tree", "block", "row", "position"]]).reset_index(drop=True)
    frame[list(FIGURES)] = change.trees[list(FIGURES)].to_numpy()
    known = frame["block"].isin(known_blocks(result)) & (result.frame["knowledge"] != "unknown").to_numpy()
    frame[list(FIGURES)] = frame[list(FIGURES)].where(known)
    frame["clear"] = clear_words(frame)
    zones = result.used.treated(frame["tree"])
    frame["treated"] = False if zones is None else [zone is not None for zone in zones]
    return frame


def known_blocks(result: Pressure) -> list[str]:
    """Name the blocks that were beaten on both walks: of the others no change is known."""
    beats = result.used.beats
    before = set(beats.loc[beats["visit"] == BEFORE, "block"])
    return [block for block in result.walked if block in before]


def clear_words(frame: pd.DataFrame) -> list[str]:
    """Say of each line whether the change is clear: its 80 % limits leave out no change.

    Examples
    --------
    >>> clear_words(pd.DataFrame({"low_80": [0.2, 1.1, 0.5, None], "high_80": [0.8, 3.0, 2.0, None]}))
    ['fewer', 'more', 'unclear', 'unknown']
    """
    return [
        "unknown" if pd.isna(low) else "fewer" if high < 1 else "more" if low > 1 else "unclear"
        for low, high in zip(frame["low_80"], frame["high_80"], strict=True)
    ]


def block_lines(result: Pressure) -> list[dict[str, Any]]:
    """Return the change of each block's mean, without figures where it was not beaten on both walks."""
    table = work_out_change(result).blocks.copy()
    table[list(FIGURES)] = table[list(FIGURES)].where(table["block"].isin(known_blocks(result)))
    table["clear"] = clear_words(table)
    return [{str(key): value for key, value in line.items()} for line in table.to_dict("records")]


def change_words(result: Pressure) -> list[str]:
    """Say what changed: how many trees, and what a treatment did."""
    frame, before = change_frame(result), result.used.before or {}
    number = frame["clear"].value_counts()
    days = [date_words(day) if isinstance(day, dt.date) else str(day) for day in (before["date"], _date(result))]
    told = {word: int(number.get(word, 0)) for word in ("fewer", "more", "unclear", "unknown")}
    said = [
        f"From {days[0]} to {days[1]}: clearly fewer on {told['fewer']:,} trees, clearly more on {told['more']:,}, "
        f"not clear on {told['unclear']:,} (80 % limits)."
    ]
    if told["unknown"]:
        said.append(f"Of {told['unknown']:,} trees no change is known: their blocks were not beaten on both walks.")
    return said + result.used.treatment_words() + _treatment_words(work_out_change(result).treatment)


def _date(result: Pressure) -> object:
    return result.grove.walk["date"]


def _treatment_words(table: pd.DataFrame) -> list[str]:
    """Say what treated trees did against untreated ones."""
    if not len(table):
        return []
    last: Mapping[Any, Any] = table.iloc[-1].to_dict()
    low, high = last["reduction_low_90"], last["reduction_high_90"]
    middle, fall = last["reduction_percent"], last["high_90"] < 1
    head = "Treated against untreated: "
    if not fall and not last["low_90"] > 1:
        return [f"{head}no difference can be told (reduction {middle:.0f} %, 90 % limits {low:.0f} to {high:.0f} %)."]
    word = f"{middle:.0f} % fewer" if fall else f"{-middle:.0f} % more"
    limits = (low, high) if fall else (-high, -low)
    return [
        f"{head}{word} than they would have had (90 % limits {limits[0]:.0f} to {limits[1]:.0f} %). That is fair only "
        "where the untreated trees would have fared like the treated ones."
    ]


def describe_change(result: Pressure) -> Outcome:
    """Say what changed since the walk before, block by block, and what a treatment did."""
    blocks = block_lines(result)
    shown = pd.DataFrame(
        {
            "block": [line["block"] for line in blocks],
            "trees": [line["trees"] for line in blocks],
            "times the count before (80 % limits)": [
                "not beaten on both walks" if line["clear"] == "unknown"
                else f"{line['median_ratio']:.2f} ({line['low_80']:.2f} to {line['high_80']:.2f})"
                for line in blocks
            ],
            "": ["" if line["clear"] == "unknown" else line["clear"] for line in blocks],
        }
    )
    said = ([INVENTED] if result.grove.info.invented else []) + change_words(result)
    tables = {"Blocks": shown}
    treatment = work_out_change(result).treatment
    if len(treatment):
        tables["Treated and untreated, times the count before (90 % limits)"] = pd.DataFrame(
            {
                "part": treatment["part"],
                "times": treatment["median_ratio"].round(2),
                "from": treatment["low_90"].round(2),
                "to": treatment["high_90"].round(2),
            }
        )
    return Outcome(said=tuple(said), figures=change_figures(result), tables=tables)


def change_figures(result: Pressure) -> dict[str, Any]:
    """Return every figure of the change but those of single trees."""
    frame, before = change_frame(result), result.used.before or {}
    number = frame["clear"].value_counts()
    return plain(
        {
            "walk": result.grove.walk["walk"],
            "date": str(_date(result)),
            "walk_before": before["walk"],
            "since": str(before["date"]),
            "counted": result.counted,
            "trees": len(frame),
            **{f"trees_{word}": int(number.get(word, 0)) for word in ("fewer", "more", "unclear", "unknown")},
            "blocks": block_lines(result),
            "treatment": work_out_change(result).treatment.to_dict("records"),
            "treated_between": result.used.figures()["treated_between"],
        }
    )


def ask_change(
    path: Path, *, walk: str | None = None, counts: str | None = None, out: Path | None = None
) -> Outcome:
    """Say what changed since the walk before; with ``out`` (.csv or .geojson) write every tree's change too."""
    result = work_out_pressure(load_grove(path, walk=walk), counts=counts)
    outcome = describe_change(result)
    if out is None:
        return outcome
    write_change(result, out)
    return Outcome(
        said=(*outcome.said, f"Every tree's change is in {out}."), figures=outcome.figures, tables=outcome.tables
    )


def write_change(result: Pressure, out: Path) -> None:
    """Write every tree's change as CSV or GeoJSON, by the ending of the file's name."""
    ending = ENDINGS.get(out.suffix.lower())
    if ending is None:
        raise FileRefused(f"{out.name} ends in {out.suffix or 'nothing'}", "it must end in .csv or .geojson")
    places = result.grove.trees[["tree", "geometry"]]
    frame = places.merge(change_frame(result).round(DECIMALS), on="tree", validate="one_to_one")
    frame["since"] = str((result.used.before or {})["date"])
    write_layer(frame, out, ending, layer="change", note=INVENTED if result.grove.info.invented else None)


def change_columns(result: Pressure) -> pd.DataFrame:
    """Return tree and its change for the table of every tree: empty where there is no walk before."""
    if result.used.before is None:
        return pd.DataFrame({"tree": result.frame["tree"]})
    frame = change_frame(result)[["tree", "median_ratio", "low_80", "high_80"]]
    frame.columns = pd.Index(["tree", "change_ratio", "change_low_80", "change_high_80"])
    return frame.assign(change_since=str(result.used.before["date"]))
