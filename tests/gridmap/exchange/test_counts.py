"""Counts in. No published examples: the house's own columns."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gridmap.crs import to_lonlat
from gridmap.errors import CRSRefused, FileRefused, InputRefused
from gridmap.exchange import catch_long, count_uuids, read_counts, resolve_trees, snap_to_trees

HEADER = "block,row,position,taps,nymphs,adults,wing_buds,reason\n"
GROVE, ID = "6d1f2f0e-3c55-4a58-9b37-1f2a3b4c5d6e", "0b7e1f7a-6c3c-4f58-8f5f-0c3f1d2e3a4b"


@pytest.fixture
def save(tmp_path):
    def write(content):
        path = tmp_path / "counts.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def test_a_plain_walk(save):
    rows, problems = read_counts(save(HEADER + "Creek,1,4,3,12,2,some,planned\nCreek,1,9,3,0,0,,\n"))
    assert problems == []
    assert rows[["line", "block", "row", "position", "taps", "nymphs", "adults"]].values.tolist() == [
        [2, "Creek", 1, 4, 3, 12, 2],
        [3, "Creek", 1, 9, 3, 0, 0],
    ]
    assert rows["wing_buds"].tolist() == ["some", None]
    assert rows["reason"].tolist() == ["planned", "planned"]
    assert rows.geometry.isna().all()


def test_semicolons_decimal_commas_and_a_byte_order_mark(save):
    text = "\ufeffBlock;Row;Position;Taps;Nymphs;Accuracy_m;Longitude;Latitude;Remark\r\n"
    text += "Creek;1;4;3,0;12;3,5;147,001;-37,002;wet\r\n"
    rows, problems = read_counts(save(text))
    assert problems == []
    assert rows["taps"].tolist() == [3]
    assert rows["accuracy_m"].tolist() == [3.5]
    assert (rows.geometry.x[0], rows.geometry.y[0]) == (147.001, -37.002)
    assert rows["adults"].isna().all()
    assert rows.attrs["ignored"] == ["remark"]


def test_a_spreadsheet_may_name_its_separator_first(save):
    rows, problems = read_counts(save(f"sep=;\r\ntree;taps;nymphs\r\n{ID};3;4\r\n{ID};3;x\r\n"))
    assert rows["line"].tolist() == [3]
    assert problems == [(4, "nymphs is 'x': it must be a whole number")]


def test_wing_buds_none_is_a_word_not_a_gap(save):
    rows, _ = read_counts(save(HEADER + "Creek,1,4,3,12,2,None,extra\n"))
    assert rows["wing_buds"].tolist() == ["none"]
    assert rows["reason"].tolist() == ["extra"]


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("Creek,1,4,3,2.5,0,,", "nymphs is '2.5': it must be a whole number"),
        ("Creek,1,4,3,-1,0,,", "nymphs is -1: it must be at least 0"),
        ("Creek,1,4,0,1,0,,", "taps is 0: it must be at least 1"),
        ("Creek,1,4,-3,1,0,,", "taps is -3: it must be at least 1"),
        ("Creek,1,4,3,999999,0,,", "nymphs is 999999: it must be at most 100,000"),
        ("Creek,1,4,5000,1,0,,", "taps is 5000: it must be at most 1,000"),
        ("Creek,1,4,3,,0,,", "nymphs is missing"),
        ("Creek,1,4,,1,0,,", "taps is missing"),
        ("Creek,1,,3,1,0,,", "position is missing"),
        (",,,3,1,0,,", "it names no tree: give block, row and position, or tree, or coordinates"),
        ("Creek,1,4,3,1,0,many,", "wing_buds is 'many': it must be one of none, some, most"),
        (
            "Creek,1,4,3,1,0,,suspect",
            "reason is 'suspect': it must be one of planned, extra, suspected (did you mean suspected?)",
        ),
        ("Creek,1,4,3,0,0,most,", "wing_buds is most, but nymphs is 0"),
        ("Creek,1,4,3,1e3,0,,", "nymphs is '1e3': it must be a whole number"),
        ('Creek,1,4,3,"1,000",0,,', "nymphs is '1,000': it must be a whole number"),
        ("Creek,1,4,3,１２,0,,", "nymphs is '１２': it must be a whole number"),
        ("Creek,1,4,3,1", "it has 5 cells where the header has 8"),
        ("Creek,1,4,3,1,0,,,,", "it has 10 cells where the header has 8"),
    ],
)
def test_bad_lines_are_told_and_good_ones_kept(save, line, problem):
    rows, problems = read_counts(save(HEADER + "Creek,1,1,3,0,0,,\n" + line + "\nCreek,1,2,3,7,0,,\n"))
    assert problems == [(3, problem)]
    assert rows["line"].tolist() == [2, 4]


def test_a_line_break_inside_a_cell_keeps_the_line_numbers(save):
    _, problems = read_counts(save("tree,taps,nymphs,observer\n" + f'{ID},3,1,"Ann\nLee"\n{ID},3,x,Ann\n'))
    assert problems == [(4, "nymphs is 'x': it must be a whole number")]


def test_the_same_uuid_twice_is_stored_once_and_refused_with_other_content(save):
    header = "uuid,tree,taps,nymphs\n"
    line = f"{ID},{GROVE},3,4\n"
    rows, problems = read_counts(save(header + line + line.upper()))
    assert len(rows) == 1
    assert problems == []
    rows, problems = read_counts(save(header + line + f"{ID},{GROVE},3,5\n"))
    assert len(rows) == 1
    assert problems == [(3, f"uuid {ID} is in line 2 already, with other nymphs")]


@pytest.mark.parametrize(
    ("time", "date", "zone", "utc", "day"),
    [
        ("2026-11-03T07:40:00Z", "", None, "2026-11-03T07:40:00+00:00", "2026-11-03"),
        ("2026-11-03T07:40+11:00", "", None, "2026-11-02T20:40:00+00:00", "2026-11-03"),
        ("2026-11-03 07:40", "", "Australia/Melbourne", "2026-11-02T20:40:00+00:00", "2026-11-03"),
        ("7:40", "2026-11-03", "Europe/Madrid", "2026-11-03T06:40:00+00:00", "2026-11-03"),
        ("", "2026-11-03", None, None, "2026-11-03"),
        ("2026-11-02T22:40Z", "", "Australia/Melbourne", "2026-11-02T22:40:00+00:00", "2026-11-03"),
    ],
)
def test_times_are_utc_and_dates_local(save, time, date, zone, utc, day):
    rows, problems = read_counts(save(f"tree,taps,nymphs,time,date\n{ID},3,1,{time},{date}\n"), time_zone=zone)
    assert problems == []
    assert rows["time"].iloc[0] == pd.Timestamp(utc) if utc else pd.isna(rows["time"].iloc[0])
    assert rows["date"].tolist() == [day]


@pytest.mark.parametrize(
    ("time", "date", "zone", "message"),
    [
        ("2026-11-03T07:40", "", None, "it has no offset, and the time zone of the grove is not known"),
        ("07:40", "", "Europe/Madrid", "a time of day needs a column date"),
        ("", "3/11/2026", None, "date is '3/11/2026': it must be year-month-day"),
        ("morning", "", None, "time is 'morning': it must be as 2026-11-03T07:40"),
        ("02:30", "2026-03-29", "Europe/Madrid", "the clocks jumped over it in Europe/Madrid"),
        ("25:00", "2026-03-29", "Europe/Madrid", "time is '25:00'"),
    ],
)
def test_bad_times(save, time, date, zone, message):
    _, problems = read_counts(save(f"tree,taps,nymphs,time,date\n{ID},3,1,{time},{date}\n"), time_zone=zone)
    assert len(problems) == 1
    assert message in problems[0][1]


def test_groups_are_read_with_and_without_prefix_and_turned_long(save):
    rows, problems = read_counts(save(f"uuid,tree,taps,nymphs,spiders,catch_mantis,ant\n{ID},{GROVE},3,1,2,1,\n"))
    assert problems == []
    assert catch_long(rows).values.tolist() == [[ID, "spider", 2], [ID, "mantis", 1]]


@pytest.mark.parametrize(
    ("header", "message"),
    [
        ("tree,nymphs", "has no column taps: a count means nothing without its effort"),
        ("tree,taps", "has neither nymphs nor adults"),
        ("block,row,taps,nymphs", "names no trees: a tree is named by"),
        ("tree,taps,nymph,adults", "Column 'nymph' of counts.csv is not known: it looks like nymphs"),
        ("tree,taps,nymphs,spider,spiders", "Column spiders of counts.csv is a second one for spider"),
    ],
)
def test_headers_refused(save, header, message):
    with pytest.raises(FileRefused, match=message):
        read_counts(save(header + "\n" + ",".join("1" * len(header.split(","))) + "\n"))


def test_unknown_time_zone_refused(save):
    with pytest.raises(FileRefused, match="Time zone 'Mars/North' is not known"):
        read_counts(save(f"tree,taps,nymphs\n{ID},3,1\n"), time_zone="Mars/North")


def test_easting_needs_a_crs(save):
    with pytest.raises(CRSRefused, match="easting and northing need one"):
        read_counts(save("easting,northing,taps,nymphs\n500000,5900000,3,1\n"))


TREES = gpd.GeoDataFrame(
    {
        "tree": ["a", "b", "c", "d"],
        "block": ["Creek"] * 4,
        "row": [1, 1, 1, 1],
        "position": [1, 2, 3, 3],
        "status": ["alive", "alive", "gone", "alive"],
    },
    geometry=gpd.points_from_xy([500_000, 500_005, 500_010, 500_010], [5_900_000] * 4),
    crs=7855,
)


def test_trees_by_place_and_by_coordinates(save):
    text = "block,row,position,easting,northing,taps,nymphs\nCREEK,1,3,,,3,1\n,,,500004,5900001,3,2\n"
    text += ",,,500002,5900009,3,3\nCreek,9,9,,,3,4\n"
    rows, problems = read_counts(save(text), crs=7855)
    assert problems == []
    found = resolve_trees(rows, TREES, limit_m=3)
    assert found.rows["tree"].tolist() == ["d", "b"]
    assert found.rows["distance_m"].iloc[1] == pytest.approx(2**0.5)
    assert found.problems == [
        (4, "the nearest tree (block Creek row 1 position 1) is 9.2 m away: the limit is 3 m"),
        (5, "there is no tree at block Creek row 9 position 9"),
    ]


def test_a_position_beside_a_name_is_measured_not_obeyed(save):
    rows, _ = read_counts(
        save("block,row,position,easting,northing,taps,nymphs\nCreek,1,1,500010,5900000,3,1\n"), crs=7855
    )
    found = resolve_trees(rows, TREES, limit_m=3)
    assert found.rows["tree"].tolist() == ["a"]
    assert found.rows["distance_m"].tolist() == [pytest.approx(10)]


def test_counts_from_a_phone_meet_trees_on_the_national_datum(save):
    # WGS 84 is taken as the grove's current datum, told once.
    place = to_lonlat(TREES).geometry.iloc[1]
    line = f"{place.x:.9f},{place.y:.9f},3,1\n"
    rows, _ = read_counts(save("longitude,latitude,taps,nymphs\n" + line + line))
    found = resolve_trees(rows, TREES, limit_m=3)
    assert found.rows["tree"].tolist() == ["b", "b"]
    assert found.rows["distance_m"].max() < 0.001
    assert found.notes == ["WGS 84 positions were taken as GDA2020, the current datum of the grove's place"]


def test_a_far_position_costs_its_own_line_only(save):
    rows, _ = read_counts(save("easting,northing,taps,nymphs\n500001,5900000,3,1\n900000,5900000,3,1\n"), crs=7855)
    found = resolve_trees(rows, TREES, limit_m=3)
    assert found.rows["tree"].tolist() == ["a"]
    assert [line for line, _ in found.problems] == [3]
    assert "km from the grove" in found.problems[0][1]


def test_unknown_uuid_is_told(save):
    rows, _ = read_counts(save(f"tree,taps,nymphs\n{ID},3,1\n"))
    assert resolve_trees(rows, TREES, limit_m=3).problems == [(2, f"there is no tree {ID} in the grove")]


def test_snapping_passes_over_trees_that_are_gone():
    found = snap_to_trees([[500_010, 5_900_000], [500_100, 5_900_000]], TREES, limit_m=3)
    assert found["tree"].tolist() == ["d", None]
    assert found["distance_m"].tolist() == [0, 90]
    with pytest.raises(InputRefused, match="The grove has no living tree"):
        snap_to_trees([[0, 0]], TREES.head(0), limit_m=3)
    with pytest.raises(InputRefused, match="Snapping limit is 0 m: it must be over 0 m"):
        snap_to_trees([[0, 0]], TREES, limit_m=0)


def test_uuids_are_stable_and_given_ones_stay():
    # RFC 9562 section 5.5: a version 5 UUID depends on its namespace and name only.
    rows = pd.DataFrame(
        {"uuid": [None, ID, None, None], "tree": ["a", "a", "a", "b"], "time": pd.NaT, "date": "2026-11-03"}
    )
    first = count_uuids(rows, grove=GROVE, walk="w1")
    assert first.tolist()[1] == ID
    assert first.is_unique
    assert all(value[14] == "5" for value in first.drop(1))
    assert count_uuids(rows, grove=GROVE, walk="w1").equals(first)
    assert not set(count_uuids(rows, grove=GROVE, walk="w2").drop(1)) & set(first.drop(1))
    with pytest.raises(InputRefused, match="Grove is 'mine': it must be a UUID"):
        count_uuids(rows, grove="mine", walk="w1")


@given(st.binary(max_size=300))
def test_no_bytes_bring_it_down(tmp_path_factory, content):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(b"tree,taps,nymphs\n" + content)
    try:
        rows, problems = read_counts(path)
    except FileRefused as refused:
        assert str(refused)  # noqa: PT017  (most draws are read)
    else:
        assert len(rows) + len(problems) >= 0


COUNT = st.tuples(
    st.integers(1, 1000),
    st.integers(0, 100_000),
    st.sampled_from(["planned", "extra", "suspected"]),
    st.sampled_from([",", ";", "\t"]),
)


@given(
    st.lists(COUNT, min_size=1, max_size=8),
    st.sampled_from([",", ";", "\t", "|"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_round_trip(tmp_path_factory, counts, separator, encoding):
    path = tmp_path_factory.getbasetemp() / "walk.csv"
    table = pd.DataFrame(
        [{"tree": ID, "taps": t, "nymphs": n, "reason": r, "observer": f"A{o}B"} for t, n, r, o in counts]
    )
    table.to_csv(path, sep=separator, index=False, encoding=encoding)
    rows, problems = read_counts(path)
    assert problems == []
    # A tab or a separator inside a quoted cell is text.
    assert rows[["taps", "nymphs", "reason"]].values.tolist() == table[["taps", "nymphs", "reason"]].values.tolist()
