"""Label terms judged, on an invented product.

Labels carry a least interval, the most a season, the most in a row of one mode-of-action group, withholding, end use,
state; no published example of judging them: the sentences are checked day by day against the calendar.
"""

import datetime as dt

import pytest

from gridmap.errors import InputRefused
from gridmap.treatment import Application, Label, earliest_day, forbids, judge_label

NAME = "INVENTED PRODUCT, not for use"
DAY = dt.date(2026, 11, 17)
TYPED = Label(product=NAME, expires="2027-06-30", states="NSW, Vic", end_uses="oil", most_per_season=3, most_in_a_row=2,
              mode_of_action="X", least_interval_days=14, withholding_days=1, grazing_days=7, reentry="when dry")


def used(day, group="X", product=NAME, blocks=("Top",)):
    return Application(dt.date.fromisoformat(day), product, group, blocks)


def judge(label=TYPED, **changes):
    arguments = {"on": DAY, "blocks": ["Top"], "state": "NSW", "end_use": "oil",
                 "harvest": {"Top": dt.date(2027, 4, 1)}, "grazing": {"Top": dt.date(2027, 4, 1)}, **changes}
    return judge_label(label, NAME, **arguments)


def words(findings, weight="forbids"):
    return [finding.words for finding in findings if finding.weight == weight]


def test_nothing_speaks_against_it():
    assert judge() == ()


@pytest.mark.parametrize(("changes", "said"), [
    ({"on": dt.date(2027, 7, 1), "harvest": {}, "grazing": {}}, "The permit expired on 30 June 2027."),
    ({"state": "WA"}, "It is for NSW, Vic; the grove is in WA."),
    ({"end_use": "table"}, "It is for oil olives; your crop is for table."),
    ({"season": [used("2026-11-04")]}, "Top may be treated again from 18 November 2026, 14 days after the last time."),
    ({"season": [used("2026-09-01"), used("2026-09-20", "Y", "OTHER"), used("2026-10-05"), used("2026-10-20")]},
     "Top has had 3 of at most 3 this season."),
    ({"season": [used("2026-10-01"), used("2026-10-20")]},
     "Top has had group X 2 times in a row, at most 2 are allowed: another group must come first."),
    ({"harvest": {"Top": dt.date(2026, 11, 17)}},
     "Top is planned for harvest on 17 November 2026; treated on 17 November 2026 it must wait until "
     "18 November 2026."),
    ({"grazing": {"Top": dt.date(2026, 11, 20)}},
     "Top is planned for grazing on 20 November 2026; treated on 17 November 2026 it must wait until "
     "24 November 2026."),
])
def test_each_term_forbids_in_words(changes, said):
    found = judge(**changes)
    assert said in words(found)
    assert forbids(found)


def test_the_last_day_and_the_first_day_are_allowed():
    # On the day of expiry and on the fourteenth day itself nothing forbids it: a term counts whole local dates.
    assert not forbids(judge(on=dt.date(2027, 6, 30), harvest={"Top": dt.date(2027, 7, 1)},
                             grazing={"Top": dt.date(2027, 7, 7)}))
    assert not forbids(judge(season=[used("2026-11-03")]))


def test_another_block_s_applications_do_not_count():
    season = [used("2026-11-10", blocks=("East",))] * 5
    assert not forbids(judge(season=season))
    found = judge(blocks=["Top", "East"], season=season, harvest={}, grazing={})
    assert all(sentence.startswith("East") for sentence in words(found))


def test_another_group_between_breaks_the_row():
    assert not forbids(judge(season=[used("2026-09-20"), used("2026-10-01", "Y", "OTHER"), used("2026-10-20")]))


def test_what_was_not_said_is_told_and_not_guessed():
    found = judge(state=None, end_use=None, harvest=None, grazing=None)
    assert not forbids(found)
    assert "you have not said where the grove is" in words(found, "warns")[0]
    assert any("No day of harvest is planned for Top: not before 18 November 2026" in one
               for one in words(found, "warns"))
    bare = judge_label(Label(), NAME, on=DAY, blocks=["Top"])
    assert {finding.weight for finding in bare} == {"not_typed"}
    assert any("least days between two applications" in finding.words for finding in bare)


def test_part_days_count_whole():
    label = Label(least_interval_days=13.5)
    assert earliest_day(label, NAME, [used("2026-11-03")], ["Top"]) == dt.date(2026, 11, 17)


def test_an_end_use_that_is_none_is_refused():
    with pytest.raises(InputRefused, match="End use is 'soap': it must be one of table, oil"):
        Label(end_uses="oil, soap")


def test_no_block_is_refused():
    with pytest.raises(InputRefused, match="No block is named"):
        judge_label(Label(), NAME, on=DAY, blocks=[])
