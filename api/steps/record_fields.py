"""The fields of a spray record, out of what was written down and what is known anyway."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, Final
from zoneinfo import ZoneInfo

import geopandas as gpd
import pandas as pd
import pyproj
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from api.store.treatments import StoredTreatment
from gridmap.crs import to_lonlat
from gridmap.treatment import BOUGHT_IN, FIELDS, Label, Progress, RecordProfile, Sprayer, amount_words, product_of
from gridmap.words import date_words

#: Fields that the grower types for the grove, once (setting "season"), unless the record says otherwise.
OF_THE_GROVE: Final = ("address", "crop", "crop_code", "applicator_name", "applicator_contact", "applicator_licence",
                       "employer", "sprayed_for", "occupier")


def record_of(
    stored: StoredTreatment, done: Progress, *, zone: ZoneInfo, season: Mapping[str, Any], geometry: BaseGeometry,
    crs: pyproj.CRS,
) -> dict[str, Any]:
    """Collect the fields of a record: what was written down comes before what is known anyway.

    Parameters
    ----------
    stored : StoredTreatment
    done : Progress
    zone : ZoneInfo
        The grove's time zone.
    season : mapping
        Fields that the grower typed for the grove.
    geometry : MultiPolygon
        Outline of what was treated, in ``crs``.
    crs : CRS
    """
    label = Label.from_dict(stored.facts.get("label") or {})
    sprayer = Sprayer.from_dict(stored.facts.get("sprayer") or {})
    lines = effective(stored)
    start = next((one for one in lines if one["kind"] == "start"), None)
    finish = next((one for one in reversed(lines) if one["kind"] == "finish"), None)
    values: dict[str, Any] = {name: season.get(name) for name in OF_THE_GROVE}
    values |= {
        "product": label.product, "authorisation_number": label.permit, "batch": label.batch,
        "rate": None if label.rate is None else label.rate_words(),
        "date": date_words((start["at"].astimezone(zone)).date()) if start else None,
        "start_time": _clock(start, zone), "end_time": _clock(finish, zone),
        "area": _area(done.done), "order_of_blocks": ", ".join(dict.fromkeys(done.done["block"])) or None,
        "water_l": f"{done.litres:,.0f} L of mix" if math.isfinite(done.litres) else None,
        "quantity": _quantity(label, done), "dose": label.rate_words() if label.rate_basis == "per_ha" else None,
        "equipment": ", ".join(filter(None, (sprayer.name, (sprayer.method or "").replace("_", "-")))) or None,
        "wind_start": _wind(start), "wind_changes": _changes(lines, zone),
        "label_weather": _weather(start),
        "told": "; ".join(str(one.get("told")) for one in lines if one.get("told")) or None,
        "area_geometry": None if not len(done.done) or geometry.is_empty else mapping(
            to_lonlat(gpd.GeoDataFrame(geometry=[geometry], crs=crs)).geometry.iloc[0]),
    }
    values |= {str(one["field"]): one.get("value") for one in lines if one["kind"] == "field"}
    return {name: values.get(name) for name in FIELDS}


def effective(stored: StoredTreatment, extra: Iterable[Mapping[str, Any]] = ()) -> list[dict[str, Any]]:
    """Return entries as they stand: each as last corrected, a correction without content takes its entry out."""
    lines: list[dict[str, Any]] = [
        {"uuid": one.uuid, "kind": one.kind, "at": one.at, "corrects": one.corrects, "content": one.content}
             for one in stored.entries]
    lines += [dict(one) for one in extra]
    by_uuid: dict[str, dict[str, Any]] = {}
    order: list[dict[str, Any]] = []
    for line in lines:
        first = by_uuid.get(str(line.get("corrects"))) if line["kind"] == "correction" else None
        if first is not None:
            first["content"], first["corrected"] = dict(line.get("content") or {}), True
            by_uuid[str(line.get("uuid"))] = first
            continue
        line = {**line, "content": dict(line.get("content") or {})}
        by_uuid[str(line.get("uuid"))] = line
        order.append(line)
    return [{**line["content"], "kind": line["kind"], "at": line["at"], "uuid": line["uuid"]} for line in order
            if line["content"] or not line.get("corrected")]


def shown_fields(values: Mapping[str, Any], profile: RecordProfile) -> pd.DataFrame:
    """Lay a record out to be read: those that the law asks for first, each marked."""
    rows = []
    for name in sorted(FIELDS, key=lambda field: (field not in profile.asked, list(FIELDS).index(field))):
        value = values.get(name)
        if value is None and name not in profile.asked:
            continue
        shown = "drawn in the grove" if name == "area_geometry" and value is not None else value
        rows.append({"field": FIELDS[name], "asked": "yes" if name in profile.asked else "no",
                     "value": "" if shown is None else str(shown)})
    return pd.DataFrame(rows)


def _clock(line: Mapping[str, Any] | None, zone: ZoneInfo) -> str | None:
    """Return the local time of an entry."""
    return None if line is None else f"{line['at'].astimezone(zone):%H:%M}"


def _wind(line: Mapping[str, Any] | None) -> str | None:
    """Say the wind of an entry."""
    if line is None or line.get("wind_km_per_h") is None:
        return None
    return f"{float(line['wind_km_per_h']):g} km/h from {line.get('wind_from') or 'a direction that was not written'}"


def _changes(lines: list[dict[str, Any]], zone: ZoneInfo) -> str | None:
    """Say the wind at each change."""
    said = [f"{_clock(one, zone)}: {_wind(one) or one.get('words') or 'no change'}" for one in lines
            if one["kind"] in ("wind", "stop") and (one["kind"] == "wind" or _wind(one))]
    return "; ".join(said) or None


def _weather(line: Mapping[str, Any] | None) -> str | None:
    """Say temperature, humidity and rain of an entry."""
    if line is None:
        return None
    parts = [f"{line[name]:g} {unit}" for name, unit in (
        ("temperature_c", "degrees C"), ("humidity_pct", "% humidity"), ("rain_mm", "mm rain"))
        if line.get(name) is not None]
    return ", ".join(parts) or None


def _area(done: pd.DataFrame) -> str | None:
    """Say which trees were treated: block, row, from tree to tree."""
    if not len(done):
        return None
    parts = []
    for (block, row, _), trees in done.groupby(["block", "row", "run"], sort=False):
        first, last = trees["position"].iloc[0], trees["position"].iloc[-1]
        span = f"tree {first}" if first == last else f"trees {first} to {last}"
        parts.append(f"{block} row {row} {span} ({len(trees)})")
    return f"{len(done)} trees: " + "; ".join(parts)


def _quantity(label: Label, done: Progress) -> str | None:
    """Say the product that was used, from the litres really sprayed and the rate as typed."""
    if label.rate is None or label.rate_basis != "per_100_l" or not math.isfinite(done.litres) or not len(done.done):
        return None
    amount = float(product_of(label, done.litres * label.concentrate_factor))
    return amount_words(amount, str(label.rate_unit)) if str(label.rate_unit) in BOUGHT_IN else None
