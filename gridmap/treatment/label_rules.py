"""What label and permit forbid today: said plainly, and then no product figure is given."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from gridmap.errors import InputRefused
from gridmap.treatment.settings import Label
from gridmap.words import date_words


@dataclass(frozen=True)
class Application:
    """One application of this season, as recorded.

    Parameters
    ----------
    day : date
        Local day.
    product, mode_of_action : str
        As recorded; the group may be empty where it was not typed.
    blocks : tuple of str
        Blocks in which a tree was treated.

    Examples
    --------
    >>> Application(dt.date(2026, 11, 3), "INVENTED PRODUCT", "X", ("Top",)).blocks
    ('Top',)
    """

    day: dt.date
    product: str
    mode_of_action: str
    blocks: tuple[str, ...]


@dataclass(frozen=True)
class Finding:
    """What one term says of a treatment.

    Parameters
    ----------
    term : str
        Which term.
    weight : {"forbids", "warns", "not_typed"}
        Forbids: zone and water only. Warns: told. Not typed: the grower must read it off the label.
    words : str
        In one sentence.
    """

    term: str
    weight: Literal["forbids", "warns", "not_typed"]
    words: str


def judge_label(
    label: Label, product: str, *, on: dt.date, blocks: Sequence[str], state: str | None = None,
    end_use: str | None = None, season: Sequence[Application] = (), harvest: Mapping[str, dt.date] | None = None,
    grazing: Mapping[str, dt.date] | None = None,
) -> tuple[Finding, ...]:
    """Tell what label and permit, as typed, forbid on a day in some blocks.

    Parameters
    ----------
    label : Label
        As typed.
    product : str
        Name on the drum.
    on : date
        Local day of the treatment.
    blocks : sequence of str
        Blocks to be treated.
    state, end_use : str, optional
        Where the grove lies; what its crop is for (table, oil).
    season : sequence of Application
        This season's applications, in any order.
    harvest, grazing : mapping of block to date, optional
        Planned days; blocks without one are not judged on it, and that is said.

    Returns
    -------
    tuple of Finding
        Empty: nothing that was typed speaks against it. The label itself is the law.

    Notes
    -----
    Days are counted in local dates. The last application counts towards the interval of a block only where a tree of it
    was treated. An application is in a row with the next while no product of another group was used between.

    Examples
    --------
    >>> label = Label(expires="2026-10-31", least_interval_days=14)
    >>> found = judge_label(label, "INVENTED", on=dt.date(2026, 11, 3), blocks=["Top"])
    >>> [finding.words for finding in found if finding.weight == "forbids"]
    ['The permit expired on 31 October 2026.']
    """
    if not blocks:
        raise InputRefused("no block is named", "a treatment is judged for the blocks it is in")
    done = sorted((one for one in season if one.day <= on), key=lambda one: one.day)
    found = [
        *_of_permit(label, on, state, end_use),
        *_of_number(label, product, done, blocks),
        *_of_interval(label, product, on, done, blocks),
        *_of_withholding("harvest", label.withholding_days, on, blocks, harvest),
        *_of_withholding("grazing", label.grazing_days, on, blocks, grazing),
    ]
    asked = {"expires": "when it expires", "most_per_season": "most applications in a season",
             "least_interval_days": "least days between two applications",
             "withholding_days": "days to harvest", "reentry": "the re-entry period"}
    found += [Finding(name, "not_typed", f"Not typed: {words}. Read it off the label.")
              for name, words in asked.items() if getattr(label, name) is None]
    return tuple(found)


def forbids(findings: Sequence[Finding]) -> bool:
    """Tell whether a term forbids the treatment: then zone and water only are told, and no product figure.

    Examples
    --------
    >>> forbids(()), forbids((Finding("expires", "forbids", "The permit expired."),))
    (False, True)
    """
    return any(finding.weight == "forbids" for finding in findings)


def earliest_day(
    label: Label, product: str, season: Sequence[Application], blocks: Sequence[str]
) -> dt.date | None:
    """Tell the first day on which the label's interval allows the product again in some blocks.

    Parameters
    ----------
    label, product, season, blocks
        As in `judge_label`.

    Returns
    -------
    date or None
        None where no interval was typed or it was not used there yet: nothing holds it back.

    Examples
    --------
    >>> label = Label(least_interval_days=14)
    >>> last = Application(dt.date(2026, 11, 3), "INVENTED", "", ("Top",))
    >>> earliest_day(label, "INVENTED", [last], ["Top"]), earliest_day(label, "INVENTED", [last], ["East"])
    (datetime.date(2026, 11, 17), None)
    """
    days = [one.day for one in season if one.product == product and set(one.blocks) & set(blocks)]
    if label.least_interval_days is None or not days:
        return None
    return max(days) + dt.timedelta(days=-(-label.least_interval_days // 1))


def _of_permit(label: Label, on: dt.date, state: str | None, end_use: str | None) -> list[Finding]:
    """Judge expiry, state and end use."""
    found = []
    if label.expires is not None and on > label.expires:
        found.append(Finding("expires", "forbids", f"The permit expired on {date_words(label.expires)}."))
    states = _listed(label.states)
    if states and state is None:
        found.append(Finding("states", "warns",
                             f"It is for {', '.join(states)}; you have not said where the grove is."))
    elif states and state is not None and state.casefold() not in {one.casefold() for one in states}:
        found.append(Finding("states", "forbids", f"It is for {', '.join(states)}; the grove is in {state}."))
    uses = _listed(label.end_uses)
    if uses and end_use is None:
        found.append(Finding("end_uses", "warns", f"It is for {' and '.join(uses)} olives; you have not said what your "
                                                  "crop is for."))
    elif uses and end_use not in uses:
        found.append(Finding("end_uses", "forbids",
                             f"It is for {' and '.join(uses)} olives; your crop is for {end_use}."))
    return found


def _of_number(label: Label, product: str, done: Sequence[Application], blocks: Sequence[str]) -> list[Finding]:
    """Judge how many applications there were, in the season and in a row of one group."""
    found = []
    for block in blocks:
        here = [one for one in done if block in one.blocks]
        used = sum(one.product == product for one in here)
        if label.most_per_season is not None and used >= label.most_per_season:
            found.append(Finding("most_per_season", "forbids",
                                 f"{block} has had {used} of at most {label.most_per_season:g} this season."))
        group = label.mode_of_action
        if label.most_in_a_row is not None and group:
            row = 0
            for one in reversed(here):
                if one.mode_of_action.casefold() != group.casefold():
                    break
                row += 1
            if row >= label.most_in_a_row:
                found.append(Finding("most_in_a_row", "forbids",
                                     f"{block} has had group {group} {row} times in a row, at most "
                                     f"{label.most_in_a_row:g} are allowed: another group must come first."))
    return found


def _of_interval(
    label: Label, product: str, on: dt.date, done: Sequence[Application], blocks: Sequence[str]
) -> list[Finding]:
    """Judge the days since the last application."""
    found = []
    for block in blocks:
        first = earliest_day(label, product, done, [block])
        if first is not None and on < first:
            found.append(Finding("least_interval_days", "forbids",
                                 f"{block} may be treated again from {date_words(first)}, "
                                 f"{label.least_interval_days:g} days after the last time."))
    return found


def _of_withholding(
    what: str, days: float | None, on: dt.date, blocks: Sequence[str], planned: Mapping[str, dt.date] | None
) -> list[Finding]:
    """Judge the days to a block's planned harvest or grazing."""
    if days is None:
        return []
    found = []
    for block in blocks:
        day = (planned or {}).get(block)
        first = on + dt.timedelta(days=-(-days // 1))
        if day is None:
            found.append(Finding(what, "warns",
                                 f"No day of {what} is planned for {block}: not before {date_words(first)}."))
        elif day < first:
            found.append(Finding(what, "forbids",
                                 f"{block} is planned for {what} on {date_words(day)}; treated on {date_words(on)} it "
                                 f"must wait until {date_words(first)}."))
    return found


def _listed(text: str | None) -> tuple[str, ...]:
    """Split a list with commas."""
    return tuple(part.strip() for part in (text or "").split(",") if part.strip())
