"""What phones record is stored once, in whatever order and however often it arrives. No published example."""

from __future__ import annotations

import itertools
import uuid

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.store.refusals import Conflict, NotThere
from gridmap.errors import InputRefused

BOTH_STORES = True

ANN, BOB = "00000000-0000-4000-8000-0000000000a1", "00000000-0000-4000-8000-0000000000b2"


def new():
    return str(uuid.uuid4())


@pytest.fixture
def walked(grove):
    grove.one = grove.add_walk("2026-02-03")
    grove.tree = list(grove.trees()["tree"])
    return grove


def count(grove, clock, *, of=None, nymphs=4, **more):
    return {"event": new(), "kind": "count", "clock": clock, "at": "2026-02-03T06:30:00Z", "count": of or new(),
            "tree": grove.tree[0], "taps": 3, "nymphs": nymphs, "adults": 1, "reason": "planned", **more}


def answers(grove, device, *events):
    return [each.answer for each in grove.take_in(grove.one, device, events)]


def test_an_event_is_stored_once_with_all_it_says(walked):
    one = count(walked, 1, catch={"spider": 2, "a beetle": 1}, wet=True, windy=False, longitude=149.1, latitude=-33.2,
                accuracy_m=4.5, note="under the hill", observer="Ann", wing_buds="some")
    assert answers(walked, ANN, one, one) == ["stored", "duplicate"]
    assert answers(walked, ANN, one) == ["duplicate"]
    told = walked.counts().to_dict("records")
    assert len(told) == 1
    assert (told[0]["nymphs"], told[0]["wing_buds"], told[0]["accuracy_m"]) == (4, "some", 4.5)
    assert dict(zip(walked.catch()["group"], walked.catch()["number"], strict=True)) == {"spider": 2, "a beetle": 1}
    detail = walked.count_details(walked.one).to_dict("records")[0]
    assert (detail["wet"], detail["windy"], detail["longitude"], detail["note"]) == (1, 0, 149.1, "under the hill")


def test_other_content_under_a_known_event_is_refused(walked):
    one = count(walked, 1)
    answers(walked, ANN, one)
    refused = walked.take_in(walked.one, ANN, [{**one, "nymphs": 9}])[0]
    assert refused.answer == "refused"
    assert "stored already with other content" in str(refused.problem)
    assert walked.counts()["nymphs"].tolist() == [4]


def test_the_last_clock_wins_in_any_order_and_nothing_is_lost(walked):
    of = new()
    events = [count(walked, 1, of=of), count(walked, 2, of=of, nymphs=7, catch={"ant": 3}),
              count(walked, 3, of=of, nymphs=9, catch={"spider": 1})]
    for number, order in enumerate(itertools.permutations(range(3))):
        mine = new()
        sent = [{**events[k], "event": new(), "count": mine} for k in order]
        answers(walked, ANN, *sent)
        told = walked.counts().set_index("count").loc[mine]
        assert told["nymphs"] == 9
        catch = walked.catch()
        assert catch[catch["count"] == mine]["group"].tolist() == ["spider"]
        assert len(walked.events(walked.one)) == 3 * (number + 1)


def test_equal_clocks_of_two_phones_end_alike(walked):
    first, second = new(), new()
    for subject, phones in ((first, (ANN, BOB)), (second, (BOB, ANN))):
        for device in phones:
            answers(walked, device, count(walked, 5, of=subject, nymphs=1 if device == ANN else 2))
    assert walked.counts()["nymphs"].tolist() == [2, 2]


def test_undo_of_a_count_holds_against_what_comes_late(walked):
    of = new()
    late = count(walked, 1, of=of)
    remove = {"event": new(), "kind": "remove", "clock": 2, "at": "2026-02-03T06:31:00Z", "count": of}
    assert answers(walked, ANN, remove) == ["stored"]
    assert answers(walked, ANN, late) == ["overtaken"]
    assert walked.counts().empty
    assert answers(walked, ANN, count(walked, 3, of=of)) == ["stored"]
    assert len(walked.counts()) == 1
    assert answers(walked, ANN, {**remove, "event": new(), "clock": 4}) == ["stored"]
    assert walked.counts().empty
    assert walked.catch().empty


def test_undo_on_the_laptop_is_not_undone_by_a_resend(walked):
    one = count(walked, 1, catch={"ant": 1})
    answers(walked, ANN, one)
    walked.undo(walked.acts().iloc[0]["act"])
    assert walked.counts().empty
    assert answers(walked, ANN, one) == ["duplicate"]
    assert walked.counts().empty
    assert answers(walked, ANN, count(walked, 2, of=one["count"])) == ["stored"]
    assert len(walked.counts()) == 1


def test_one_that_is_refused_hinders_no_other(walked):
    wrong = [count(walked, 1, nymphs=-1), count(walked, 2, tree=new()), count(walked, 3, taps=0),
             count(walked, 4, longitude=3.0), {**count(walked, 5), "kind": "guess"}, count(walked, 6, wet="yes"),
             {"event": new(), "kind": "remove", "clock": 7}]
    told = walked.take_in(walked.one, ANN, [*wrong, count(walked, 8)])
    assert [each.answer for each in told] == ["refused"] * 7 + ["stored"]
    for each, words in zip(told, ("Nymphs is -1", "no tree", "Taps is 0", "needs both", "Kind of an event", "Wet is",
                                  "names no count"), strict=False):
        assert words in str(each.problem)
    assert len(walked.counts()) == 1
    assert len(walked.events(walked.one)) == 1


def test_sightings_without_a_count(walked):
    seen = {"event": new(), "kind": "sighting", "clock": 1, "at": "2026-02-03T06:30:00Z", "sighting": new(),
            "what": "leaves stippled", "tree": walked.tree[1]}
    assert answers(walked, ANN, seen, seen) == ["stored", "duplicate"]
    assert walked.sightings(walked.one)["what"].tolist() == ["leaves stippled"]
    assert walked.counts().empty
    gone = {"event": new(), "kind": "remove", "clock": 2, "sighting": seen["sighting"]}
    assert answers(walked, ANN, gone) == ["stored"]
    assert walked.sightings().empty


def test_a_run_of_counts_moves_in_one_act_and_comes_back(walked):
    sent = [count(walked, clock, tree=walked.tree[clock]) for clock in range(3)]
    answers(walked, ANN, *sent)
    before = walked.counts()["tree"].tolist()
    moves = {one["count"]: walked.tree[3] for one in sent[:2]}
    assert walked.move_counts(walked.one, moves) == 3
    assert walked.counts()["tree"].tolist() == [walked.tree[3], walked.tree[3], before[2]]
    # What the phone sends late of the time before does not move them back.
    assert answers(walked, ANN, count(walked, 1, of=sent[0]["count"])) == ["overtaken"]
    walked.undo(walked.acts().iloc[0]["act"])
    assert walked.counts()["tree"].tolist() == before
    with pytest.raises(NotThere):
        walked.move_counts(walked.one, {new(): walked.tree[0]})
    with pytest.raises(InputRefused, match="No count is named"):
        walked.move_counts(walked.one, {})


def test_a_plan_is_stored_once(walked):
    plan, settings_ = new(), {"trees": 3, "seed": 0}
    for _ in range(2):
        assert walked.add_plan({"trees": []}, date="2026-02-10", settings=settings_, plan=plan, walk=ANN) == plan
    assert [each["plan"] for each in walked.plans()] == [plan]
    assert walked.plan()["walk"] == ANN
    with pytest.raises(Conflict):
        walked.add_plan({}, date="2026-02-11", settings=settings_, plan=plan, walk=ANN)
    with pytest.raises(NotThere, match="no planned walk"):
        walked.plan(new())


@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.randoms(use_true_random=False))
def test_any_order_any_repeats_end_in_the_same_counts(walked, seed):
    """Two phones edit and take back the same few counts; the grove ends as the greatest (clock, device) says."""
    subjects = [new() for _ in range(3)]
    events = []
    for clock in range(12):
        device, of = seed.choice([ANN, BOB]), seed.choice(subjects)
        made = count(walked, clock // 2, of=of, nymphs=clock)
        gone = {"event": new(), "kind": "remove", "clock": clock // 2, "count": of}
        events.append((device, gone if seed.random() < 0.3 else made))
    last = {}
    for device, event in events:
        rank = (event["clock"], device, event["event"])
        if rank > last.get(event["count"], ((-1, "", ""), None))[0]:
            last[event["count"]] = rank, event
    sent = events + [seed.choice(events) for _ in range(6)]
    seed.shuffle(sent)
    for device, event in sent:
        walked.take_in(walked.one, device, [event])
    told = walked.counts().set_index("count")["nymphs"].to_dict()
    expected = {of: event["nymphs"] for of, (_, event) in last.items() if event["kind"] == "count"}
    assert {of: told[of] for of in subjects if of in told} == expected
