"""Gates, refill points and other points: shown, drawn, changed and taken out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from api.steps.drawing import bounds, called, known_already, the_one
from api.steps.geojson import drawn, feature_collection
from api.steps.layers import refuse_unknown
from api.steps.opening import open_grove
from api.steps.outcome import Outcome
from api.store import points
from gridmap.crs import to_grove

POINT_FACTS: Final = ("name", "kind")


def points_layer(where: Path, *, only: list[str] | None = None, **more: Any) -> dict[str, Any]:
    """Return the points as a FeatureCollection, each with its name, kind and version."""
    with open_grove(where, read_only=True) as grove:
        found, versions = grove.points(), grove.versions("point_of_interest")
    if only is not None:
        found = found[found["point"].isin(only)]
        refuse_unknown(only, found["point"], "point")
    found = found.assign(version=[str(versions.get(uuid, 0)) for uuid in found["point"]])
    return feature_collection(found, id_column="point", **more)


def add_points(where: Path, features: Sequence[Mapping[str, Any]], *, who: str = "grower") -> Outcome:
    """Store drawn points, each under the UUID its maker gave it; sent again, each is stored once."""
    with open_grove(where) as grove, grove.act(called("draw point", features, "name"), who=who):
        there = grove.points().set_index("point")
        given, notes = to_grove(drawn(features, "Point"), grove.grove.crs_code, near=bounds(grove.blocks()))
        old, new = known_already(given, there, POINT_FACTS)
        if len(new):
            grove.add_points(new.rename(columns={"id": "uuid"}))
    return Outcome(
        said=tuple(notes), figures={"ids": list(given["id"]), "new": len(new), "already": len(old), "notes": notes}
    )


def change_point(where: Path, point: str, feature: Mapping[str, Any], *, who: str = "grower") -> Outcome:
    """Change what is given of a point (UUID): its place, name or kind."""
    with open_grove(where) as grove:
        held = the_one(grove.points(), "point", point, "point")
        changes = {key: value for key, value in (feature.get("properties") or {}).items() if key in POINT_FACTS}
        if feature.get("geometry") is not None:
            shape = drawn([{"geometry": feature["geometry"]}], "Point")
            moved, _ = to_grove(shape, grove.grove.crs_code, near=bounds(grove.blocks()))
            changes["geometry"] = moved.geometry.iloc[0]
        with grove.act(f"change point {held['name']}", who=who) as act:
            points.set_point(act, point, changes)
    return Outcome(figures={"ids": [point]})


def remove_point(where: Path, point: str, *, who: str = "grower") -> Outcome:
    """Take out a point (UUID)."""
    with open_grove(where) as grove:
        held = the_one(grove.points(), "point", point, "point")
        with grove.act(f"remove point {held['name']}", who=who) as act:
            points.remove_point(act, point)
    return Outcome(said=(f"{held['name']} is taken out. Undo brings it back.",))
