"""KML in. The samples are written after the standard (OGC 12-007r2, KML 2.3)."""

from __future__ import annotations

import pytest
import shapely

from gridmap.errors import FileRefused, OutlineRefused
from gridmap.exchange import read_outlines, read_trees

RING = "147,-37,310 147.001,-37,311 147.001,-36.999,312 147,-36.999,313 147,-37,310"
HOLE = "147.0004,-36.9996 147.0006,-36.9996 147.0006,-36.9994 147.0004,-36.9994 147.0004,-36.9996"


def document(body: str, namespace: str = "http://www.opengis.net/kml/2.2") -> str:
    return f'<?xml version="1.0"?><kml xmlns="{namespace}"><Document><name>all</name>{body}</Document></kml>'


def outline(name: str, extra: str = "", hole: str = "") -> str:
    inner = (
        f"<innerBoundaryIs><LinearRing><coordinates>{hole}</coordinates></LinearRing></innerBoundaryIs>" if hole else ""
    )
    return (
        f"<Placemark><name>{name}</name>{extra}<Polygon>{inner}<outerBoundaryIs><LinearRing><coordinates>\n{RING}\n"
        f"</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>"
    )


@pytest.fixture
def save(tmp_path):
    def write(text, name="in.kml"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_outlines_of_every_folder_without_heights(save):
    body = f"<Folder><name>Top</name><Folder><name>East</name>{outline('Creek')}</Folder>{outline('Hill')}</Folder>"
    frame = read_outlines(save(document(body + outline("Low"))))
    assert frame["block"].tolist() == ["Creek", "Hill", "Low"]
    assert frame.crs.to_epsg() == 4326
    assert not frame.geometry.has_z.any()
    assert frame.geometry.iloc[0].bounds == (147, -37, 147.001, -36.999)


def test_a_folder_may_be_chosen(save):
    path = save(document(f"<Folder><name>Top</name><Folder>{outline('Creek')}</Folder></Folder>" + outline("Low")))
    assert read_outlines(path, layer="Top")["block"].tolist() == ["Creek"]
    with pytest.raises(FileRefused, match=r"has no folder 'None such' with entries: it has all, Top"):
        read_outlines(path, layer="None such")


def test_holes_whatever_stands_first(save):
    shape = read_outlines(save(document(outline("Creek", hole=HOLE)))).geometry.iloc[0]
    assert len(shape.interiors) == 1
    assert shape.area == pytest.approx(1e-6 - 4e-8)


def test_facts_in_either_kind_of_extended_data(save):
    data = '<ExtendedData><Data name="row_spacing_m"><value>6.5</value></Data></ExtendedData>'
    simple = '<SchemaData schemaUrl="#s"><SimpleData name="row_spacing_m">7</SimpleData></SchemaData>'
    schema = f"<ExtendedData>{simple}</ExtendedData>"
    frame = read_outlines(save(document(outline("A", data) + outline("B", schema) + outline("C"))))
    assert frame["row_spacing_m"].tolist()[:2] == [6.5, 7.0]
    assert frame["row_spacing_m"].isna().tolist() == [False, False, True]


def test_an_older_namespace_and_a_name_with_markup(save):
    text = document(outline("<![CDATA[<b>Top</b>\n  field]]>"), namespace="http://www.opengis.net/kml/2.0")
    assert read_outlines(save(text))["block"].tolist() == ["<b>Top</b> field"]


def test_what_is_no_outline_is_left_and_named(save):
    point = "<Placemark><name>gate</name><Point><coordinates>147,-37</coordinates></Point></Placemark>"
    line = (
        "<Placemark><name>track</name><LineString><coordinates>147,-37 147.1,-37</coordinates></LineString></Placemark>"
    )
    frame = read_outlines(save(document(point + outline("Creek") + line)))
    assert frame["block"].tolist() == ["Creek"]
    assert frame.attrs["notes"] == ["Left out, since it is no Polygon: entry 1 (gate), entry 3 (track)."]


def test_lines_alone_are_closed(save):
    # 0.0001 degrees of latitude are 11.1 m (one minute is about a nautical mile of 1,852 m).
    line = "147,-37 147.001,-37 147.001,-36.999 147,-36.999 147,-36.9999"
    path = save(
        document(f"<Placemark><name>Top</name><LineString><coordinates>{line}</coordinates></LineString></Placemark>")
    )
    frame = read_outlines(path)
    assert isinstance(frame.geometry.iloc[0], shapely.Polygon)
    assert frame.attrs["notes"] == [
        "Line of entry 1 (Top): its ends are 11.1 m apart and were joined by a straight line."
    ]
    with pytest.raises(OutlineRefused, match=r"has a gap of 11\.1 m .* may leave up to 5\.0 m open"):
        read_outlines(path, closing_gap_m=5)


def test_points_are_trees(save):
    data = "".join(f'<Data name="{key}"><value>{n}</value></Data>' for key, n in (("Row", 2), ("position", 3)))
    body = f"<Placemark><name>x</name><ExtendedData>{data}</ExtendedData>"
    body += "<Point><coordinates>147,-37,310.5</coordinates></Point></Placemark>"
    frame = read_trees(save(document(body)), block="Creek")
    assert frame[["block", "row", "position"]].values.tolist() == [["Creek", 2, 3]]
    assert frame["elevation_m"].isna().all()
    assert frame.geometry.iloc[0] == shapely.Point(147, -37)


def test_zipped(tmp_path, save):
    import zipfile

    with zipfile.ZipFile(tmp_path / "in.kmz", "w") as archive:
        archive.writestr("doc.kml", document(outline("Creek")))
        archive.writestr("files/icon.png", b"\x89PNG")
    assert read_outlines(tmp_path / "in.kmz")["block"].tolist() == ["Creek"]
