"""Broken and hostile files through the command line: each has its own words, and the grove file keeps every byte.

No published examples of our messages; the attacks are the known ones, named beside each.
"""

from __future__ import annotations

import io
import json
import re
import stat
import struct
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio.raw
import pytest
import shapely
from typer.testing import CliRunner

from api.cli import app

LONGITUDE, LATITUDE = -9.40, -31.90
METRE_EAST, METRE_NORTH = 1 / 94_500, 1 / 110_880
# What is refused for its size or depth must be refused at once; the machine may be busy.
AT_ONCE_S = 4.0


def run(*words: object, status: int = 0) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == status, result.stderr or result.stdout
    return result.stdout if status == 0 else result.stderr


def at(east: float, north: float) -> list[float]:
    return [LONGITUDE + east * METRE_EAST, LATITUDE + north * METRE_NORTH]


def ring(west: float, south: float, east: float, north: float) -> list[list[float]]:
    return [at(west, south), at(east, south), at(east, north), at(west, north), at(west, south)]


SQUARE = ring(0, 0, 60, 40)
BOW_TIE = [at(0, 0), at(50, 50), at(50, 0), at(0, 50), at(0, 0)]
MANY = 1_000_000


@pytest.fixture(scope="module")
def fresh(tmp_path_factory) -> bytes:
    path = tmp_path_factory.mktemp("fresh") / "home.gpkg"
    run("new", path, "--name", "Home", "--at", f"{LONGITUDE},{LATITUDE}", "--time-zone", "Atlantic/St_Helena",
        "--season-start", "07-01", "--currency", "XTS")  # fmt: skip
    return path.read_bytes()


@pytest.fixture
def grove(tmp_path, fresh) -> Path:
    path = tmp_path / "home.gpkg"
    path.write_bytes(fresh)
    return path


def refused(grove: Path, path: Path, *options: object, command: str = "import-outlines") -> str:
    """Import, see it refused in one line without a machine's path, and see the grove and its folder untouched."""
    before, names = grove.read_bytes(), sorted(one.name for one in grove.parent.iterdir())
    said = run(command, grove, path, *options, status=1)
    assert grove.read_bytes() == before
    assert sorted(one.name for one in grove.parent.iterdir()) == names
    assert said.startswith("gridmap: ")
    assert "Traceback" not in said
    assert "/tmp" not in said
    assert len(said.splitlines()[0]) < 1_000
    return said


# GeoJSON


def geojson(*features: tuple[dict, list], kind: str = "Polygon") -> bytes:
    return json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": coordinates}}
                for properties, coordinates in features
            ],
        }
    ).encode()


def circle(corners: int) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    return np.column_stack([LONGITUDE + 0.001 * np.cos(turn), LATITUDE + 0.001 * np.sin(turn)])


def round_outline(corners: int) -> bytes:
    return geojson(({"name": "Round"}, [circle(corners).round(9).tolist()]))


def deep(levels: int) -> bytes:
    nested = "[" * levels + "]" * levels
    return f'{{"type": "Feature", "properties": {{"name": {nested}}}, "geometry": null}}'.encode()


GEOJSON: dict[str, tuple[bytes | Callable[[], bytes], str]] = {
    "empty": (b"", "is empty: it has no bytes at all"),
    "blanks": (b"  \n ", "is cut off"),
    "cut off": (geojson(({"name": "A"}, [SQUARE]))[:150], "is cut off"),
    "no entries": (geojson(), "has no entries: there is nothing to take in"),
    "crosses itself": (geojson(({"name": "Bow"}, [BOW_TIE])), "Block Bow can't be used near easting"),
    "overlap": (geojson(({"name": "A"}, [SQUARE]), ({"name": "B"}, [ring(50, 0, 90, 40)])), "A and B by 4"),
    "swapped": (geojson(({"name": "A"}, [[corner[::-1] for corner in SQUARE]])), "longitude and latitude look swapped"),
    "far": (geojson(({"name": "A"}, [[[147, -37], [147.001, -37], [147.001, -37.001], [147, -37]]])), "km from"),
    "metres": (geojson(({"name": "A"}, [[[5e5, 6e6], [5.001e5, 6e6], [5e5, 6.001e6], [5e5, 6e6]]])), "are no degrees"),
    "not a number": (geojson(({"name": "A"}, [[*SQUARE[:3], [float("nan"), -31.9], SQUARE[0]]])), "the number NaN"),
    "infinity": (geojson(({"name": "A"}, [[*SQUARE[:3], [float("inf"), -31.9], SQUARE[0]]])), "the number Infinity"),
    "a number too large": (geojson(({"name": "A"}, [SQUARE])).replace(b"-9.4,", b"-9e999,"), "larger than any number"),
    "several parts": (
        geojson(({"name": "A"}, [[SQUARE], [ring(100, 0, 160, 40)]]), kind="MultiPolygon"),
        "has 2 parts",
    ),
    "a point": (geojson(({"name": "A"}, at(0, 0)), kind="Point"), "is a Point: a block is a Polygon"),
    "no shape": (b'{"type": "Feature", "properties": {"name": "A"}, "geometry": null}', "has no position"),
    "giant name": (geojson(({"name": "A" * 5_000_000}, [SQUARE])), "name has 5,000,000 characters: at most 200"),
    "giant fact": (geojson(({"name": "A", "row_spacing_m": "9" * 3_000_000}, [SQUARE])), "it must be a number"),
    "nested deep": (lambda: deep(100_000), "is nested without end"),
    "nested less deep": (lambda: deep(970), "is nested without end|name has|has no position"),
    "a million corners": (lambda: round_outline(MANY), "has about 1,000,00. corners: at most 500,000 are read"),
    "too many corners": (lambda: round_outline(120_000), "has 120,000 corners: at most 100,000 are taken"),
    "no names": (geojson(({"name": ""}, [SQUARE])), "name is missing"),
    "GPX inside": (b'<?xml version="1.0"?><gpx version="1.1"></gpx>', "holds GPX: its name says GeoJSON"),
    "a web page": (b"<!DOCTYPE html><html><body>Sign in</body></html>", "is a web page: a download that failed"),
    "zip inside": (b"PK\x03\x04rest", "is a spreadsheet or another zip archive"),
}


@pytest.mark.parametrize("case", GEOJSON)
def test_geojson(grove, tmp_path, case):
    content, message = GEOJSON[case]
    path = tmp_path / "bad.geojson"
    path.write_bytes(content() if callable(content) else content)
    start = time.perf_counter()
    assert_said(refused(grove, path), message)
    assert time.perf_counter() - start < AT_ONCE_S


def assert_said(said: str, message: str) -> None:
    assert re.search(message, said, re.IGNORECASE), said


# KML and GPX


def kml(body: str, head: str = '<?xml version="1.0" encoding="UTF-8"?>') -> bytes:
    return f'{head}<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{body}</Document></kml>'.encode()


def polygon(coordinates: str) -> str:
    outline = f"<LinearRing><coordinates>{coordinates}</coordinates></LinearRing>"
    return f"<Polygon><outerBoundaryIs>{outline}</outerBoundaryIs></Polygon>"


def mark(coordinates: str, name: str = "A") -> str:
    return f"<Placemark><name>{name}</name>{polygon(coordinates)}</Placemark>"


def text_of(corners: list[list[float]], height: str = "") -> str:
    return " ".join(f"{x:.7f},{y:.7f}{height}" for x, y in corners)


# "Billion laughs" (Cohen 2006 and many after): ten entities, each ten times the one before.
LAUGHS = (
    '<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a0 "ha">'
    + "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
    + "]>"
)
# OWASP, XML External Entity Processing.
EXTERNAL = '<?xml version="1.0"?><!DOCTYPE k [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
PARAMETER = '<?xml version="1.0"?><!DOCTYPE k [<!ENTITY % x SYSTEM "http://example.org/x.dtd"> %x;]>'

KML: dict[str, tuple[bytes | Callable[[], bytes], str]] = {
    "entities that swell": (kml(mark("&a9;"), LAUGHS), "declares a document type: it could fetch or swell"),
    "an external entity": (kml(mark(text_of(SQUARE), "&x;"), EXTERNAL), "declares a document type"),
    "an external type": (kml(mark(text_of(SQUARE)), PARAMETER), "declares a document type"),
    "cut off": (kml(mark(text_of(SQUARE)))[:200], "is cut off"),
    "not well formed": (kml(mark(text_of(SQUARE))).replace(b"</Polygon>", b"</Line>"), "is not well-formed XML"),
    "nested deep": (lambda: kml("<Folder>" * 100_000), "is nested without end: over 64 deep no map is"),
    "millions of elements": (lambda: kml("<a/>" * 2_100_000), "has over 2,000,000 elements"),
    "not a number": (kml(mark("nan,-31.9 " + text_of(SQUARE))), "longitude nan, latitude -31.9: both must be"),
    "infinity": (kml(mark("1,-inf " + text_of(SQUARE))), "both must be finite numbers"),
    "words": (kml(mark(text_of(SQUARE) + " north,east")), r"corner 6 of entry 1 \(A\) of bad.kml is 'north,east'"),
    "blanks in corners": (kml(mark("-9.4, -31.9, 0")), "without blanks"),
    "swapped": (kml(mark("-31.9,147 -31.9,147.1 -31.8,147.1")), "longitude and latitude look swapped"),
    "no placemarks": (kml("<Folder><name>Top</name></Folder>"), "has no entries: there is no polygon or line in it"),
    "points only": (kml("<Placemark><Point><coordinates>1,1</coordinates></Point></Placemark>"), "no polygon or line"),
    "a link": (kml("<NetworkLink><Link><href>http://example.org/a.kml</href></Link></NetworkLink>"), "a link instead"),
    "a ring of two": (kml(mark(text_of(SQUARE[:2]))), "has a ring of 2 different corners"),
    "an open line": (
        kml(f"<Placemark><LineString><coordinates>{text_of(SQUARE[:3])}</coordinates></LineString></Placemark>"),
        r"has a gap of 72\.\d m between its end and its start: a walk around a block may leave up to 20.0 m open",
    ),
    "a million corners": (lambda: kml(mark(text_of(circle(MANY).tolist()))), "has 1,000,000 corners: at most 100,000"),
    "another encoding": (kml(mark(text_of(SQUARE)), '<?xml version="1.0" encoding="klingon"?>'), "is not well-formed"),
    "two parts": (
        kml(f"<Placemark><name>A</name><MultiGeometry>{polygon(text_of(SQUARE))}"
            f"{polygon(text_of(ring(100, 0, 160, 40)))}</MultiGeometry></Placemark>"),
        "Block A has 2 parts",
    ),
    "crosses itself": (kml(mark(text_of(BOW_TIE), "Bow")), "a mended shape|it could be mended"),
    "JSON inside": (geojson(({"name": "A"}, [SQUARE])), "holds GeoJSON: its name says KML"),
    "other XML": (b"<?xml version='1.0'?><svg></svg>", "is no KML: its outermost element is svg"),
    "text": (b"Dear Sir", "is no KML: it does not start with a tag"),
}  # fmt: skip


@pytest.mark.parametrize("case", KML)
def test_kml(grove, tmp_path, case):
    content, message = KML[case]
    path = tmp_path / "bad.kml"
    path.write_bytes(content() if callable(content) else content)
    start = time.perf_counter()
    said = refused(grove, path)
    assert_said(said, message)
    assert "root:" not in said
    assert time.perf_counter() - start < AT_ONCE_S


def gpx(body: str, head: str = '<?xml version="1.0"?>') -> bytes:
    return f'{head}<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">{body}</gpx>'.encode()


def track(corners: list[list[float]], name: str = "A") -> str:
    points = "".join(f'<trkpt lat="{y:.7f}" lon="{x:.7f}"/>' for x, y in corners)
    return f"<trk><name>{name}</name><trkseg>{points}</trkseg></trk>"


GPX: dict[str, tuple[bytes | Callable[[], bytes], str]] = {
    "entities that swell": (gpx(track(SQUARE, "&a9;"), LAUGHS), "declares a document type"),
    "cut off": (gpx(track(SQUARE))[:300], "is cut off"),
    "empty": (gpx(""), "has no entries: there is no track or route in it"),
    "not closed": (
        gpx(track(SQUARE[:4])),
        r"Track A has a gap of 40\.\d m between its end and its start: a walk .* up to 20\.0 m open\. Walk it",
    ),
    "not a number": (gpx(track(SQUARE)).replace(b'lat="-31.9000000"', b'lat="NaN"', 1), "latitude nan: both must be"),
    "words": (
        gpx(track(SQUARE)).replace(b'lon="-9.4000000"', b'lon="west"', 1),
        "point 1 of track A of bad.gpx has lon",
    ),
    "no place": (gpx(track(SQUARE)).replace(b' lon="-9.4000000"', b"", 1), "has lon, lat nothing, '-31.9000000'"),
    "swapped": (gpx(track([corner[::-1] for corner in SQUARE])), "look swapped"),
    "standing still": (gpx(track([SQUARE[0]] * 50)), "Track A has 1 different corners: an outline has at least three"),
    "a million corners": (lambda: gpx(track(circle(MANY).tolist())), "has about 1,000,000 corners: at most 500,000"),
    "too many corners": (
        lambda: gpx(track(circle(120_000).tolist())),
        "has 120,000 corners: at most 100,000 are taken",
    ),
    "crosses itself": (gpx(track(BOW_TIE, "Bow")), "it crosses itself"),
    "KML inside": (kml(mark(text_of(SQUARE))), "holds KML: its name says GPX"),
}


@pytest.mark.parametrize("case", GPX)
def test_gpx(grove, tmp_path, case):
    content, message = GPX[case]
    path = tmp_path / "bad.gpx"
    path.write_bytes(content() if callable(content) else content)
    start = time.perf_counter()
    assert_said(refused(grove, path), message)
    assert time.perf_counter() - start < AT_ONCE_S


# Zipped Shapefiles


@pytest.fixture(scope="module")
def parts(tmp_path_factory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("parts")
    gpd.GeoDataFrame({"name": ["A"]}, geometry=[shapely.Polygon(SQUARE)], crs=4326).to_file(folder / "blocks.shp")
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def zipped(members: dict[str, bytes]) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return content.getvalue()


def linked(members: dict[str, bytes]) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
        link = zipfile.ZipInfo("outside.dbf")
        link.create_system, link.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
        archive.writestr(link, "/etc/passwd")
    return content.getvalue()


def lying(members: dict[str, bytes]) -> bytes:
    """Say in the list of members that the table is small, where it unpacks to far more."""
    data = zipped({**members, "blocks.dbf": b" " * 5_000_000})
    return data.replace(struct.pack("<I", 5_000_000), struct.pack("<I", 500))


def scratched(members: dict[str, bytes]) -> bytes:
    """Turn over some bits inside a member that is stored as it is."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    shape = members["blocks.shp"]
    return content.getvalue().replace(shape, shape[:-10] + b"\x11" * 10)


def locked(members: dict[str, bytes]) -> bytes:
    data = bytearray(zipped(members))
    place = data.find(b"PK\x01\x02")
    data[place + 8] |= 1
    return bytes(data)


def huge_record(members: dict[str, bytes]) -> dict[str, bytes]:
    shape = bytearray(members["blocks.shp"])
    shape[100 + 8 + 40 : 100 + 8 + 44] = struct.pack("<i", MANY)
    return {**members, "blocks.shp": bytes(shape)}


def nan_corner(members: dict[str, bytes]) -> dict[str, bytes]:
    shape = bytearray(members["blocks.shp"])
    shape[-24:-16] = struct.pack("<d", float("nan"))
    return {**members, "blocks.shp": bytes(shape)}


def without(members: dict[str, bytes], *names: str) -> dict[str, bytes]:
    return {name: data for name, data in members.items() if not name.endswith(names)}


ZIPS: dict[str, tuple[Callable[[dict[str, bytes]], bytes], str]] = {
    "cut off": (lambda p: zipped(p)[:-30], "is damaged or cut off"),
    "half": (lambda p: zipped(p)[: len(zipped(p)) // 2], "is damaged or cut off: the list of its members"),
    "damaged": (scratched, "is damaged or cut off: blocks.shp: Bad CRC-32"),
    "nothing": (lambda p: zipped({}), "holds no Shapefile and no KML: it holds nothing"),
    "no shapes": (lambda p: zipped({"read.me": b"hello"}), "holds no Shapefile and no KML: it holds read.me"),
    "no table": (lambda p: zipped(without(p, ".dbf")), "has no .dbf beside blocks.shp: a Shapefile is .shp, .shx"),
    "no index": (lambda p: zipped(without(p, ".shx")), "has no .shx beside blocks.shp"),
    "no CRS": (lambda p: zipped(without(p, ".prj")), "names no CRS: without it nobody knows where it is"),
    "a CRS of nowhere": (lambda p: zipped({**p, "blocks.prj": b"my paddock"}), "is of an unknown CRS"),
    "an encoding of nowhere": (lambda p: zipped({**p, "blocks.cpg": b"klingon"}), "blocks.cpg in .* says 'klingon'"),
    "shapes cut off": (lambda p: zipped({**p, "blocks.shp": p["blocks.shp"][:-40]}), "blocks.shp in .* is cut off"),
    "shapes of noise": (lambda p: zipped({**p, "blocks.shp": b"noise" * 99}), "blocks.shp in bad.zip is no Shapefile"),
    "empty layer": (lambda p: zipped({**p, **empty_layer()}), "has no entries"),
    "a million corners": (lambda p: zipped(huge_record(p)), "has 1,000,000 corners: at most 100,000 are taken"),
    "not a number": (lambda p: zipped(nan_corner(p)), "entry 1 of bad.zip has a corner without a position|Entry 1 of"),
    "two layers": (lambda p: zipped({**p, **{f"b/{name}": data for name, data in p.items()}}), "holds 2 Shapefiles"),
    "path outside": (lambda p: zipped({**p, "../blocks.prj": b"x"}), "its path leads out of the archive"),
    "path of a drive": (lambda p: zipped({**p, "C:/blocks.prj": b"x"}), "its path leads out of the archive"),
    "path from the root": (lambda p: zipped({**p, "/etc/blocks.prj": b"x"}), "its path leads out of the archive"),
    "path with backslashes": (lambda p: zipped({**p, "..\\blocks.prj": b"x"}), "its path leads out of the archive"),
    "a link": (linked, "a member 'outside.dbf': it is a link and no file"),
    "an archive inside": (lambda p: zipped({**p, "more.zip": zipped(p)}), "holds another archive, more.zip"),
    "locked": (locked, "is locked by a password"),
    "a spreadsheet": (lambda p: zipped({"[Content_Types].xml": b"<a/>"}), "is a spreadsheet or a document"),
    "a bomb": (lambda p: zipped({**p, "blocks.sbn": bytes(250 * 2**20)}), "unpacks to 250 MB: at most 200 MB"),
    "a ratio": (lambda p: zipped({**p, "blocks.sbn": bytes(20 * 2**20)}), "times its size: no map packs better"),
    "a lying list": (lying, "damaged|times its size"),
    "many members": (lambda p: zipped({**p, **{f"{n}.txt": b"" for n in range(300)}}), "holds 30. files: at most 200"),
    "endless members": (lambda p: zipped({f"{n}": b"" for n in range(70_000)}), "holds very many files: at most 200"),
    "a bomb of KML": (lambda p: zipped({"doc.kml": kml(mark("&a9;"), LAUGHS)}), "declares a document type"),
    "no zip": (lambda p: b"hello\n", "is no zip archive"),
}  # fmt: skip


def empty_layer() -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        frame = gpd.GeoDataFrame({"name": ["A"]}, geometry=[shapely.Polygon(SQUARE)], crs=4326).iloc[:0]
        frame.to_file(Path(folder) / "blocks.shp", geometry_type="Polygon", schema=None)
        return {path.name: path.read_bytes() for path in Path(folder).iterdir()}


@pytest.mark.parametrize("case", ZIPS)
def test_zips(grove, tmp_path, parts, case):
    make, message = ZIPS[case]
    path = tmp_path / "bad.zip"
    path.write_bytes(make(parts))
    start = time.perf_counter()
    assert_said(refused(grove, path), message)
    assert time.perf_counter() - start < AT_ONCE_S


def test_one_part_of_a_shapefile_is_not_enough(grove, tmp_path, parts):
    (tmp_path / "blocks.shp").write_bytes(parts["blocks.shp"])
    assert "is one part of a Shapefile" in refused(grove, tmp_path / "blocks.shp")


# CSV

CSV: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "no shapes": ("block,longitude,latitude\nA,-9.4,-31.9\n", "has no column wkt and no column corner", ()),
    "no CRS": ('block,wkt\nA,"POLYGON ((0 0, 1 0, 1 1, 0 0))"\n', "names no CRS: shapes as text need one", ()),
    "no text": ("block,wkt\nA,somewhere\n", "line 2: wkt is 'somewhere': it must be a shape", ("--crs", "EPSG:4326")),
    "cut off": ('block,wkt\nA,"POLYGON ((0 0, 1', "is cut off or no CSV", ("--crs", "EPSG:4326")),
    "not a number": (
        'block,wkt\nA,"POLYGON ((0 0, 1 0, nan nan, 0 0))"\n', "line 2: (a corner|wkt)", ("--crs", "EPSG:4326"),
    ),
    "lost corner": (
        "block,corner,longitude,latitude\nA,1,-9.4,-31.9\nA,2,-9.399,-31.9\nA,4,-9.4,-31.899\n", "A lacks corner 3", (),
    ),
    "two corners": ("block,corner,longitude,latitude\nA,1,-9.4,-31.9\nA,2,-9.399,-31.9\n", "A has 2 corners", ()),
    "a corner twice": (
        "block,corner,longitude,latitude\nA,1,-9.4,-31.9\nA,1,-9.399,-31.9\n", "corner 1 of A is there twice", (),
    ),
    "two spacings": (
        "block,corner,longitude,latitude,row_spacing_m\nA,1,-9.4,-31.9,6\nA,2,-9.399,-31.9,7\n", "is '7', but '6'", (),
    ),
    "swapped": (
        "block,corner,longitude,latitude\nA,1,-31.9,147\nA,2,-31.9,147.1\nA,3,-31.8,147\n", "look swapped", (),
    ),
    "infinity": ("block,corner,longitude,latitude\nA,1,inf,-31.9\n", "longitude is 'inf': it must be a number", ()),
    "no names": ("corner,longitude,latitude\n1,-9.4,-31.9\n", "has no column block", ()),
}  # fmt: skip


@pytest.mark.parametrize("case", CSV)
def test_csv(grove, tmp_path, case):
    content, message, options = CSV[case]
    (tmp_path / "bad.csv").write_text(content)
    assert_said(refused(grove, tmp_path / "bad.csv", *options), message)


def test_a_million_corners_as_text(grove, tmp_path):
    body = ",".join(f"{x:.4f} {y:.4f}" for x, y in circle(MANY))
    (tmp_path / "bad.csv").write_text(f'block,wkt\nA,"POLYGON (({body}))"\n')
    start = time.perf_counter()
    said = refused(grove, tmp_path / "bad.csv", "--crs", "EPSG:4326")
    assert "has about 999,999 corners: at most 500,000" in said
    assert time.perf_counter() - start < AT_ONCE_S


# GeoPackage


def test_geopackage(grove, tmp_path):
    path = tmp_path / "bad.gpkg"
    frame = gpd.GeoDataFrame({"name": ["A"]}, geometry=[shapely.Polygon(circle(MANY))], crs=4326)
    frame.to_file(path)
    start = time.perf_counter()
    assert "has 1,000,001 corners: at most 100,000 are taken" in refused(grove, path)
    assert time.perf_counter() - start < AT_ONCE_S
    path.unlink()
    frame.iloc[:0].to_file(path)
    assert "has no entries" in refused(grove, path)
    path.write_bytes(path.read_bytes()[:60_000])
    assert "is damaged or cut off" in refused(grove, path)
    path.write_bytes(geojson(({"name": "A"}, [SQUARE])))
    assert "holds GeoJSON: its name says GeoPackage" in refused(grove, path)


# Trees and keep-outs go the same way in

WAYPOINT = f'<wpt lat="{LATITUDE}" lon="{LONGITUDE}"><extensions><row>1</row><position>1</position></extensions></wpt>'
TREES: dict[str, tuple[str, bytes, str]] = {
    "no waypoints": ("t.gpx", gpx(track(SQUARE)), "has no entries: there is no waypoint in it"),
    "not a number": ("t.gpx", gpx(WAYPOINT.replace(str(LATITUDE), "nan")), "waypoint 1 of t.gpx is at longitude"),
    "the same place twice": ("t.gpx", gpx(WAYPOINT * 2), "entry 2: place low 1 1 is in entry 1 already"),
    "entities": ("t.gpx", gpx(WAYPOINT, LAUGHS), "declares a document type"),
    "outlines": ("t.kml", kml(mark(text_of(SQUARE))), "has no entries: there is no point in it"),
    "rows unknown": ("t.gpx", gpx(WAYPOINT.replace("row>", "line>")), "has no column row: every tree names its block"),
    "many points": (
        "t.geojson", geojson(({"row": 1, "position": 1}, [at(0, 0), at(5, 0)]), kind="MultiPoint"), "is MultiPoint",
    ),
    "swapped": ("t.geojson", geojson(({"row": 1, "position": 1}, at(0, 0)[::-1]), kind="Point"), "look swapped"),
    "far": ("t.geojson", geojson(({"row": 1, "position": 1}, [147, -37]), kind="Point"), "km from"),
    "no position": ("t.geojson", geojson(({"row": 1, "position": 1}, []), kind="Point"), "it has no position"),
}  # fmt: skip


@pytest.mark.parametrize("case", TREES)
def test_trees(grove, tmp_path, case):
    name, content, message = TREES[case]
    (tmp_path / name).write_bytes(content)
    assert_said(refused(grove, tmp_path / name, "--block", "Low", command="import-trees"), message)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("k.kml", kml(mark(text_of(BOW_TIE))), "keep-out A can't be used near easting"),
        ("k.gpx", gpx(track(SQUARE[:4])), "has a gap of 40"),
        ("k.kml", kml(mark("&a9;"), LAUGHS), "declares a document type"),
        ("k.csv", b"name,longitude,latitude\nA,-9.4,-31.9\n", "has no column wkt and no column corner"),
    ],
)
def test_keep_outs(grove, tmp_path, name, content, message):
    (tmp_path / name).write_bytes(content)
    options = ("--kind", "water", "--setback", 20)
    assert_said(refused(grove, tmp_path / name, *options, command="import-keep-outs"), message)


# What is odd and not wrong


@pytest.mark.parametrize("name", ["<b>Top</b>", "<script>alert(1)</script>", "=1+1", 'Top & Sons\' "best"'])
def test_a_name_is_text_whatever_it_looks_like(grove, tmp_path, name):
    (tmp_path / "a.geojson").write_bytes(geojson(({"name": name}, [SQUARE])))
    run("import-outlines", grove, tmp_path / "a.geojson")
    escaped = name.replace("&", "&amp;").replace("<", "&lt;")
    (tmp_path / "b.kml").write_bytes(kml(mark(text_of(ring(100, 0, 160, 40)), f"2 {escaped}")))
    said = json.loads(run("import-outlines", grove, tmp_path / "b.kml", "--json"))
    assert said["blocks"][0]["block"] == f"2 {name}"


def test_heights_and_measures_are_dropped(grove, tmp_path):
    (tmp_path / "a.kml").write_bytes(kml(mark(text_of(SQUARE, ",512.5"))))
    run("import-outlines", grove, tmp_path / "a.kml")
    measured = shapely.from_wkt(f"POLYGON ZM (({', '.join(f'{x} {y} 3 7' for x, y in ring(100, 0, 160, 40))}))")
    folder = tmp_path / "measured"
    folder.mkdir()
    pyogrio.raw.write(
        folder / "m.shp", np.array([shapely.to_wkb(measured, flavor="iso")], dtype=object),
        [np.array(["M"], dtype=object)], ["name"], geometry_type="Measured 3D Polygon", crs="EPSG:4326",
    )  # fmt: skip
    assert struct.unpack("<i", (folder / "m.shp").read_bytes()[32:36]) == (15,)  # PolygonZ (ESRI 1998, page 20)
    (tmp_path / "m.zip").write_bytes(zipped({path.name: path.read_bytes() for path in folder.iterdir()}))
    run("import-outlines", grove, tmp_path / "m.zip")
    (tmp_path / "m.csv").write_text(f'block,wkt\nW,"{shapely.force_3d(shapely.Polygon(ring(200, 0, 260, 40))).wkt}"\n')
    run("import-outlines", grove, tmp_path / "m.csv", "--crs", "EPSG:4326")
    shown = json.loads(run("show", grove, "--json"))
    assert shown["blocks"] == 3
    assert shown["map_area_ha"] == pytest.approx(3 * 0.24, rel=0.005)


def test_a_walk_is_closed_within_the_limit_and_the_gap_is_told(grove, tmp_path):
    walk = [*SQUARE[:4], at(0, 12)]
    (tmp_path / "walk.gpx").write_bytes(gpx(track(walk, "Top")))
    assert "Track Top: its ends are 12.0 m apart and were joined by a straight line." in run(
        "import-outlines", grove, tmp_path / "walk.gpx"
    )
    (tmp_path / "wide.gpx").write_bytes(gpx(track(ring(100, 0, 160, 40)[:4], "Wide")))
    assert "up to 20.0 m open" in refused(grove, tmp_path / "wide.gpx")
    assert "40.0 m apart" in run("import-outlines", grove, tmp_path / "wide.gpx", "--closing-gap", 45)
    assert "closing gap is -1 m" in refused(grove, tmp_path / "wide.gpx", "--closing-gap", -1).lower()


def test_waypoints_are_trees_of_the_block_that_is_named(grove, tmp_path):
    points = "".join(
        f'<wpt lat="{at(0, 7 * row)[1]}" lon="{at(5 * n, 0)[0]}"><ele>99</ele><extensions><row>{row}</row>'
        f"<position>{n}</position></extensions></wpt>" for row in (1, 2) for n in (1, 2, 3)
    )  # fmt: skip
    (tmp_path / "trees.gpx").write_bytes(gpx(points))
    said = refused(grove, tmp_path / "trees.gpx", command="import-trees")
    assert "has no column block: every tree names its block, row and position. Name the block of all of them" in said
    assert "6 trees from trees.gpx" in run("import-trees", grove, tmp_path / "trees.gpx", "--block", "Low")


# The mended shape


def test_the_mended_shape_is_offered_and_never_taken(grove, tmp_path):
    path, mended = tmp_path / "bow.geojson", tmp_path / "mended.geojson"
    # A slip of the hand near one corner, and beside it a sound block with a fact.
    slip = [at(0, 0), at(60, 0), at(60, 40), at(2, 40), at(0, 38), at(3, 38), at(0, 41)]
    path.write_bytes(
        geojson(({"name": "Bow"}, [[*slip, slip[0]]]), ({"name": "B", "row_spacing_m": 7}, [ring(100, 0, 160, 40)]))
    )
    assert "--write-mended FILE.geojson writes it for a look" in refused(grove, path)
    before = grove.read_bytes()
    said = run("import-outlines", grove, path, "--write-mended", mended, status=1)
    assert grove.read_bytes() == before
    assert "mended.geojson holds the mended Bow and the other 1 as drawn; look at it on a map, then import" in said
    assert "2 blocks from mended.geojson" in run("import-outlines", grove, mended)
    assert json.loads(run("show", grove, "--json"))["map_area_ha"] == pytest.approx(0.48, rel=0.01)


def test_a_mended_shape_of_two_pieces_gets_two_names(grove, tmp_path):
    (tmp_path / "bow.geojson").write_bytes(geojson(({"name": "Bow"}, [BOW_TIE])))
    run("import-outlines", grove, tmp_path / "bow.geojson", "--write-mended", tmp_path / "m.geojson", status=1)
    table = json.loads(run("import-outlines", grove, tmp_path / "m.geojson", "--json"))["blocks"]
    assert [row["block"] for row in table] == ["Bow 1", "Bow 2"]


def test_what_was_drawn_is_never_written_over(grove, tmp_path):
    path = tmp_path / "bow.geojson"
    path.write_bytes(geojson(({"name": "Bow"}, [BOW_TIE])))
    drawn = path.read_bytes()
    assert "is the one that is read" in refused(grove, path, "--write-mended", path)
    assert path.read_bytes() == drawn
    assert "ends in .kml" in refused(grove, path, "--write-mended", tmp_path / "m.kml")


def test_a_keep_out_that_crosses_itself_is_offered_too(grove, tmp_path):
    path, mended = tmp_path / "dam.geojson", tmp_path / "dam2.geojson"
    path.write_bytes(geojson(({"name": "Dam", "kind": "water", "setback_m": 20}, [BOW_TIE])))
    run("import-keep-outs", grove, path, "--write-mended", mended, status=1)
    assert "2 keep-outs from dam2.geojson" in run("import-keep-outs", grove, mended)
