"""When to slash without losing the seed: what shed, what would be lost, and what speaks against the day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from gridmap import checks
from gridmap.errors import InputMissing, InputRefused, RowsRefused
from gridmap.sward.proportion import points_needed, wilson_limits

VERDICTS: Final = ("ready", "early", "mixed", "look at more", "not to wait for")
# Heads that a first look asks for; own choice: 20 heads give limits of about 0.2 either way
FIRST_HEADS: Final = 20
_CHANCE: Final = 0.8

UNSURE: Final = (
    "Unsure of the grass: have it named before you wait for its seed. Declared weeds pass for native tussocks, and a "
    "declared weed must not set seed."
)
DECLARED: Final = (
    "A declared weed is never left to seed here. What must be done is said by your state and region; slashing ripe "
    "heads spreads them, so clean the machine."
)
RUNNING: Final = "A running grass spreads without seed: pin it and follow it; slashing does not wait for it."


def seed_readiness(
    checks_made: pd.DataFrame, grasses: pd.DataFrame, *, shed_enough: float | None, latest_only: bool = True
) -> pd.DataFrame:
    """Tell, grass by grass in each part of the grove, whether its seed has fallen.

    Parameters
    ----------
    checks_made : DataFrame
        part, grass (a name of ``grasses``, or empty where the grower is unsure), date, heads (looked at), shed (of
        them, shed when rubbed).
    grasses : DataFrame
        grass, kind (native, declared, running), group (winter, summer): `data/reference/grasses.json`, or the grower's.
    shed_enough : float
        Share of heads that must have shed before the grower slashes; the grower's own number.
    latest_only : bool
        Judge each grass in each part by its latest check.

    Returns
    -------
    DataFrame
        part, grass, kind (native, declared, running, unknown), group, date, heads, shed, share, low_80, high_80,
        verdict (one of `VERDICTS` but mixed), would_lose (share of heads that still hold seed; NaN where seed is not
        waited for), more_heads (how many to look at further), why.

    Raises
    ------
    InputMissing
        ``shed_enough`` was not said.
    RowsRefused
        Checks with more shed heads than heads, numbered from 0.

    Notes
    -----
    Ready where the lower 80 % limit of the share is at or over ``shed_enough``, early where the upper is under it; else
    more heads are asked for, enough for limits half as far apart as the share is from ``shed_enough``. An unknown,
    declared or running grass is never told to wait for.

    Examples
    --------
    >>> made = pd.DataFrame({"part": ["Low", "Low"], "grass": ["Themeda triandra", ""], "date": "2026-01-12",
    ...     "heads": [40, 40], "shed": [38, 0]})
    >>> known = pd.DataFrame({"grass": ["Themeda triandra"], "kind": ["native"], "group": ["summer"]})
    >>> seed_readiness(made, known, shed_enough=0.8)["verdict"].tolist()
    ['not to wait for', 'ready']
    >>> len(seed_readiness(made.head(0), known, shed_enough=0.8))
    0
    """
    if shed_enough is None:
        raise InputMissing("how much seed must have shed is not said", "it is your own number",
                           "say the share of heads that must have shed before you slash", missing=["shed_enough"])
    enough = checks.number(shed_enough, "share of heads that must have shed", over=0.0, most=1.0)
    checks.columns(checks_made, ["part", "grass", "date", "heads", "shed"], "seed-head checks")
    checks.columns(grasses, ["grass", "kind", "group"], "grasses")
    _refuse(checks_made)
    table = checks_made[["part", "grass", "date", "heads", "shed"]].assign(
        grass=checks_made["grass"].fillna("").astype(str).str.strip()
    )
    table = table.sort_values(["part", "grass", "date"], kind="stable")
    if latest_only:
        table = table.groupby(["part", "grass"], sort=False).tail(1)
    known = grasses.set_index("grass")
    table["kind"] = [known["kind"].get(grass, "unknown") for grass in table["grass"]]
    table["group"] = [known["group"].get(grass) for grass in table["grass"]]
    heads, shed = table["heads"].to_numpy(dtype=float), table["shed"].to_numpy(dtype=float)
    table["share"] = shed / heads
    table["low_80"], table["high_80"] = wilson_limits(shed, heads, _CHANCE)
    judged = [_judge(row, enough) for row in table.to_dict("records")]
    table[["verdict", "would_lose", "more_heads", "why"]] = pd.DataFrame(
        judged, columns=["verdict", "would_lose", "more_heads", "why"], index=table.index
    )
    return table.reset_index(drop=True)


def part_readiness(seed: pd.DataFrame) -> pd.DataFrame:
    """Join what the grasses of a part say into one word for it.

    Parameters
    ----------
    seed : DataFrame
        As `seed_readiness` gives it.

    Returns
    -------
    DataFrame
        part, verdict (one of `VERDICTS`), would_lose (greatest share of heads of a grass that still hold seed), heads,
        shed (native grasses), why.

    Notes
    -----
    Mixed: one grass is ready and another early, as where winter- and summer-growing grasses share the ground; no single
    day spares both, so leave refuge strips.

    Examples
    --------
    >>> seed = pd.DataFrame({"part": ["Low", "Low"], "grass": ["a", "b"], "verdict": ["ready", "early"],
    ...     "kind": ["native", "native"], "group": ["winter", "summer"], "would_lose": [0.1, 0.9], "heads": [20, 20],
    ...     "shed": [18, 2], "more_heads": [0, 0], "why": ["", ""]})
    >>> part_readiness(seed)[["verdict", "would_lose"]].values.tolist()
    [['mixed', 0.9]]
    """
    lines = []
    for part, group in seed.groupby("part", sort=True):
        native = group[group["kind"] == "native"]
        verdicts = set(native["verdict"])
        if {"ready", "early"} <= verdicts:
            verdict, why = "mixed", _mixed(native)
        elif "early" in verdicts:
            early = native[native["verdict"] == "early"]
            verdict, why = "early", f"{', '.join(early['grass'])} still holds its seed"
        elif "look at more" in verdicts:
            more = int(native["more_heads"].max())
            verdict, why = "look at more", f"look at {more} heads more"
        elif verdicts:
            verdict, why = "ready", "every grass that was looked at has shed enough"
        else:
            verdict, why = "not to wait for", "no native grass was looked at here"
        strange = group[group["kind"] != "native"]
        why += "".join(f". {text}" for text in dict.fromkeys(strange["why"]))
        lose = native["would_lose"].max() if len(native) else np.nan
        lines.append((part, verdict, lose, int(native["heads"].sum()), int(native["shed"].sum()), why))
    return pd.DataFrame(lines, columns=["part", "verdict", "would_lose", "heads", "shed", "why"])


def refuge_rows(rows: pd.DataFrame, *, left_last_time: Sequence[tuple[str, int]] = ()) -> pd.DataFrame:
    """Tell which rows to slash and which to leave as refuge: every other one, the other way round than last time.

    Parameters
    ----------
    rows : DataFrame
        block, row.
    left_last_time : sequence of (block, row)
        Rows that were left standing when the grower slashed last.

    Returns
    -------
    DataFrame
        block, row, leave (True: a refuge this time), in the order of block and row.

    Examples
    --------
    >>> rows = pd.DataFrame({"block": "A", "row": [1, 2, 3, 4]})
    >>> refuge_rows(rows)["leave"].tolist(), refuge_rows(rows, left_last_time=[("A", 2), ("A", 4)])["leave"].tolist()
    ([False, True, False, True], [True, False, True, False])
    """
    checks.columns(rows, ["block", "row"], "rows")
    table = rows[["block", "row"]].drop_duplicates().sort_values(["block", "row"]).reset_index(drop=True)
    order = table.groupby("block").cumcount() % 2 == 1
    left = pd.Series([(block, row) in set(left_last_time) for block, row in table.itertuples(index=False)],
                     index=table.index, dtype=bool)
    swap = left.groupby(table["block"]).transform(lambda was: bool((was & order[was.index]).sum() > was.sum() / 2))
    table["leave"] = order ^ swap.astype(bool)
    return table


def against_slashing(day: dt.date, said: Mapping[str, Any]) -> list[str]:
    """Name what the grower said that forbids or forces a day, or wants care on it.

    Parameters
    ----------
    day : date
        The day on which to slash.
    said : mapping
        What the grower typed, each MM-DD or nothing: fire_from, fire_to (the fire period), nets_from, nets_to (harvest
        nets on the ground), flowering_from, flowering_to (olives in flower), snakes_from, snakes_to; stones (bool).

    Returns
    -------
    list of str
        Sentences, the gravest first; the check of total fire bans is always there.

    Examples
    --------
    >>> against_slashing(dt.date(2026, 1, 12), {"fire_from": "11-01", "fire_to": "03-31", "stones": True})[0]
    'The fire period you typed holds on 12 January: ask before you slash, and only early on a cool, damp day.'
    >>> len(against_slashing(dt.date(2026, 6, 1), {}))
    1
    """
    from gridmap.words import date_words

    shown = date_words(day).rsplit(" ", 1)[0]
    found = []
    if within(day, said.get("fire_from"), said.get("fire_to")):
        found.append(f"The fire period you typed holds on {shown}: ask before you slash, and only early on a cool, "
                     "damp day.")
    found.append("Never on a day of total fire ban: look it up on the morning itself.")
    if within(day, said.get("nets_from"), said.get("nets_to")):
        found.append("Harvest nets lie on the ground then, by your own dates.")
    if within(day, said.get("flowering_from"), said.get("flowering_to")):
        found.append("Olives are in flower then, by your own dates: dust and bees.")
    if within(day, said.get("snakes_from"), said.get("snakes_to")):
        found.append("Snakes are about then, by your own dates: boots, gaiters, walk it first.")
    if said.get("stones"):
        found.append("Stones under the blade: they throw, and their sparks start fires. Guards down, nobody near.")
    return found


def within(day: dt.date, start: object, end: object) -> bool:
    """Tell whether a day lies between two days of the year (MM-DD), also over New Year.

    Examples
    --------
    >>> within(dt.date(2026, 1, 12), "11-01", "03-31"), within(dt.date(2026, 6, 1), "11-01", "03-31")
    (True, False)
    """
    if not start or not end:
        return False
    first, last = (_month_day(value) for value in (start, end))
    here = (day.month, day.day)
    return first <= here <= last if first <= last else here >= first or here <= last


def _month_day(value: object) -> tuple[int, int]:
    try:
        read = dt.date.fromisoformat(f"2000-{value}")
    except ValueError:
        raise InputRefused(f"day of the year is {value!r}", "it must be a month and a day, MM-DD") from None
    return read.month, read.day


def _refuse(made: pd.DataFrame) -> None:
    problems = []
    for line, (heads, shed) in enumerate(zip(made["heads"], made["shed"], strict=True)):
        if not heads >= 1 or heads != int(heads):
            problems.append((line, f"heads looked at is {heads}: it must be a whole number, 1 or more"))
        elif not 0 <= shed <= heads or shed != int(shed):
            problems.append((line, f"{shed} of {heads} heads had shed: it must be a whole number, 0 to {heads}"))
    if problems:
        raise RowsRefused(f"{len(problems)} seed-head checks can't be used", problems[0][1], "mend them", problems)


def _judge(row: Mapping[Any, Any], enough: float) -> tuple[str, float, int, str]:
    """Return verdict, share that would be lost, heads to look at further, and why."""
    if row["kind"] == "declared":
        return "not to wait for", np.nan, 0, DECLARED
    if row["kind"] == "running":
        return "not to wait for", np.nan, 0, RUNNING
    if row["kind"] != "native":
        return "not to wait for", np.nan, 0, UNSURE
    share, told = float(row["share"]), f"{int(row['shed'])} of {int(row['heads'])} heads shed"
    if row["low_80"] >= enough:
        return "ready", 1.0 - share, 0, f"{told}: over your {100 * enough:g} %"
    if row["high_80"] < enough:
        return "early", 1.0 - share, 0, f"{told}: slashing now loses about {100 * (1 - share):.0f} % of its seed heads"
    apart = max(abs(share - enough) / 2.0, 0.08)
    more = max(points_needed(min(max(share, 0.1), 0.9), apart, _CHANCE) - int(row["heads"]), 10)
    return "look at more", 1.0 - share, min(more, 60), f"{told}: too few to say against your {100 * enough:g} %"


def _mixed(native: pd.DataFrame) -> str:
    ready, early = (native[native["verdict"] == word] for word in ("ready", "early"))
    return (f"{', '.join(ready['grass'])} has shed, {', '.join(early['grass'])} has not: no one day spares both, so "
            "leave every other row")
