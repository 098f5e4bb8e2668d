"""What a page shows around the map: the grove at a glance, its acts, and the season as a line of days."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from api.steps.facts import missing_facts
from api.steps.grove import INVENTED, entries, is_undo, taken_back
from api.steps.opening import open_grove
from api.steps.outcome import Outcome, plain
from api.steps.places_ground import lay_again
from api.store import Grove
from api.store.refusals import Conflict, NotThere
from gridmap.crs import to_lonlat
from gridmap.errors import InputRefused


def overview(where: Path) -> dict[str, Any]:
    """Return what the grove is and holds, and the one thing to do next."""
    with open_grove(where, read_only=True) as grove:
        info, blocks, trees = grove.grove, grove.blocks(), grove.trees()
        walks, zones, missing = grove.walks(), grove.zones(), missing_facts(grove.settings())
        figures = {
            "keep_outs": len(grove.keep_outs()),
            "walks": len(walks),
            "counts": len(grove.counts()),
            "zones": len(zones),
            "version": str(grove.versions("grove").get(info.uuid, 0)),
        }
    bounds = to_lonlat(blocks).total_bounds.round(7).tolist() if len(blocks) else None
    return plain(
        {
            "grove": info.uuid,
            "name": info.name,
            "invented": info.invented,
            "region": info.region,
            "time_zone": info.time_zone,
            "season_start": info.season_start,
            "currency": info.currency,
            "crs": f"{info.crs_authority}:{info.crs_code}",
            "datum": info.datum,
            "uphill_bearing_deg": info.uphill_bearing_deg,
            "bounds": bounds,
            "blocks": len(blocks),
            "trees": len(trees),
            "map_area_ha": float(blocks["area_ha"].sum()),
            **figures,
            "missing": missing,
            "next_step": next_word(blocks, trees, walks, missing),
            "said": [INVENTED] if info.invented else [],
            "today": today(grove).isoformat(),
        }
    )


def next_word(blocks: pd.DataFrame, trees: pd.DataFrame, walks: pd.DataFrame, missing: list[str]) -> str:
    """Name the one thing to do next: draw, rows, walk, facts or zone."""
    for there, word in ((len(blocks), "draw"), (len(trees), "rows"), (len(walks), "walk"), (not missing, "facts")):
        if not there:
            return word
    return "zone"


def today(grove: Grove) -> dt.date:
    """Return today's date where the grove is."""
    return dt.datetime.now(ZoneInfo(grove.grove.time_zone)).date()


def change_grove(where: Path, fields: dict[str, Any], *, who: str = "grower") -> Outcome:
    """Change name, region, time zone, season start, currency or uphill bearing of the grove."""
    with open_grove(where) as grove, grove.act("change the grove", who=who):
        grove.set_grove(**fields)
        # Metres upslope follow the arrow; numbers stay
        said = lay_again(grove) if "uphill_bearing_deg" in fields else []
    return Outcome(said=("Kept.", *said))


def acts(where: Path, *, most: int = 20) -> list[dict[str, Any]]:
    """Return the last acts, newest first, and whether each is taken back or takes one back."""
    with open_grove(where, read_only=True) as grove:
        found = grove.acts(None).to_dict("records")
    told = []
    for act, undone in zip(found, taken_back([str(act["what"]) for act in found]), strict=True):
        told.append(
            {
                "act": act["act"],
                "at": act["at"],
                "who": act["who"],
                "what": act["what"],
                "entries": act["rows"],
                "undone": undone,
                "is_undo": is_undo(str(act["what"])),
            }
        )
    return plain(told[:most])


def undo(where: Path, act: str, *, who: str = "grower") -> Outcome:
    """Take back one act (UUID), if nothing has touched its entries since."""
    with open_grove(where) as grove:
        found = grove.acts(None)
        same = found[found["act"] == act]
        if not len(same):
            raise NotThere(f"there is no act {act}")
        told = same.iloc[0]
        if told["what"] == "new grove":
            raise Conflict("the making of the grove can't be taken back", None, "delete the file instead")
        try:
            grove.undo(act, who=who)
        except InputRefused as refused:
            raise Conflict(refused.what, refused.rule, refused.remedy) from None
    return Outcome(
        said=(f"Taken back: {told['what']} ({entries(int(told['rows']))}). The history keeps both.",),
        figures={"undone": told["what"], "entries": int(told["rows"])},
    )


def year_line(where: Path) -> dict[str, Any]:
    """Return the season as marks on a line of days: walks and zones that are, by the grove's own calendar."""
    with open_grove(where, read_only=True) as grove:
        info, walks, zones, day = grove.grove, grove.walks(), grove.zones(), today(grove)
        surveys, slashes = grove.cover_surveys(), grove.slashes()
    zone_days = pd.to_datetime(zones["created"], utc=True).dt.tz_convert(ZoneInfo(info.time_zone)).dt.date
    marks = [
        {"kind": "walk", "id": row.walk, "date": str(row.date), "state": "done", "title": row.name or "walk"}
        for row in walks[["walk", "date"]].assign(name=walks["name"]).itertuples(index=False)
    ]
    marks += [
        {"kind": "survey", "id": line["survey"], "date": line["date"], "state": "done",
         "title": line["name"] or "cover survey"}
        for line in surveys.to_dict("records")
    ]  # fmt: skip
    marks += [
        {"kind": "slash", "id": line["slash"], "date": line["date"], "state": "done",
         "title": f"slash, {line['block']}"}
        for line in slashes.to_dict("records")
    ]  # fmt: skip
    replaced = _newest(zones)
    marks += [
        {
            "kind": "zone",
            "id": row.zone,
            "date": on.isoformat(),
            "state": "done" if row.frozen else "due",
            "title": f"{row.name}, version {row.version}",
        }
        for row, on in zip(zones.drop(columns="geometry").itertuples(index=False), zone_days, strict=True)
        if row.zone in replaced
    ]
    start = season_start(info.season_start, day)
    end = season_start(info.season_start, start + dt.timedelta(days=400)) - dt.timedelta(days=1)
    return plain(
        {
            "today": day.isoformat(),
            "season": {"start": start.isoformat(), "end": end.isoformat()},
            "marks": sorted(marks, key=lambda mark: str(mark["date"])),
        }
    )


def _newest(zones: pd.DataFrame) -> set[str]:
    """Return the newest version of every zone."""
    return set(zones.groupby("name", sort=False).tail(1)["zone"]) if len(zones) else set()


def season_start(month_day: str, day: dt.date) -> dt.date:
    """Return the first day of the season that a day lies in.

    Examples
    --------
    >>> season_start("07-01", dt.date(2026, 2, 3)).isoformat()
    '2025-07-01'
    """
    start = dt.date.fromisoformat(f"{day.year}-{month_day}")
    return start if start <= day else start.replace(year=day.year - 1)
