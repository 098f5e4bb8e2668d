"""Layers out: GeoJSON, GeoPackage, KML, GPX, zipped Shapefile, CSV; whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pyogrio
import pyogrio.errors
import shapely

from gridmap import checks
from gridmap.crs import LONLAT, to_lonlat
from gridmap.errors import CRSRefused, FileRefused, InputRefused
from gridmap.exchange.columns import csv_table, labelled, plain, short_names
from gridmap.exchange.geopackage import layer_names

FORMATS: Final = {
    ".geojson": "geojson",
    ".json": "geojson",
    ".gpkg": "gpkg",
    ".kml": "kml",
    ".gpx": "gpx",
    ".shp.zip": "shp.zip",
    ".csv": "csv",
}
# RFC 7946 section 11.2: 6 decimals are about 10 cm; the seventh keeps the corners of a tree's ground to a centimetre.
DECIMALS: Final = 7


def write_layer(
    frame: gpd.GeoDataFrame,
    path: str | Path,
    format: str | None = None,
    *,
    layer: str | None = None,
    note: str | None = None,
    wkt: bool = False,
) -> dict[str, str]:
    """Write a layer so that a map program, a phone or a spreadsheet opens it.

    Parameters
    ----------
    frame : GeoDataFrame
        Attributes and one geometry each, in the grove's projected CRS [m].
    path : path
        Where to; an older file there is replaced only once the new one is whole.
    format : str, optional
        geojson, gpkg, kml, gpx, shp.zip or csv; else from the name.
    layer : str, optional
        Name of the layer; else the name of the file.
    note : str, optional
        A sentence that travels with the file (as: the demo grove is invented), in the place each format has for it.
    wkt : bool
        CSV only: add the whole geometry in longitude and latitude as well-known text.

    Returns
    -------
    dict
        Columns that had to be renamed: name in ``frame`` to name in the file (Shapefile names have ten letters).

    Raises
    ------
    InputRefused
        Unknown format; geometry that the format can't hold.
    CRSRefused
        A frame without CRS.
    FileRefused
        A folder that can't be written; a GeoPackage of several layers, which may be a grove, under that name.

    Notes
    -----
    GeoJSON (RFC 7946), KML and GPX are in WGS 84 longitude/latitude, CSV has both as columns (a point inside for
    anything but a point); GeoPackage and Shapefile keep the grove's CRS. GPX: lines become tracks, outlines tracks
    around them, points waypoints. Text is written as text: no control characters, and no cell that a spreadsheet would
    run.

    References
    ----------
    Butler et al. (2016), RFC 7946. OGC 12-007r2, KML 2.3. GPX 1.1 Schema Documentation, topografix.com/GPX/1/1.

    Examples
    --------
    >>> import shapely
    >>> line = shapely.LineString([(500_000, 5_900_000), (500_050, 5_900_000)])
    >>> runs = gpd.GeoDataFrame({"run": [1]}, geometry=[line], crs=7855)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     renamed = write_layer(runs, Path(folder) / "runs.geojson")
    ...     read = gpd.read_file(Path(folder) / "runs.geojson")
    >>> renamed, len(read), read.crs.to_epsg()
    ({}, 1, 4326)
    """
    path = Path(path)
    kind = format or next((value for ending, value in FORMATS.items() if path.name.lower().endswith(ending)), None)
    kind = checks.one_of(kind, sorted(set(FORMATS.values())), f"format of {path.name}")
    if frame.crs is None:
        raise CRSRefused("the layer has no CRS", "nobody could find it on a map", "give the frame its CRS")
    missing = frame.geometry.isna() | frame.geometry.is_empty
    if missing.any():
        what = f"{int(missing.sum())} of {len(frame)} entries have no geometry"
        raise InputRefused(what, "a layer holds a shape each", "leave them out")
    name = layer or path.name.split(".")[0]
    told = "".join(character for character in note or "" if character.isprintable()) or None
    with _whole(path) as unfinished:
        return _WRITERS[kind](frame, unfinished, name, told, wkt)


@contextlib.contextmanager
def _whole(path: Path) -> Iterator[Path]:
    """Give a place to write to in the same folder, and put the file in its place once it is whole."""
    _check_target(path)
    try:
        with tempfile.TemporaryDirectory(prefix=".unfinished-", dir=path.parent) as folder:
            unfinished = Path(folder) / path.name
            yield unfinished
            os.replace(unfinished, path)
    except OSError as trouble:
        raise FileRefused(
            f"file {path.name} can't be written", str(trouble.strerror or trouble), "choose another folder"
        ) from None


def _check_target(path: Path) -> None:
    """Never replace what may be a grove: an export has one layer, a grove has many."""
    if not path.parent.is_dir():
        raise FileRefused(
            f"folder {path.parent.name} is not there", "files are written into a folder that is", "make it first"
        )
    if path.is_dir():
        raise FileRefused(f"{path.name} is a folder", "it must be a file")
    if path.exists() and path.suffix.lower() == ".gpkg" and len(layer_names(path)) > 1:
        rule = "it may be a grove, which an export never replaces"
        raise FileRefused(f"{path.name} holds more than one layer", rule, "choose another name")


def _driver(frame: gpd.GeoDataFrame, path: Path, driver: str, **options: Any) -> None:
    """Hand the frame to GDAL; what it says goes to the grower in one line."""
    kinds = set(frame.geom_type)
    geometry_type = options.pop("geometry_type", None) or ("Unknown" if len(kinds) == 0 else None)
    with warnings.catch_warnings():
        # GDAL warns of what is meant: names it shortened, a field it made longer.
        warnings.simplefilter("ignore", RuntimeWarning)
        try:
            pyogrio.write_dataframe(frame, path, driver=driver, geometry_type=geometry_type, **options)
        except (
            pyogrio.errors.DataSourceError,
            pyogrio.errors.DataLayerError,
            pyogrio.errors.FeatureError,
            pyogrio.errors.GeometryError,
            pyogrio.errors.FieldError,
        ) as trouble:
            raise FileRefused(
                f"file {path.name} can't be written", str(trouble).replace(str(path), path.name)[:200]
            ) from None


def _geojson(frame: gpd.GeoDataFrame, path: Path, name: str, note: str | None, wkt: bool) -> dict[str, str]:
    del wkt
    # GDAL takes the last of its decimals for noise where the five before it are zeros: one more, and none is lost.
    options = {"RFC7946": "YES", "COORDINATE_PRECISION": str(DECIMALS + 1)} | ({"DESCRIPTION": note} if note else {})
    table, renamed = plain(frame)
    table = to_lonlat(table)
    table = table.set_geometry(
        shapely.transform(table.geometry.to_numpy(), lambda xy: np.round(xy, DECIMALS)), crs=LONLAT
    )
    _driver(table, path, "GeoJSON", layer=name, layer_options=options)
    return renamed


def _geopackage(frame: gpd.GeoDataFrame, path: Path, name: str, note: str | None, wkt: bool) -> dict[str, str]:
    del wkt
    table, renamed = plain(frame, reserved=("fid", "geom", "geometry", "rowid"))
    options = {"DESCRIPTION": note} if note else {}
    metadata = {"note": note} if note else None
    _driver(table, path, "GPKG", layer=name, layer_options=options, dataset_metadata=metadata)
    return renamed


def _kml(frame: gpd.GeoDataFrame, path: Path, name: str, note: str | None, wkt: bool) -> dict[str, str]:
    del wkt
    table, renamed = plain(frame, text_times=True, reserved=_KML_RESERVED)
    table = to_lonlat(labelled(table, "description", note))
    # LIBKML writes 64 bit integers as text.
    table = table.astype(
        {
            column: "int32"
            for column in table
            if str(table[column].dtype) == "int64" and table[column].abs().max() < 2**31
        }
    )
    options = {"NAME": name} | ({"DESCRIPTION": note} if note else {})
    _driver(table, path, "LIBKML", layer=name, layer_options=options, dataset_options=dict(options))
    return renamed


def _gpx(frame: gpd.GeoDataFrame, path: Path, name: str, note: str | None, wkt: bool) -> dict[str, str]:
    del wkt
    table, renamed = plain(frame, text_times=True, reserved=_GPX_RESERVED, letters_only=True)
    table = to_lonlat(labelled(table, "desc", note))
    kinds = {kind.removeprefix("Multi") for kind in table.geom_type}
    if kinds == {"Polygon"}:
        table = table.set_geometry(table.geometry.boundary)
    elif len(kinds) > 1 or kinds - {"LineString", "Point"} or "MultiPoint" in set(table.geom_type):
        raise InputRefused(
            f"GPX can't hold {' and '.join(sorted(set(table.geom_type)))} together",
            "it takes lines, outlines or points",
        )
    tracks = kinds != {"Point"}
    options = {"GPX_USE_EXTENSIONS": "YES", "CREATOR": "gridmap", "METADATA_NAME": name} | (
        {"METADATA_DESCRIPTION": note} if note else {}
    )
    _driver(
        table, path, "GPX", layer="tracks" if tracks else "waypoints", promote_to_multi=tracks,
        geometry_type="MultiLineString" if tracks else "Point", dataset_options=options,
    )  # fmt: skip
    return renamed


def _shapefile(frame: gpd.GeoDataFrame, path: Path, name: str, note: str | None, wkt: bool) -> dict[str, str]:
    del wkt
    kinds = {kind.removeprefix("Multi") for kind in frame.geom_type}
    if len(kinds) > 1:
        raise InputRefused(
            f"a Shapefile can't hold {' and '.join(sorted(kinds))} together", "it takes one kind of shape"
        )
    table, renamed = plain(frame, text_times=True, reserved=("geometry",), most_bytes=254)
    aliases = short_names([str(column) for column in table.columns if column != table.geometry.name])
    back = {new: old for old, new in renamed.items()}
    told = {back.get(long, long): short for long, short in aliases.items() if back.get(long, long) != short}
    empty = {"geometry_type": "Polygon"} if not kinds else {}
    _driver(
        table.rename(columns=aliases), path, "ESRI Shapefile", layer=name, layer_options={"ENCODING": "UTF-8"}, **empty
    )
    lines = ["short name,full name", *(f"{short},{back.get(long, long)}" for long, short in aliases.items())]
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(f"{name}-columns.csv", "\n".join(lines) + "\n")
        if note:
            archive.writestr(f"{name}-note.txt", note + "\n")
    return told


def _csv(frame: gpd.GeoDataFrame, path: Path, name: str, note: str | None, wkt: bool) -> dict[str, str]:
    del name
    table, renamed = plain(frame, text_times=True, reserved=("longitude", "latitude", "wkt", "note"))
    places = to_lonlat(frame)
    # A byte order mark tells a spreadsheet that this is UTF-8.
    csv_table(table, places, DECIMALS, note=note, wkt=wkt).to_csv(
        path, index=False, encoding="utf-8-sig", lineterminator="\r\n"
    )
    return renamed


# Words that KML and GPX give a meaning of their own.
_KML_RESERVED: Final = frozenset(
    (
        *(
            "id",
            "timestamp",
            "begin",
            "end",
            "altitudemode",
            "tessellate",
            "extrude",
            "visibility",
            "draworder",
            "icon",
        ),
        *("heading", "tilt", "roll", "snippet", "model", "scale_x", "scale_y", "scale_z", "address", "open"),
        *("description", "geometry"),
    )
)
_GPX_RESERVED: Final = frozenset(
    (
        *("ele", "time", "magvar", "geoidheight", "cmt", "desc", "src", "number", "type", "sym", "fix", "sat", "hdop"),
        *("vdop", "pdop", "ageofdgpsdata", "dgpsid", "link", "track_fid", "route_fid", "geometry"),
    )
)
_WRITERS: Final = {
    "geojson": _geojson,
    "gpkg": _geopackage,
    "kml": _kml,
    "gpx": _gpx,
    "shp.zip": _shapefile,
    "csv": _csv,
}
