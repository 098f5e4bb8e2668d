"""The small things that the store gives back: what a grove is, what a zone is, how many counts were new."""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypedDict

import geopandas as gpd
import pandas as pd
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from gridmap import checks
from gridmap.errors import InputRefused


@dataclass(frozen=True)
class GroveInfo:
    """What the file says of the grove itself.

    Attributes
    ----------
    uuid, name, region : str
        Region is None where the grower named none.
    time_zone : str
        IANA name; times are stored in UTC and shown in this zone.
    season_start : str
        Month and day on which the grower's season starts, MM-DD.
    currency : str
        Three letters (ISO 4217).
    crs_authority, crs_code, datum : str, int, str
        The projected CRS in metres that everything is stored in.
    uphill_bearing_deg : float or None
        Clockwise from grid north [degrees].
    invented : bool
        True for a demonstration: every output says so.
    created : datetime.datetime
        UTC.
    """

    uuid: str
    name: str
    region: str | None
    time_zone: str
    season_start: str
    currency: str
    crs_authority: str
    crs_code: int
    datum: str
    uphill_bearing_deg: float | None
    invented: bool
    created: datetime


@dataclass(frozen=True)
class Zone:
    """One version of a zone, as it was stored.

    Attributes
    ----------
    uuid, name, version, replaces : str, str, int, str or None
        A new version names the one that it replaces.
    frozen : bool
        It was printed or sprayed, and can't be changed any more.
    walk, decision : str or None
        UUID of the walk and of the decision that it follows.
    created : datetime.datetime
        UTC.
    settings, summary : dict
        What it was made from, as decided, and what was computed.
    geometry : shapely.MultiPolygon
        In the grove's CRS [m].
    runs, trees, loads : GeoDataFrame, DataFrame, DataFrame
        The `runs` and `loads` contracts, and tree, run, why (chosen, margin, added, dropped).
    """

    uuid: str
    name: str
    version: int
    replaces: str | None
    frozen: bool
    walk: str | None
    decision: str | None
    created: datetime
    settings: dict[str, Any]
    summary: dict[str, Any]
    geometry: MultiPolygon
    runs: gpd.GeoDataFrame
    trees: pd.DataFrame
    loads: pd.DataFrame


class ZoneContent(TypedDict, total=False):
    """What a zone holds, as it is given to the store.

    Attributes
    ----------
    geometry : shapely.Polygon or MultiPolygon
        In the grove's CRS [m].
    runs, loads : GeoDataFrame, DataFrame
        The `runs` and `loads` contracts.
    trees : DataFrame
        tree, run, why (chosen, margin, added, dropped).
    settings, summary : dict
        What it was made from, as decided, and the figures that were computed.
    walk, decision : str
        UUIDs.
    """

    geometry: BaseGeometry
    runs: gpd.GeoDataFrame
    loads: pd.DataFrame
    trees: pd.DataFrame
    settings: Mapping[str, Any]
    summary: Mapping[str, Any]
    walk: str | None
    decision: str | None


@dataclass(frozen=True)
class Stored:
    """How many counts were new, and how many the file held already."""

    new: int
    already: int


def time_zone(value: object) -> str:
    """Return an IANA time zone name that this machine knows.

    Examples
    --------
    >>> time_zone("Australia/Hobart")
    'Australia/Hobart'
    >>> time_zone("AEST")
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Time zone is 'AEST': it must be an IANA name. Give it like Australia/Sydney ...
    """
    trouble = InputRefused(
        f"time zone is {value!r}", "it must be an IANA name", "give it like Australia/Sydney or Europe/Rome"
    )
    if not isinstance(value, str):
        raise trouble
    try:
        zoneinfo.ZoneInfo(value)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise trouble from None
    return value


def season_start(value: object) -> str:
    """Return the first day of the season as MM-DD; 29 February is no day of every year.

    Examples
    --------
    >>> season_start("07-01")
    '07-01'
    >>> season_start("13-01")
    Traceback (most recent call last):
    gridmap.errors.InputRefused: Season start is '13-01': it must be a month and a day, MM-DD, that every year has. ...
    """
    if isinstance(value, str) and re.fullmatch(r"\d\d-\d\d", value):
        try:
            date.fromisoformat(f"2001-{value}")
        except ValueError:
            pass
        else:
            return value
    raise InputRefused(
        f"season start is {value!r}", "it must be a month and a day, MM-DD, that every year has", "give it like 07-01"
    )


def currency(value: object) -> str:
    """Return a currency's three letters (the form of ISO 4217).

    Examples
    --------
    >>> currency("AUD")
    'AUD'
    """
    if isinstance(value, str) and re.fullmatch(r"[A-Z]{3}", value):
        return value
    raise InputRefused(f"currency is {value!r}", "it must be three capital letters", "give it like AUD or EUR")


def grove_field(name: str, value: object) -> object:
    """Return a value for one of the grove's own fields, checked."""
    if name == "name":
        return words(value, "name of the grove")
    if name == "region":
        return None if value is None else words(value, "region")
    if name == "uphill_bearing_deg":
        return None if value is None else checks.bearing_deg(value, "uphill bearing")
    known = {"time_zone": time_zone, "season_start": season_start, "currency": currency}
    checks.one_of(name, ["name", "region", "uphill_bearing_deg", *known], "field of the grove")
    return known[name](value)


def grove_fields(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Return the grove's own fields, each checked."""
    return {name: grove_field(name, value) for name, value in fields.items()}


def new_grove_fields(
    *,
    name: str,
    time_zone: str,
    season_start: str,
    currency: str,
    region: str | None = None,
    uphill_bearing_deg: float | None = None,
    invented: bool = False,
) -> dict[str, Any]:
    """Return what a new grove says of itself, each field checked.

    Parameters
    ----------
    name, region : str
        What the grower calls the grove, and where it lies.
    time_zone : str
        IANA name.
    season_start : str
        MM-DD.
    currency : str
        Three letters (ISO 4217).
    uphill_bearing_deg : float, optional
        Clockwise from grid north [degrees].
    invented : bool
        For a demonstration: every output will say so.

    Raises
    ------
    InputRefused
        When one of them can't be.
    """
    given = {
        "name": name,
        "region": region,
        "time_zone": time_zone,
        "season_start": season_start,
        "currency": currency,
        "uphill_bearing_deg": uphill_bearing_deg,
    }
    return {**grove_fields(given), "invented": int(invented)}


def words(value: object, name: str) -> str:
    """Return a text that says something, without spaces around it.

    Examples
    --------
    >>> words(" East ", "name of a block")
    'East'
    """
    if not isinstance(value, str) or not value.strip():
        raise InputRefused(f"{name} is {value!r}", "it must be a text")
    return value.strip()
