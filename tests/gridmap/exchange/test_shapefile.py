"""Zipped Shapefiles in, written by a general library (GDAL, through geopandas)."""

from __future__ import annotations

import zipfile
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from gridmap.errors import FileRefused
from gridmap.exchange import read_layer, read_outlines, read_trees

BOX = shapely.box(500_000, 5_900_000, 500_100, 5_900_100)


def zipped(
    folder: Path, names: dict[str, gpd.GeoDataFrame], drop: tuple[str, ...] = (), inside: str = "", **options
) -> Path:
    """Write Shapefiles and zip them, without the parts that end as said."""
    for name, frame in names.items():
        frame.to_file(folder / f"{name}.shp", **options)
    path = folder / "in.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for name in names:
            for part in folder.glob(f"{name}.*"):
                if not part.name.endswith(drop or ("?",)):
                    archive.write(part, f"{inside}{part.name}")
        archive.writestr(f"__MACOSX/{inside}._x.shp", b"desk")
        archive.writestr(f"{inside}.DS_Store", b"desk")
    return path


def frame(**columns) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns or {"block": ["Creek"]}, geometry=[BOX], crs=7855)


@pytest.mark.parametrize("inside", ["", "blocks/"])
def test_the_crs_of_the_prj(tmp_path, inside):
    read = read_outlines(zipped(tmp_path, {"blocks": frame()}, inside=inside))
    assert read.crs.to_epsg() == 7855
    assert read["block"].tolist() == ["Creek"]
    assert read.geometry.iloc[0].equals(BOX)


def test_several_are_asked_for_and_points_are_told_from_outlines(tmp_path):
    points = gpd.GeoDataFrame({"block": ["A"], "row": [1], "position": [2]}, geometry=[BOX.centroid], crs=7855)
    path = zipped(tmp_path, {"blocks": frame(), "others": frame(block=["Top"]), "trees": points})
    with pytest.raises(FileRefused, match=r"holds 2 Shapefiles: they are .*\. Name the layer"):
        read_outlines(path)
    assert read_outlines(path, layer="others")["block"].tolist() == ["Top"]
    assert read_trees(path)["position"].tolist() == [2]
    with pytest.raises(FileRefused, match="has no layer 'none'"):
        read_outlines(path, layer="none")


@pytest.mark.parametrize("encoding", ["UTF-8", "ISO-8859-1", "CP1252", "CP1250"])
def test_the_encoding_of_the_cpg(tmp_path, encoding):
    assert read_outlines(zipped(tmp_path, {"b": frame(block=["Bächli"])}, encoding=encoding))["block"].tolist() == [
        "Bächli"
    ]


@pytest.mark.parametrize(
    "text", ["1252", "ANSI 1252", "cp1252", "windows-1252", "88591", "8859-1", "ISO 8859-1", "LATIN1"]
)
def test_spellings_of_an_encoding(tmp_path, text):
    path = zipped(tmp_path, {"b": frame(block=["Bächli"])}, drop=(".cpg",), encoding="ISO-8859-1")
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("b.cpg", text)
    assert read_outlines(path)["block"].tolist() == ["Bächli"]


@pytest.mark.parametrize(("encoding", "notes"), [("UTF-8", 0), ("ISO-8859-1", 1)])
def test_without_cpg_utf8_is_tried_and_latin1_said(tmp_path, encoding, notes):
    read = read_outlines(zipped(tmp_path, {"b": frame(block=["Bächli"])}, drop=(".cpg",), encoding=encoding))
    assert read["block"].tolist() == ["Bächli"]
    assert len(read.attrs["notes"]) == notes
    assert all("has no .cpg: its texts were read as Latin-1" in note for note in read.attrs["notes"])


def test_texts_that_are_not_what_the_cpg_says(tmp_path):
    path = zipped(tmp_path, {"b": frame(block=["Bächli"])}, drop=(".cpg",), encoding="ISO-8859-1")
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("b.cpg", "UTF-8")
    with pytest.raises(FileRefused, match=r"texts of in\.zip are not UTF-8, which its \.cpg says"):
        read_outlines(path)


def test_ten_letters_are_understood(tmp_path):
    # What GDAL and everybody else makes of our columns: the first ten letters (dBASE).
    facts = {"block": ["Creek"], "row_bearin": [80.0], "row_spacin": [6.5], "tree_spaci": [5.0], "uphill_bea": [350.0]}
    read = read_outlines(zipped(tmp_path, {"b": frame(**facts)}))
    names = ["row_bearing_deg", "row_spacing_m", "tree_spacing_m", "uphill_bearing_deg"]
    assert read[names].values.tolist() == [[80.0, 6.5, 5.0, 350.0]]


def test_our_own_table_of_names_is_read(tmp_path):
    path = zipped(tmp_path, {"b": frame(pad_name=["Creek"])})
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("b-columns.csv", "short name,full name\npad_name,paddock name of the family\n")
    assert "paddock name of the family" in read_layer(path).columns
    assert read_outlines(path, name_column="paddock name of the family")["block"].tolist() == ["Creek"]
