"""Zipped Shapefile in: its structure checked first, then read by GDAL from copies under names of our own."""

from __future__ import annotations

import codecs
import csv
import io
import re
import struct
import tempfile
import warnings
from pathlib import Path, PurePosixPath
from typing import Final

import geopandas as gpd
import pyogrio
import pyogrio.errors

from gridmap.errors import CRSRefused, FileRefused
from gridmap.exchange.files import MOST_ROWS
from gridmap.exchange.rings import check_corners, check_file_corners
from gridmap.exchange.zips import Archive

_MAGIC: Final = 9994
_HEADER: Final = 100
# Shape types (ESRI 1998, table 1 and page 20): point, line, polygon, points; with Z +10, with M +20.
_KINDS: Final = {1: "Point", 3: "LineString", 5: "Polygon", 8: "MultiPoint"}
_WHOLE: Final = "a Shapefile is .shp, .shx and .dbf of one name, with .prj for its CRS"
_MOST_SIDE_BYTES: Final = 64 * 1024


def read_shapefile(archive: Archive, *, layer: str | None = None, kinds: str = "Polygon") -> gpd.GeoDataFrame:
    """Read the one Shapefile of a zip archive.

    Parameters
    ----------
    archive : Archive
        From `gridmap.exchange.zips.open_zip`.
    layer : str, optional
        Name of the Shapefile, needed where there are several of the kind that is looked for.
    kinds : str
        Polygon or Point.

    Returns
    -------
    GeoDataFrame
        Under the full names that a table "...-columns.csv" gives, as `write_layer` adds one; CRS of the .prj, or none.
        ``attrs["notes"]``: what the grower should know.

    Raises
    ------
    FileRefused, CRSRefused, OutlineRefused
        A part missing, cut off or damaged; several layers; too many corners; a .prj or .cpg that nobody knows.

    References
    ----------
    ESRI (1998), Shapefile Technical Description, an ESRI White Paper, pages 2 to 24.
    """
    stem = _choose(archive, layer, kinds)
    parts = {
        PurePosixPath(member).suffix.lower(): member
        for member in archive.names
        if str(PurePosixPath(member).with_suffix("")).casefold() == stem.casefold()
    }
    for needed in (".shx", ".dbf"):
        if needed not in parts:
            what = f"file {archive.name} has no {needed} beside {parts['.shp']}"
            raise FileRefused(what, _WHOLE, "zip them together")
    shape = archive.read(parts[".shp"])
    _check_records(shape, parts[".shp"], archive.name)
    table = archive.read(parts[".dbf"])
    encoding, note = _encoding(archive, parts.get(".cpg"), table)
    frame = _read(archive, parts, shape, table, encoding)
    if len(frame) and frame.crs is None and ".prj" in parts:
        rule = f"{parts['.prj']} names no CRS that is known"
        raise CRSRefused(
            f"file {archive.name} is of an unknown CRS", rule, "export it again in a CRS with an EPSG number"
        )
    frame = frame.rename(columns=_full_names(archive, stem))
    frame.attrs["notes"] = [note] if note else []
    return frame


def _choose(archive: Archive, layer: str | None, kinds: str) -> str:
    """Take the Shapefile that was named, or the only one that could be meant."""
    paths = [PurePosixPath(member) for member in archive.names if member.lower().endswith(".shp")]
    stems = {str(path.with_suffix("")): _kind(archive.read(str(path))[:_HEADER]) for path in paths}
    if layer is not None:
        named = [stem for stem in stems if PurePosixPath(stem).name == layer or stem == layer]
        if len(named) != 1:
            raise FileRefused(f"file {archive.name} has no layer {layer!r}", f"it has {', '.join(stems) or 'none'}")
        return named[0]
    fitting = [stem for stem, kind in stems.items() if kinds in kind] or list(stems)
    if not fitting:
        held = ", ".join(archive.names[:6]) or "nothing"
        raise FileRefused(f"file {archive.name} holds no Shapefile and no KML", f"it holds {held}", "zip one layer")
    if len(fitting) > 1:
        what = f"file {archive.name} holds {len(fitting)} Shapefiles"
        raise FileRefused(what, f"they are {', '.join(fitting)}", "name the layer")
    return fitting[0]


def _kind(header: bytes) -> str:
    return _KINDS.get(struct.unpack("<i", header[32:36])[0] % 10, "") if len(header) == _HEADER else ""


def _check_records(shape: bytes, member: str, name: str) -> None:
    """Walk over the records: is all there, and how many corners has each (pages 4 to 9)."""
    if len(shape) < _HEADER or struct.unpack(">i", shape[:4])[0] != _MAGIC:
        raise FileRefused(f"{member} in {name} is no Shapefile", "it does not start like one", "export it again")
    told = 2 * int(struct.unpack(">i", shape[24:28])[0])
    if told > len(shape):
        rule = f"it has {len(shape):,} of {told:,} bytes"
        raise FileRefused(f"{member} in {name} is cut off", rule, "copy it again")
    place, number, corners = _HEADER, 0, 0
    while place + 8 <= told:
        number += 1
        size = 2 * int(struct.unpack(">i", shape[place + 4 : place + 8])[0])
        record = shape[place + 8 : place + 8 + size]
        if size < 4 or len(record) < size:
            rule = f"record {number} says it has {size:,} bytes"
            raise FileRefused(f"{member} in {name} is damaged", rule, "copy it again")
        if number > MOST_ROWS:
            raise FileRefused(f"{member} in {name} has over {MOST_ROWS:,} entries", "that is no grove's", "cut it down")
        points = _points(record)
        check_corners(points, f"entry {number} of {name}")
        corners += points
        place += 8 + size
    check_file_corners(corners, name)


def _points(record: bytes) -> int:
    """Return how many points a record says it has: polygons and lines at byte 40, many points at byte 36."""
    kind = struct.unpack("<i", record[:4])[0] % 10
    offset = {3: 40, 5: 40, 8: 36}.get(kind)
    if offset is None or len(record) < offset + 4:
        return 1
    return max(0, int(struct.unpack("<i", record[offset : offset + 4])[0]))


def _encoding(archive: Archive, member: str | None, table: bytes) -> tuple[str, str | None]:
    """Tell the encoding of the attributes: what .cpg says, else UTF-8 where it fits, else Latin-1, which is said."""
    if member is not None:
        given = archive.read(member, most_bytes=_MOST_SIDE_BYTES).decode("ascii", errors="replace").strip()
        digits = re.sub(r"(?i)^(ansi|oem|cp|windows|iso[-_ ]?8859)[-_ ]?(?=\d)", "", given)
        for word in (given, f"cp{digits}", f"iso8859-{digits.removeprefix('8859').lstrip('-')}"):
            try:
                return codecs.lookup(word).name, None
            except (LookupError, ValueError):
                continue
        rule = "it names the encoding of the texts, as UTF-8"
        raise FileRefused(f"{member} in {archive.name} says {given[:40]!r}", rule, "export it again as UTF-8")
    records = table[int.from_bytes(table[8:10], "little") :]
    try:
        records.decode("utf-8")
    except UnicodeDecodeError:
        return "iso8859-1", f"{archive.name} has no .cpg: its texts were read as Latin-1; look at the accents."
    return "utf-8", None


def _read(archive: Archive, parts: dict[str, str], shape: bytes, table: bytes, encoding: str) -> gpd.GeoDataFrame:
    """Let GDAL read copies that are called layer.*, so that no name in the archive reaches it."""
    held = {".shp": shape, ".dbf": table, ".shx": archive.read(parts[".shx"])}
    if ".prj" in parts:
        held[".prj"] = archive.read(parts[".prj"], most_bytes=_MOST_SIDE_BYTES)
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        # GDAL warns of rings in the wrong order and the like, which it mends as meant.
        warnings.simplefilter("ignore", RuntimeWarning)
        warnings.simplefilter("ignore", UserWarning)  # measures are left out, as heights are
        for suffix, content in held.items():
            (Path(folder) / f"layer{suffix}").write_bytes(content)
        try:
            return pyogrio.read_dataframe(Path(folder) / "layer.shp", encoding=encoding, max_features=MOST_ROWS + 1)
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FeatureError) as trouble:
            rule = str(trouble).replace(str(folder), "").replace("/layer", "layer")[:200]
            raise FileRefused(f"file {archive.name} is damaged", rule, "export it again") from None
        except UnicodeDecodeError:
            what = f"the texts of {archive.name} are not {encoding.upper()}, which its .cpg says"
            raise FileRefused(what, "accents would be lost", "export it again as UTF-8") from None


def _full_names(archive: Archive, stem: str) -> dict[str, str]:
    """Return the full name of each shortened column, from the table that `write_layer` adds to its archives."""
    member = next((one for one in archive.names if one.casefold() == f"{stem}-columns.csv".casefold()), None)
    if member is None:
        return {}
    text = archive.read(member, most_bytes=_MOST_SIDE_BYTES).decode("utf-8", errors="replace")
    try:
        lines = list(csv.reader(io.StringIO(text)))[1:]
    except csv.Error:
        return {}
    return {line[0]: line[1] for line in lines if len(line) == 2 and all(line)}
