"""Records that can only grow, check trees, and weather tables, on both stores (no published example: our own rules)."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest
import shapely

from api.store.refusals import NotThere
from gridmap.errors import GridmapError, InputRefused

BOTH_STORES = True

AT = datetime(2026, 11, 3, 7, 40, tzinfo=UTC)


@pytest.fixture
def zone(grove) -> str:
    shape = shapely.MultiPolygon([shapely.box(500_000, 5_200_000, 500_030, 5_200_012)])
    trees = pd.DataFrame({"tree": grove.trees()["tree"][:4], "run": 1, "why": "chosen"})
    return grove.add_zone(geometry=shape, trees=trees)


@pytest.fixture
def treatment(grove, zone) -> str:
    return grove.add_treatment(zone=zone, name="first", profile="other", facts={"label": {"product": "INVENTED"}})


def entry(kind="note", content=None, **more):
    return {"uuid": str(uuid.uuid4()), "kind": kind, "at": AT, "content": content or {"words": "x"}, **more}


def test_a_record_comes_back_in_the_order_it_was_written(grove, zone, treatment):
    lines = [entry("start"), entry("wind", {"wind_km_per_h": 8.5, "from": "NW"}), entry("finish")]
    assert grove.add_entries(treatment, lines, who="Ada") == {"stored": 3, "already": 0}
    held = grove.treatment(treatment)
    assert (held.zone, held.name, held.facts) == (zone, "first", {"label": {"product": "INVENTED"}})
    assert [one.kind for one in held.entries] == ["start", "wind", "finish"]
    assert (held.entries[1].content, held.entries[1].at, held.entries[1].who) == (
        {"wind_km_per_h": 8.5, "from": "NW"}, AT, "Ada")
    assert held.entries[0].created >= held.created


def test_sent_twice_stored_once(grove, treatment):
    line = entry()
    grove.add_entries(treatment, [line, line])
    assert grove.add_entries(treatment, [line, entry()]) == {"stored": 1, "already": 1}
    assert len(grove.treatment(treatment).entries) == 2


def test_an_entry_is_corrected_by_one_that_names_it(grove, treatment):
    line = entry()
    grove.add_entries(treatment, [line])
    grove.add_entries(treatment, [entry("correction", {"words": "y"}, corrects=line["uuid"])])
    assert [one.corrects for one in grove.treatment(treatment).entries] == [None, line["uuid"]]
    with pytest.raises(InputRefused, match="stored with other content"):
        grove.add_entries(treatment, [{**line, "content": {"words": "z"}}])
    with pytest.raises(InputRefused, match="to correct"):
        grove.add_entries(treatment, [entry("correction", corrects=str(uuid.uuid4()))])
    assert len(grove.treatment(treatment).entries) == 2


@pytest.mark.parametrize("sentence", [
    "UPDATE treatment_entry SET content = '{}'", "DELETE FROM treatment_entry", "UPDATE treatment SET name = 'other'",
    "DELETE FROM treatment",
])
def test_no_program_changes_or_deletes_a_record(grove, treatment, sentence):
    from sqlalchemy import text

    grove.add_entries(treatment, [entry()])
    with pytest.raises(GridmapError), grove.beside_history() as connection:
        connection.execute(text(sentence))
    assert len(grove.treatment(treatment).entries) == 1


def test_one_bad_entry_and_none_is_stored(grove, treatment):
    for bad, message in (
        (entry("smell"), "Kind of an entry is 'smell'"), ({**entry(), "at": "soon"}, "Time of an entry is 'soon'"),
        (entry("note", corrects=str(uuid.uuid4())), "corrects"),
        (entry(content={"x": float("nan")}), "can't be stored"),
        ({**entry(), "uuid": "x"}, "Uuid is 'x'"),
    ):
        with pytest.raises(InputRefused, match=message):
            grove.add_entries(treatment, [entry(), bad])
    assert grove.treatment(treatment).entries == ()
    with pytest.raises(NotThere, match="There is no treatment"):
        grove.add_entries(str(uuid.uuid4()), [entry()])


def test_check_trees_are_of_the_zone_and_can_be_taken_back(grove, zone):
    trees = grove.trees()["tree"]
    grove.set_check_trees(zone, trees[:2])
    grove.set_check_trees(zone, trees[1:3])
    assert sorted(grove.check_trees(zone)) == sorted(trees[1:3])
    grove.undo(grove.acts()["act"][0])
    assert sorted(grove.check_trees(zone)) == sorted(trees[:2])
    with pytest.raises(InputRefused, match="is not in the zone"):
        grove.set_check_trees(zone, trees[5:6])


def hours(start, wind, **more):
    time = pd.date_range(start, periods=len(wind), freq="h", tz="UTC")
    return pd.DataFrame({"time": time, "temperature_c": 18.5, "humidity_pct": np.nan, "wind_km_per_h": wind, **more})


def test_hours_read_again_replace_what_was_there(grove):
    assert grove.weather() is None
    grove.set_weather("station", hours("2026-11-03T00:00", [5.0, 6.0, 7.0]), {"units": {"wind_km_per_h": "km/h"}})
    assert grove.set_weather("station", hours("2026-11-03T02:00", [9.0, 10.0], rain_mm=0.2), {"units": {}}) == 4
    name, table, told = grove.weather()
    assert (name, told) == ("station", {"units": {}})
    assert table["wind_km_per_h"].tolist() == [5.0, 6.0, 9.0, 10.0]
    assert table["rain_mm"].fillna(-1).tolist() == [-1, -1, 0.2, 0.2]
    assert table["humidity_pct"].isna().all()
    assert table["time"][0] == pd.Timestamp("2026-11-03T00:00Z")
    with pytest.raises(NotThere, match="There is no weather table 'forecast'"):
        grove.weather("forecast")
    grove.undo(grove.acts()["act"][0])
    assert len(grove.weather("station")[1]) == 3
