"""Files with bytes cut off or turned over: read or refused in words, never anything else. No published example."""

from __future__ import annotations

import re

import geopandas as gpd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gridmap.errors import GridmapError
from gridmap.exchange import read_outlines, read_trees, write_layer

FORMATS = ["geojson", "gpkg", "kml", "gpx", "shp.zip", "csv"]
DAMAGED = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
DAMAGE = st.tuples(
    st.floats(0.0, 1.0),  # where the file is cut, as a share of its length
    st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.binary(min_size=1, max_size=6)), max_size=4),
    st.booleans(),
)


def damaged(content: bytes, damage) -> bytes:
    share, strokes, cut = damage
    broken = bytearray(content)
    for place, new in strokes:
        at = int(place * len(content))
        broken[at : at + len(new)] = new
    return bytes(broken[: int(share * len(broken))] if cut else broken)


@pytest.fixture(scope="module")
def sound(tmp_path_factory) -> dict[str, dict[str, bytes]]:
    folder = tmp_path_factory.mktemp("sound")
    box = shapely.box(500_000, 5_900_000, 500_100, 5_900_100)
    blocks = gpd.GeoDataFrame({"block": ["Creek", "Bächli"], "row_spacing_m": [6.5, 7.0]},
                              geometry=[box, shapely.affinity.translate(box, 200)], crs=7855)  # fmt: skip
    trees = gpd.GeoDataFrame({"block": "Creek", "row": [1, 1], "position": [1, 2]},
                             geometry=blocks.centroid, crs=7855)  # fmt: skip
    made: dict[str, dict[str, bytes]] = {"blocks": {}, "trees": {}}
    for kind in FORMATS:
        for name, frame in (("blocks", blocks), ("trees", trees)):
            write_layer(frame, folder / f"{name}.{kind}", wkt=name == "blocks")
            made[name][kind] = (folder / f"{name}.{kind}").read_bytes()
    return made


@DAMAGED
@given(damage=DAMAGE)
@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize(("name", "reader"), [("blocks", read_outlines), ("trees", read_trees)])
def test_read_or_refused_in_words(tmp_path, sound, name, reader, kind, damage):
    path = tmp_path / f"in.{kind}"
    path.write_bytes(damaged(sound[name][kind], damage))
    said = ""
    try:
        frame = reader(path)
    except GridmapError as error:
        said = str(error)
    assert re.search(r"in\.|entry|CRS", said, re.IGNORECASE) if said else len(frame) > 0, said
    path.unlink()


@DAMAGED
@given(
    noise=st.binary(max_size=300), start=st.sampled_from([b"", b"<kml>", b"<gpx>", b"{", b"PK\x03\x04", b"block,row\n"])
)
@pytest.mark.parametrize("name", ["in.geojson", "in.gpkg", "in.kml", "in.gpx", "in.zip", "in.csv", "in", "in.xyz"])
def test_noise_is_refused_in_words(tmp_path, name, noise, start):
    (tmp_path / name).write_bytes(start + noise)
    for reader in (read_outlines, read_trees):
        with pytest.raises(GridmapError):
            reader(tmp_path / name)
