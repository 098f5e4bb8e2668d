"""Trees that are replanted, retired and surveyed again; blocks redrawn, split, merged, renumbered; all of it undone.

No published examples here: these are the house's own doors. What is inside is checked in the rooms. The datum shift is
checked against PROJ, which holds the transformation of the GDA2020 Technical Manual (EPSG operation 8048).
"""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from typer.testing import CliRunner

from api.cli import app
from api.store import GroveFile

WEST, SOUTH = 300_000.0, 5_900_000.0  # EPSG:7855, near 144.7 degrees east and 37 degrees south


def run(*words: object, status: int = 0) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == status, result.stderr or result.stdout
    return result.stdout if status == 0 else result.stderr


def said(*words: object) -> dict:
    return json.loads(run(*words, "--json"))


def outlines(path: Path, **boxes: tuple[float, float, float, float]) -> Path:
    """Write boxes (west, south, east, north in metres from the corner of the grove) as a map file."""
    shapes = [shapely.box(WEST + w, SOUTH + s, WEST + e, SOUTH + n) for w, s, e, n in boxes.values()]
    path.write_text(gpd.GeoDataFrame({"name": list(boxes)}, geometry=shapes, crs=7855).to_crs(4326).to_json())
    return path


def survey(path: Path, xy: np.ndarray) -> Path:
    pd.DataFrame({"easting": xy[:, 0], "northing": xy[:, 1]}).round(3).to_csv(path, index=False)
    return path


def xy_of(frame: gpd.GeoDataFrame) -> np.ndarray:
    return np.column_stack([frame.geometry.x, frame.geometry.y])


def read(path: Path) -> dict[str, pd.DataFrame]:
    """Return all that a grove says of its ground and counts, in an order of its own."""
    with GroveFile.open(path, read_only=True) as grove:
        frames = {
            "blocks": grove.blocks().sort_values("uuid"),
            "places": grove.places().sort_values("place"),
            "plants": grove.trees(include_gone=True).sort_values("tree"),
            "rows": pd.DataFrame(grove.rows().drop(columns="uuid")).sort_values(["block", "row"]),
            "counts": grove.counts().sort_values("count"),
        }
    return {
        name: frame.assign(geometry=shapely.to_wkt(frame["geometry"].to_numpy(), rounding_precision=6))
        if "geometry" in frame
        else frame
        for name, frame in ((name, pd.DataFrame(frame).reset_index(drop=True)) for name, frame in frames.items())
    }


def same(one: dict[str, pd.DataFrame], other: dict[str, pd.DataFrame]) -> None:
    for name, frame in one.items():
        pd.testing.assert_frame_equal(frame, other[name])


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """Return a grove with one block, Top, of 5 rows of 10 trees, 7 m by 5 m, not counted yet."""
    path = tmp_path / "home.gpkg"
    run(
        "new",
        path,
        "--name",
        "Home",
        "--at",
        "144.75,-37.02",
        "--time-zone",
        "Australia/Melbourne",
        "--season-start",
        "07-01",
        "--currency",
        "AUD",
        "--crs",
        "EPSG:7855",
    )
    run("import-outlines", path, outlines(tmp_path / "top.geojson", Top=(0, 0, 51, 34)))
    run("make-rows", path, "--row-bearing", 90, "--row-spacing", 7, "--tree-spacing", 5, "--headland", 3, "--uphill", 0)
    return path


@pytest.fixture
def grove(bare: Path, tmp_path: Path) -> Path:
    """Return the same grove with a walk of 12 counts."""
    lines = [f"Top,{row},{position},3,{row * position % 7},0" for row in (1, 3, 5) for position in (1, 4, 7, 10)]
    walk = tmp_path / "walk.csv"
    walk.write_text("block,row,position,taps,nymphs,adults\n" + "\n".join(lines) + "\n")
    run("import-counts", bare, walk, "--date", "2025-02-03")
    return bare


def test_a_replant_is_a_new_plant_in_the_old_place_and_counts_stay_with_the_old_one(grove):
    before = read(grove)
    old = before["plants"].query("row == 3 and position == 4").iloc[0]
    told = said("replant", grove, "--tree", "top/3/4", "--on", "2025-06-20", "--canopy-height", 0.8)
    after = read(grove)
    now = after["plants"].query("row == 3 and position == 4").set_index("tree")
    assert (told["gone"], told["counts_kept"]) == ([old["tree"]], 1)
    assert now["status"].to_dict() == {old["tree"]: "gone", told["new"][0]: "alive"}
    assert now["place"].nunique() == 1
    assert now.loc[told["new"][0], "canopy_height_m"] == 0.8
    pd.testing.assert_frame_equal(after["counts"], before["counts"])
    with GroveFile.open(grove, read_only=True) as store:
        assert len(store.trees()) == 50
        assert old["tree"] not in set(store.trees()["tree"])
    run("undo", grove)
    same(read(grove), before)


def test_counts_of_a_plant_that_is_gone_still_tell_about_its_place(grove):
    from api.steps.pressure import load_grove, work_out_pressure

    run("set-threshold", grove, 3, "--counts", "nymphs", "--taps", 3)
    labels = ["block", "row", "position"]

    def pressure() -> pd.DataFrame:
        found = load_grove(grove)
        return work_out_pressure(found).frame.merge(found.trees[["tree", *labels]], on="tree").set_index(labels)

    before = pressure()
    run("replant", grove, "--tree", "Top/3/4", "--on", "2025-06-20")
    after = pressure()
    assert before.loc[("Top", 3, 4), "tree"] != after.loc[("Top", 3, 4), "tree"]
    figures = ["mean_per_beat", "low_90", "high_90", "chance_over"]
    pd.testing.assert_frame_equal(before[figures], after[figures])


def test_a_gap_keeps_its_number(grove):
    told = said("retire", grove, "--tree", "Top/2/5", "--tree", "Top/2/6", "--on", "2025-06-20")
    assert told["retired"] == ["Top/2/5", "Top/2/6"]
    places = read(grove)["places"].query("row == 2").sort_values("position")
    assert places["position"].tolist() == list(range(1, 11))
    assert places["tree"].isna().tolist() == [position in (5, 6) for position in range(1, 11)]
    assert "Top/2/5 is a gap already" in run("retire", grove, "--tree", "Top/2/5", "--on", "2025-06-21", status=1)
    assert said("replant", grove, "--tree", "Top/2/5", "--on", "2025-07-01")["gone"] == []
    assert "is now" not in run("label", grove, "Top/2/5")
    story = said("label", grove, "Top/2/5")["places"][0]
    assert [plant["status"] for plant in story["plants"]] == ["gone", "alive"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--tree", "Top/3/99", "--on", "2025-06-20"), "There is no place Top/3/99"),
        (("--tree", "Top 3 4", "--on", "2025-06-20"), "It is named by block, row and position".lower()),
        (("--tree", "Top/3/4", "--on", "20 June"), "must be a day"),
        (("--tree", "Top/3/4", "--on", "2525-06-20"), "check the year".capitalize()),
        (("--tree", "Top/3/4", "--on", "2024-06-20"), "it was beaten on 2025-02-03"),
        (("--tree", "Top/3/4", "--tree", "top/3/4", "--on", "2025-06-20"), "named twice"),
    ],
)
def test_what_can_not_be_changes_nothing(grove, words, message):
    before = grove.read_bytes()
    for command in ("retire", "replant"):
        assert message in run(command, grove, *words, status=1)
    assert grove.read_bytes() == before


def test_the_same_200_trees_in_gda94_and_then_in_gda2020_land_on_each_other(tmp_path):
    path = tmp_path / "home.gpkg"
    run(
        "new",
        path,
        "--name",
        "Home",
        "--at",
        "144.75,-37.02",
        "--time-zone",
        "Australia/Melbourne",
        "--season-start",
        "07-01",
        "--currency",
        "AUD",
        "--crs",
        "EPSG:7855",
    )
    rng = np.random.default_rng(5)
    row, position = (part.ravel() + 1 for part in np.divmod(np.arange(200), 20))
    gda2020 = np.column_stack([WEST + 5 * position, SOUTH + 7 * row]) + rng.normal(0, 0.3, (200, 2))
    back = pyproj.Transformer.from_crs(7855, 28355, always_xy=True, allow_ballpark=False)
    gda94 = np.column_stack(back.transform(*gda2020.T))
    assert np.hypot(*(gda94 - gda2020).T).min() > 1.5  # the two datums are that far apart
    trees = tmp_path / "gda94.csv"
    frame = pd.DataFrame(
        {"block": "A", "row": row, "position": position, "easting": gda94[:, 0], "northing": gda94[:, 1]}
    )
    frame.round(3).to_csv(trees, index=False)
    run("import-trees", path, trees, "--crs", "EPSG:28355")
    before = read(path)
    told = said("resurvey", path, survey(tmp_path / "gda2020.csv", gda2020), "--crs", "EPSG:7855", "--accept")
    assert len(told["matched"]) == 200
    assert max(pair["moved_m"] for pair in told["matched"]) < 0.1
    assert all(pair["tree"] == f"A/{row[pair['point'] - 1]}/{position[pair['point'] - 1]}" for pair in told["matched"])
    assert (told["not_seen"], told["unknown"], told["in_gaps"]) == ([], [], [])
    after = read(path)
    labels = ["place", "block", "row", "position", "tree"]
    pd.testing.assert_frame_equal(after["places"][labels], before["places"][labels])


def test_a_survey_is_only_looked_at_until_it_is_accepted(grove, tmp_path):
    before = read(grove)
    places = before["places"]
    xy = shapely.get_coordinates(shapely.from_wkt(places["geometry"]))
    rng = np.random.default_rng(2)
    # One tree not seen, one tree nobody knew, all the others half a metre off, the whole survey 2 m to the east
    missing = int(places.query("row == 3 and position == 5").index[0])
    points = np.delete(xy, missing, axis=0) + rng.normal(0, 0.35, (49, 2)) + [2.0, 0.0]
    file = survey(tmp_path / "survey.csv", np.vstack([points, [[WEST + 25, SOUTH + 45]]]))
    whole = grove.read_bytes()
    told = said("resurvey", grove, file, "--crs", "EPSG:7855")
    assert grove.read_bytes() == whole
    assert told["shift_east_m"] == pytest.approx(2.0, abs=0.2)
    assert (len(told["matched"]), len(told["unknown"]), told["stored"]) == (49, 1, False)
    assert [tree["tree"] for tree in told["not_seen"]] == ["Top/3/5"]
    assert "Nothing was stored" in run("resurvey", grove, file, "--crs", "EPSG:7855")
    assert (
        "nothing is stored without"
        in run("resurvey", grove, file, "--crs", "EPSG:7855", "--retire-unseen", status=1).lower()
    )

    run("resurvey", grove, file, "--crs", "EPSG:7855", "--accept", "--take-off-shift")
    after = read(grove)
    moved = np.hypot(*(shapely.get_coordinates(shapely.from_wkt(after["places"]["geometry"])) - xy).T)
    assert 0 < moved.max() < 1.6
    assert moved[missing] == 0
    moves = ["geometry", "upslope_m"]
    assert after["plants"].drop(columns=moves).equals(before["plants"].drop(columns=moves))
    assert not after["rows"]["geometry"].equals(before["rows"]["geometry"])
    run("undo", grove)
    same(read(grove), before)

    run("resurvey", grove, file, "--crs", "EPSG:7855", "--accept", "--retire-unseen")
    gone = read(grove)["plants"].query("status == 'gone'")
    assert gone[["row", "position"]].values.tolist() == [[3, 5]]
    # Seen again at the next survey: the gap gets a new plant, asked for by name
    again = survey(tmp_path / "again.csv", xy)
    assert [gap["tree"] for gap in said("resurvey", grove, again, "--crs", "EPSG:7855")["in_gaps"]] == ["Top/3/5"]
    run("resurvey", grove, again, "--crs", "EPSG:7855", "--accept", "--plant-gaps")
    assert sorted(read(grove)["plants"].query("row == 3 and position == 5")["status"]) == ["alive", "gone"]


def test_a_survey_of_other_ground_is_refused(grove, tmp_path):
    file = survey(tmp_path / "far.csv", np.array([[WEST + 900, SOUTH]]))
    assert "no surveyed point lies within" in run("resurvey", grove, file, "--crs", "EPSG:7855", status=1).lower()


def test_a_redrawn_block_keeps_its_numbers_once_it_was_counted(grove, tmp_path):
    before = read(grove)
    # A strip in the west goes (two trees of each row), ground in the east (two trees), north (one row) and south comes
    told = said("redraw", grove, "Top", outlines(tmp_path / "again.geojson", any=(9, -7, 61, 41)))
    after = read(grove)
    assert told["counted"]
    assert told["relabelled"] == []
    assert told["retired"] == [f"Top/{row}/{position}" for row in range(1, 6) for position in (1, 2)]
    both = before["places"].merge(after["places"], on="place", suffixes=("", "_now"))
    assert len(both) == 50
    assert (both["row"] == both["row_now"]).all()
    assert (both["position"] == both["position_now"]).all()
    new = after["places"][~after["places"]["place"].isin(before["places"]["place"])]
    at = shapely.get_coordinates(shapely.from_wkt(new["geometry"])) - [WEST, SOUTH]
    east = new["row"] <= 5
    assert sorted(new[east]["position"].unique()) == [11, 12]
    assert set(new[~east]["row"]) == {6, 7}
    # Row 6 is the new one below row 1, row 7 the one above row 5; each is numbered from its own left end
    assert at[new["row"] == 6, 1] == pytest.approx(at[new["row"] == 1, 1][0] - 7, abs=1e-3)
    assert at[new["row"] == 7, 1] == pytest.approx(at[new["row"] == 5, 1][0] + 7, abs=1e-3)
    assert sorted(new[new["row"] == 6]["position"]) == list(range(1, 11))
    pd.testing.assert_frame_equal(after["counts"], before["counts"])
    # Drawn back: what an outline left out comes back as it was, and what stands outside now goes
    back = said("redraw", grove, "Top", tmp_path / "top.geojson")
    assert sorted(back["brought_back"]) == sorted(told["retired"])
    assert sorted(back["retired"]) == sorted(told["new"])
    alive = read(grove)["plants"].query("status == 'alive'")
    assert sorted(alive["tree"]) == sorted(before["plants"]["tree"])
    run("undo", grove)
    run("undo", grove)
    same(read(grove), before)


def test_a_redrawn_block_is_numbered_through_before_its_first_count(bare, tmp_path):
    told = said("redraw", bare, "Top", outlines(tmp_path / "again.geojson", Top=(-10, -7, 51, 34)))
    assert not told["counted"]
    after = read(bare)
    assert after["places"].groupby("row")["position"].agg(["min", "max"]).values.tolist() == [[1, 12]] * 6
    assert len(told["relabelled"]) == 50
    # Top/1/1 names a new tree now; the place that had the label before is told beside it
    assert {"Top/1/1", "Top/2/3"} == {place["now"] for place in said("label", bare, "Top/1/1")["places"]}
    only = said("redraw", bare, "Top", outlines(tmp_path / "wide.geojson", Top=(-10, -7, 91, 34)), "--no-new-trees")
    assert (only["new"], only["relabelled"]) == ([], [])


def test_an_outline_over_another_block_is_refused(grove, tmp_path):
    run("import-outlines", grove, outlines(tmp_path / "low.geojson", Low=(0, -60, 51, -20)))
    before = grove.read_bytes()
    assert "overlap" in run("redraw", grove, "Top", outlines(tmp_path / "bad.geojson", Top=(0, -40, 51, 34)), status=1)
    assert "there is no block 'East'" in run("redraw", grove, "East", tmp_path / "bad.geojson", status=1).replace(
        "There", "there"
    )
    assert grove.read_bytes() == before


def test_a_block_is_split_and_merged_and_every_tree_keeps_its_history(grove, tmp_path):
    before = read(grove)
    parts = outlines(tmp_path / "parts.geojson", Top=(0, 0, 25, 34), Right=(25.2, 0, 51, 34))
    told = said("split", grove, "Top", parts)
    after = read(grove)
    assert [part["trees"] for part in told["blocks"]] == [25, 25]
    both = before["places"].merge(after["places"], on="place", suffixes=("", "_now"))
    assert (
        both[["row", "position", "tree"]].to_numpy() == both[["row_now", "position_now", "tree_now"]].to_numpy()
    ).all()
    assert set(both[both["position"] > 5]["block_now"]) == {"Right"}
    assert after["blocks"]["row_spacing_m"].tolist() == [7, 7]
    assert after["rows"].groupby("block").size().to_dict() == {"Right": 5, "Top": 5}
    pd.testing.assert_frame_equal(after["counts"], before["counts"])
    assert "Top/3/7 is Right/3/7" in run("label", grove, "Top/3/7")
    # Somebody with an old list at hand is told what the tree is called now
    assert "it is Right/3/7 now" in run("retire", grove, "--tree", "Top/3/7", "--on", "2025-06-20", status=1)

    told = said("merge", grove, "Right", "Top", "--name", "Hill")
    assert told["not_said_any_more"] == []
    merged = read(grove)["places"]
    both = before["places"].merge(merged, on="place", suffixes=("", "_now"))
    left = both["position"] <= 5
    assert (both["row_now"] == both["row"] + 5 * left).all()
    assert set(both["block_now"]) == {"Hill"}
    assert {"Top/3/4", "Hill/8/4"} <= {name["label"] for name in said("label", grove, "Top/3/4")["places"][0]["labels"]}
    run("undo", grove)
    same(read(grove), after)
    run("undo", grove)
    same(read(grove), before)


def test_a_split_that_leaves_trees_out_is_refused(grove, tmp_path):
    before = grove.read_bytes()
    short = outlines(tmp_path / "short.geojson", A=(0, 0, 25, 34), B=(35, 0, 51, 34))
    assert "10 trees lie in no part" in run("split", grove, "Top", short, status=1)
    assert "holds one outline" in run("split", grove, "Top", tmp_path / "top.geojson", status=1)
    assert grove.read_bytes() == before


def test_blocks_apart_are_merged_by_a_drawn_outline_and_lose_facts_they_do_not_share(grove, tmp_path):
    run("import-outlines", grove, outlines(tmp_path / "low.geojson", Low=(0, -60, 51, -20)))
    run(
        "make-rows",
        grove,
        "--block",
        "Low",
        "--row-bearing",
        90,
        "--row-spacing",
        8,
        "--tree-spacing",
        5,
        "--headland",
        3,
        "--uphill",
        0,
    )
    assert "Top and Low are 20.0 m apart" in run("merge", grove, "Top", "Low", "--name", "All", status=1)
    before = read(grove)
    whole = outlines(tmp_path / "all.geojson", All=(0, -60, 51, 34))
    told = said("merge", grove, "Top", "Low", "--name", "All", "--outline", whole)
    assert told["not_said_any_more"] == ["row_spacing_m"]
    assert len(read(grove)["plants"]) == len(before["plants"])
    run("undo", grove)
    same(read(grove), before)


def test_renumbering_is_free_until_the_first_count(bare, tmp_path):
    before = read(bare)
    told = said("renumber", bare, "Top", "--uphill", 180)
    assert len(told["relabelled"]) == 50
    both = before["places"].merge(read(bare)["places"], on="place", suffixes=("", "_now"))
    assert (both["row"] + both["row_now"] == 6).all()
    assert (both["position"] + both["position_now"] == 11).all()
    assert said("renumber", bare, "Top")["relabelled"] == []
    walk = tmp_path / "walk.csv"
    walk.write_text("block,row,position,taps,nymphs,adults\nTop,1,1,3,0,0\n")
    run("undo", bare)
    same(read(bare), before)
    run("import-counts", bare, walk, "--date", "2025-02-03")
    assert "free until the first count" in run("renumber", bare, "Top", "--uphill", 180, status=1)
    # The count stays with the tree, also when the tree goes
    run("retire", bare, "--tree", "Top/1/1", "--on", "2025-03-01")
    assert "free until the first count" in run("renumber", bare, "Top", "--uphill", 180, status=1)
