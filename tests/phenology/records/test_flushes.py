"""Which flush a look belongs to, told as small garden diaries."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from phenology.language.vague_dates import parse
from phenology.model.errors import LookError, StageOrderError
from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage, stage_rank
from phenology.records.flushes import TreeRecord, flush_numbers, wake
from phenology.records.placing import Said, place_look

NORTH, SOUTH = SeasonCalendar.for_latitude(47.0), SeasonCalendar.for_latitude(-37.0)


class Diary:
    """One tree whose looks and work are written down in the order given."""

    def __init__(self, calendar=NORTH, today=date(2027, 12, 31)):
        self.calendar, self.today = calendar, today
        self.flushes: dict[str, Flush] = {}
        self.looks: dict[str, Look] = {}
        self.count = 0

    @property
    def record(self):
        return TreeRecord("Hornbeam 3", list(self.flushes.values()), list(self.looks.values()))

    def _id(self, kind):
        self.count += 1
        return f"{kind}{self.count}"

    def look(self, when, stage, *, part=None, lost=False, checked=False, kind="seen", **how):
        vague = parse(when, today=self.today)
        look = Look(
            self._id("l"), "t", "", stage, when, vague.earliest, vague.latest, kind, checked, lost, part
        )
        said, new_id = Said(**how), lambda: self._id("f")
        placed = place_look(look, self.record, self.calendar, said, today=self.today, new_id=new_id)
        for flush in (placed.flush, *placed.changed, *placed.also):
            self.flushes[flush.id] = flush
        for moved in placed.moved:
            self.looks[moved.id] = moved
        self.looks[look.id] = replace(look, flush_id=placed.flush.id)
        return placed.flush

    def work(self, when, operation, *, part=None):
        day = parse(when, today=self.today)
        work = Work(self._id("w"), "t", operation, when, day.earliest, day.latest, part=part)
        woken = wake(work, self.record, self.calendar, new_id=lambda: self._id("f"))
        for flush in (*filter(None, [woken.flush]), *woken.changed, *woken.also):
            self.flushes[flush.id] = flush
        for moved in woken.moved:
            self.looks[moved.id] = moved
        return woken

    def numbers(self):
        """Stage and flush number of every look, in order of date."""
        numbers = flush_numbers(self.flushes.values(), self.calendar)
        ordered = sorted(self.looks.values(), key=lambda k: k.latest)
        return [(k.stage, self.flushes[k.flush_id].season, numbers[k.flush_id]) for k in ordered]


def test_a_spring_of_looks_is_one_flush():
    tree = Diary()
    for when, stage in [("10 Mar 2026", "swelling"), ("4 Apr 2026", "budbreak"), ("4 Jun 2026", "hardened")]:
        tree.look(when, stage)
    assert tree.numbers() == [("swelling", 2026, 1), ("budbreak", 2026, 1), ("hardened", 2026, 1)]
    assert [f.started_by for f in tree.flushes.values()] == ["season"]


def test_a_cutback_wakes_the_second_flush_and_ends_the_first():
    tree = Diary()
    tree.look("4 Jun 2026", "hardened")
    woken = tree.work("6 Jun 2026", "cutback").flush
    assert (woken.started_by, woken.started_on, woken.season) == ("work", date(2026, 6, 6), 2026)
    tree.look("20 Jun 2026", "budbreak")
    assert tree.numbers() == [("hardened", 2026, 1), ("budbreak", 2026, 2)]
    first = next(f for f in tree.flushes.values() if f.started_by == "season")
    assert (first.ended_on, first.ended_why) == (date(2026, 6, 6), "cutback")


@pytest.mark.parametrize("operation", ["halving", "basal-leaf", "wiring", "feeding"])
def test_other_work_wakes_nothing(operation):
    tree = Diary()
    tree.look("4 Jun 2026", "hardened")
    woken = tree.work("6 Jun 2026", operation)
    assert woken.flush is None and woken.why_not == f"{operation} wakes no flush"


def test_a_look_on_the_day_of_the_cut_is_the_look_before_it():
    tree = Diary()
    tree.work("6 Jun 2026", "cutback")
    tree.look("6 Jun 2026", "hardened")
    assert tree.numbers() == [("hardened", 2026, 1)]


def test_hard_leaves_right_after_the_cut_are_the_old_ones():
    tree = Diary()
    tree.work("6 Jun 2026", "cutback")
    tree.look("9 Jun 2026", "hardened")
    assert tree.numbers() == [("hardened", 2026, 1)]
    with pytest.raises(LookError, match=r"extended 4 days after work .* can only be the old leaves"):
        tree.look("10 Jun 2026", "extended")


def test_a_look_remembered_from_before_the_cut_opens_the_first_flush():
    tree = Diary()
    tree.work("6 Jun 2026", "cutback")
    tree.look("20 May 2026", "extended")
    assert tree.numbers() == [("extended", 2026, 1)]


def test_an_earlier_stage_after_a_later_one_asks():
    tree = Diary()
    tree.look("4 Jun 2026", "hardened")
    with pytest.raises(StageOrderError, match=r"A new flush, or a wrong look\? Add --new-flush"):
        tree.look("20 Jun 2026", "budbreak")
    tree.look("20 Jun 2026", "budbreak", new_flush=True, cause="lammas growth")
    assert tree.numbers() == [("hardened", 2026, 1), ("budbreak", 2026, 2)]
    second = max(tree.flushes.values(), key=lambda f: f.started_on or date.min)
    assert (second.started_by, second.started_on, second.cause) == (
        "seen",
        date(2026, 6, 20),
        "lammas growth",
    )


def test_a_later_stage_remembered_from_before_an_earlier_one_asks_too():
    tree = Diary()
    tree.look("20 Jun 2026", "extending")
    with pytest.raises(StageOrderError, match=r"extending \(20 Jun 2026\) comes after hardened \(4 Jun"):
        tree.look("4 Jun 2026", "hardened")
    tree.look("4 Jun 2026", "hardened", new_flush=True)
    assert tree.numbers() == [("hardened", 2026, 1), ("extending", 2026, 2)]


@pytest.mark.parametrize("stage", ["extended", "hardened"])
def test_growth_that_was_checked_may_move_again(stage):
    diary = Diary()
    diary.look("1 Apr 2026", "budbreak")
    checked = diary.look("10 Jun 2026", stage, checked=True)
    assert diary.look("25 Jun 2026", "extending").id == checked.id
    with pytest.raises(StageOrderError):
        diary.look("30 Jun 2026", "budbreak")


def test_hard_leaves_may_be_checked_as_well():
    diary = Diary()
    hard = diary.look("5 Jun 2026", "hardened")
    assert diary.look("20 Jun 2026", "hardened", checked=True).id == hard.id


def test_tips_that_merely_go_on_need_no_look():
    diary = Diary()
    diary.look("5 Jun 2026", "hardened")
    with pytest.raises(StageOrderError, match=r"tips that merely go on .* need no new look"):
        diary.look("20 Jun 2026", "extending")


def test_vague_dates_that_overlap_contradict_nothing():
    tree = Diary()
    tree.look("about 4 July 2026", "hardened", kind="happened")
    tree.look("6 July 2026", "extended")
    assert tree.numbers() == [("extended", 2026, 1), ("hardened", 2026, 1)]


def test_a_lost_flush_ends_and_the_next_growth_is_a_new_one():
    tree = Diary()
    tree.look("10 Apr 2026", "extending", lost=True)
    flush = next(iter(tree.flushes.values()))
    assert (flush.ended_on, flush.ended_why) == (date(2026, 4, 10), "lost")
    tree.look("12 May 2026", "budbreak")
    assert tree.numbers() == [("extending", 2026, 1), ("budbreak", 2026, 2)]


def test_partial_work_leaves_two_flushes_side_by_side():
    tree = Diary()
    tree.look("4 Jun 2026", "extended")
    tree.work("6 Jun 2026", "partial-defoliation")
    tree.look("20 Jun 2026", "budbreak")  # the outer canopy
    tree.look("20 Jun 2026", "hardened", part="inside")
    assert sorted(tree.numbers()) == [
        ("budbreak", 2026, 2),
        ("extended", 2026, 1),
        ("hardened", 2026, 1),
    ]
    assert all(f.ended_on is None for f in tree.flushes.values())


def test_work_on_the_top_alone_takes_looks_at_the_top():
    tree = Diary()
    tree.look("4 Jun 2026", "hardened")
    tree.work("6 Jun 2026", "cutback", part="top")
    tree.look("24 Jun 2026", "budbreak", part="top")
    tree.look("24 Jun 2026", "hardened", part="bottom")
    assert sorted(tree.numbers())[0] == ("budbreak", 2026, 2)
    assert [n for s, _, n in tree.numbers() if s == "hardened"] == [1, 1]


def test_pinching_again_before_anything_breaks_wakes_the_same_flush_later():
    tree = Diary()
    tree.look("4 May 2026", "extending")
    first = tree.work("5 May 2026", "pinching").flush
    again = tree.work("12 May 2026", "pinching").flush
    assert again.id == first.id and again.started_on == date(2026, 5, 12)
    assert len(tree.flushes) == 2


def test_work_written_down_late_adopts_the_bud_break_that_answered_it():
    tree = Diary()
    tree.look("4 Jun 2026", "hardened")
    seen = tree.look("20 Jun 2026", "budbreak", new_flush=True)
    woken = tree.work("6 Jun 2026", "cutback").flush
    assert woken.id == seen.id
    assert (woken.started_by, woken.started_on) == ("work", date(2026, 6, 6))


def test_work_on_a_tree_never_looked_at_still_leaves_its_first_flush_on_record():
    tree = Diary()
    tree.work("6 Jun 2026", "cutback")
    assert [(f.started_by, f.ended_why) for f in tree.flushes.values()] == [
        ("work", None),
        ("season", "cutback"),
    ]
    tree.look("20 Jun 2026", "budbreak")
    assert tree.numbers() == [("budbreak", 2026, 2)]


def test_looks_already_written_down_after_the_work_move_to_its_flush():
    tree = Diary()
    tree.look("20 May 2026", "extending")
    tree.look("24 Jun 2026", "extending")
    tree.work("1 Jun 2026", "cutback")
    assert [n for _, _, n in tree.numbers()] == [1, 2]


def test_cuts_on_a_leafless_tree_wake_nothing_by_themselves():
    tree = Diary()
    assert "buds had not broken" in tree.work("10 Feb 2026", "cutback").why_not
    tree.look("20 Oct 2026", "turning")
    assert "rests until spring" in tree.work("1 Nov 2026", "cutback").why_not


def test_a_look_in_the_future_is_refused():
    tree = Diary(today=date(2026, 7, 4))
    with pytest.raises(LookError, match="5 Jul 2026 is in the future"):
        tree.look("5 Jul 2026", "hardened")


@pytest.mark.parametrize(
    "calendar, when, stage, season",
    [
        (NORTH, "10 Jan 2027", "bare", 2026),
        (NORTH, "10 Jan 2027", "hardened", 2026),  # an evergreen's old leaves
        (NORTH, "10 Jan 2027", "dormant", 2027),
        (NORTH, "20 Dec 2026", "dormant", 2027),
        (NORTH, "20 Mar 2027", "budbreak", 2027),
        (NORTH, "20 Apr 2027", "hardened", 2027),
        (SOUTH, "10 Jan 2027", "hardened", 2026),  # midsummer, across new year
        (SOUTH, "20 Dec 2026", "extended", 2026),
        (SOUTH, "10 Jun 2027", "dormant", 2027),
        (SOUTH, "10 Jul 2027", "bare", 2026),
        (SOUTH, "10 Sep 2027", "budbreak", 2027),
    ],
)
def test_the_turn_of_the_season_is_not_a_wall(calendar, when, stage, season):
    tree = Diary(calendar)
    assert tree.look(when, stage).season == season


def test_a_southern_season_keeps_its_flushes_together_across_new_year():
    tree = Diary(SOUTH)
    tree.look("20 Sep 2026", "budbreak")
    tree.look("10 Dec 2026", "hardened")
    tree.work("12 Dec 2026", "cutback")
    tree.look("4 Jan 2027", "budbreak")
    tree.look("20 Feb 2027", "hardened")
    assert [(season, n) for _, season, n in tree.numbers()] == [(2026, 1)] * 2 + [(2026, 2)] * 2


def test_a_flush_woken_late_carries_on_over_the_turn():
    tree = Diary()
    tree.look("1 Aug 2026", "hardened")
    tree.work("10 Oct 2026", "cutback")
    tree.look("1 Nov 2026", "budbreak")
    assert tree.look("10 Jan 2027", "extending").season == 2026
    assert tree.look("20 Jan 2027", "dormant").season == 2027


def test_winter_looks_lead_into_the_spring_flush():
    tree = Diary()
    tree.look("20 Oct 2026", "turning")
    tree.look("20 Nov 2026", "bare")
    winter = tree.look("15 Dec 2026", "dormant")
    assert tree.look("3 Apr 2027", "budbreak").id == winter.id


def test_a_file_that_numbers_its_flushes_is_followed():
    tree = Diary()
    tree.look("4 Jun 2026", "hardened", number=1)
    tree.look("20 Jun 2026", "budbreak", number=2)
    tree.look("20 Jul 2026", "hardened", number=2)
    assert [n for _, _, n in tree.numbers()] == [1, 2, 2]
    with pytest.raises(LookError, match="flush 5 of 2026 has no flush 4 before it"):
        tree.look("20 Aug 2026", "budbreak", number=5)


@given(
    st.lists(
        st.tuples(st.integers(60, 300), st.sampled_from(list(Stage)[2:6])),
        min_size=1,
        max_size=8,
        unique_by=lambda x: x[0],
    )
)
@settings(max_examples=80)
def test_stages_never_run_backwards_within_a_flush_whatever_order_looks_come_in(looks):
    tree = Diary()
    for day, stage in looks:
        when = (date(2025, 12, 31) + timedelta(days=day)).isoformat()
        try:
            tree.look(when, stage)
        except StageOrderError:
            tree.look(when, stage, new_flush=True)
    by_flush = {}
    for look in sorted(tree.looks.values(), key=lambda k: k.latest):
        rank = stage_rank(look.stage)
        assert rank >= by_flush.get(look.flush_id, -1)
        by_flush[look.flush_id] = rank
