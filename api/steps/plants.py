"""Trees that come and go: replanted, retired, surveyed again. Places keep their labels, counts stay with the plant."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import pandas as pd

from api.steps.outcome import Outcome
from api.steps.places import label, past_day, place_named, split_label
from api.store import Grove, open_grove
from api.store.refusals import Conflict
from gridmap.errors import InputRefused

_UUID: Final = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}$")


def replant(
    path: Path,
    *,
    trees: Sequence[str],
    on: str,
    canopy_height_m: float | None = None,
    canopy_width_m: float | None = None,
    new: Sequence[str] | None = None,
    gaps_only: bool = False,
    who: str = "grower",
) -> Outcome:
    """Set a new plant into each place; the one that stood there is gone from that day, and keeps its counts.

    Parameters
    ----------
    path : Path
        Grove file.
    trees : sequence of str
        Labels of places, or UUIDs of living plants.
    on : str
        Day of planting, YYYY-MM-DD.
    canopy_height_m, canopy_width_m : float, optional
        Of the new plants [m]; the block's when left out.
    new : sequence of str, optional
        UUIDs of the new plants, in the order of ``trees``; sent again with the same content, each is planted once.
    gaps_only : bool
        A label names a gap: who means a living tree says which.
    who : str
        For the history.
    """
    if new is not None and _planted_already(path, trees, new, on):
        return Outcome(figures={"new": list(new), "planted": 0, "gone": [], "counts_kept": 0})
    with open_grove(path) as grove:
        day = past_day(grove, on, "the day of planting")
        places = _places(grove, trees)
        stands = [label(place) for place, tree in zip(places, trees, strict=True)
                  if gaps_only and not _UUID.match(tree) and isinstance(place["tree"], str)]  # fmt: skip
        if stands:
            raise Conflict(f"a tree stands in {', '.join(stands)}", "a gap was named", "look at the map again")
        old = [place["tree"] for place in places if isinstance(place["tree"], str)]
        counts = grove.counts()
        uuids: Sequence[str | None] = [None] * len(places) if new is None else list(new)
        with grove.act(f"replant {_shown(places)}", who=who):
            grove.retire(old, day)
            planted = [
                grove.plant_in(
                    place["place"], day, canopy_height_m=canopy_height_m, canopy_width_m=canopy_width_m, plant=plant
                )
                for place, plant in zip(places, uuids, strict=True)
            ]
    kept = int(counts["tree"].isin(old).sum())
    gone = "1 old plant is gone and keeps" if len(old) == 1 else f"{len(old)} old plants are gone and keep"
    said = [f"Replanted on {day}: {_shown(places)}. {gone} {kept} counts, which still tell about the place."]
    if canopy_height_m is None or canopy_width_m is None:
        said.append(
            "A canopy that was not said is taken from the block: for a young tree type it (--canopy-height, "
            "--canopy-width)."
        )
    was = ["a tree" if isinstance(place["tree"], str) else "a gap" for place in places]
    table = pd.DataFrame({"tree": [label(place) for place in places], "was": was})
    return Outcome(
        said=tuple(said),
        tables={"Replanted": table},
        figures={
            "planted_on": str(day),
            "replanted": list(table["tree"]),
            "gone": old,
            "new": planted,
            "planted": len(planted),
            "counts_kept": kept,
        },
    )


def retire(path: Path, *, trees: Sequence[str], on: str, who: str = "grower") -> Outcome:
    """Let trees (labels or UUIDs) be gone from a day on: each leaves a gap that keeps its number and its counts."""
    with open_grove(path) as grove:
        day = past_day(grove, on, "the day on which it was gone")
        days = grove.plant_days([tree for tree in trees if _UUID.match(tree)])
        if len(days) == len(trees) and all(gone == str(day) for _, gone in days.values()):
            return Outcome(said=("They are gone from that day already.",), figures={"gone": [], "gone_on": str(day)})
        places = _places(grove, trees)
        gaps = [label(place) for place in places if not isinstance(place["tree"], str)]
        if gaps:
            raise InputRefused(f"{', '.join(gaps)} is a gap already", "no tree stands there", "check the label")
        gone = [place["tree"] for place in places]
        kept = int(grove.counts()["tree"].isin(gone).sum())
        grove.retire(gone, day, who=who, what=f"retire {_shown(places)}")
    return Outcome(
        said=(
            f"Gone from {day}: {_shown(places)}. The gap keeps its number; {kept} counts stay with the "
            f"{'tree' if len(gone) == 1 else 'trees'} that stood there.",
        ),
        figures={"gone_on": str(day), "retired": [label(place) for place in places], "gone": gone, "counts_kept": kept},
    )


def show_label(path: Path, text: str) -> Outcome:
    """Say which place has, or ever had, this label: what it is called now, and what stood there."""
    block, row, position = split_label(text)
    with open_grove(path, read_only=True) as grove:
        known, places, plants = grove.label_history(), grove.places(), grove.trees(include_gone=True)
        counts = grove.counts().groupby("tree").size()
    same = (known["block"].str.casefold() == block.casefold()) & (known["row"] == row)
    found = list(dict.fromkeys(known[same & (known["position"] == position)]["place"]))
    here = places[places["place"].isin(found)]
    if not len(here):
        raise InputRefused(f"no place was ever called {text}", "a label is block, row and position", "check it")
    stories = [_story(dict(place), known, plants, counts) for _, place in here.iterrows()]
    said = tuple(f"{text} is {story['now']}: {story['stands']}." for story in stories)
    names = pd.DataFrame([line for story in stories for line in story["labels"]])
    stood = pd.DataFrame([line for story in stories for line in story["plants"]])
    tables = {"Labels": names} | ({"Plants": stood} if len(stood) else {})
    return Outcome(said=said, tables=tables, figures={"label": text, "places": stories})


def _story(place: dict[str, Any], known: pd.DataFrame, plants: pd.DataFrame, counts: pd.Series[int]) -> dict[str, Any]:
    """Tell one place's labels and plants."""
    names = known[known["place"] == place["place"]]
    stood = plants[plants["place"] == place["place"]]
    return {
        "place": place["place"],
        "now": label(place),
        "stands": "a tree stands there" if isinstance(place["tree"], str) else "it is a gap",
        "labels": [
            {"label": label(name), "since": name["since"].strftime("%Y-%m-%d"), "by": name["what"]}
            for name in names.to_dict("records")
        ],
        "plants": [
            {"tree": plant["tree"], "status": plant["status"], "counts": int(counts.get(plant["tree"], 0))}
            for plant in stood.to_dict("records")
        ],
    }


def _places(grove: Grove, labels: Sequence[str]) -> list[dict[str, Any]]:
    """Return the places of these labels, or of these living plants (UUIDs), each once."""
    places = grove.places()
    found = [_of_plant(places, text) if _UUID.match(text) else place_named(grove, places, text) for text in labels]
    if len({place["place"] for place in found}) < len(found):
        raise InputRefused("a tree is named twice", "each is meant once", "take one of them out")
    return found


def _of_plant(places: pd.DataFrame, uuid: str) -> dict[str, Any]:
    """Return the place of a living plant."""
    found = places[places["tree"] == uuid.lower()]
    if not len(found):
        raise Conflict(f"tree {uuid} does not stand there", "it is not known, or gone already", "look at the map again")
    return dict(found.iloc[0])


def _planted_already(path: Path, trees: Sequence[str], new: Sequence[str], on: str) -> bool:
    """Tell whether these plants (UUIDs) are stored with the same content; other content is refused."""
    if len(new) != len(trees) or len(set(new)) < len(new):
        raise InputRefused("the new plants have no uuid each", "each place gets one of its own")
    with open_grove(path, read_only=True) as grove:
        plants, places, days = grove.trees(include_gone=True), grove.places(), grove.plant_days(new)
    if not days:
        return False
    where = plants.set_index("tree")["place"]
    labels = {label(place): place["place"] for place in places.to_dict("records")}
    for tree, plant in zip(trees, new, strict=True):
        place = where.get(tree) if _UUID.match(tree) else labels.get(tree)
        if plant not in days or place != where[plant] or days[plant][0] != on:
            raise Conflict(f"plant {plant} is stored already in another place or with another day",
                           "what is sent again must be the same", "take a new uuid for a new plant")  # fmt: skip
    return True


def _shown(places: Sequence[dict[str, Any]]) -> str:
    """Name places, at most five."""
    names = [label(place) for place in places]
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
