"""Requirements of a whole garden: what is learned from, what is borrowed, and by which way."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from phenology.learning.garden_fit import GardenFit, Stride
from phenology.learning.transitions import Transition, prior_of_transition
from phenology.model.records import Place
from phenology.model.season import SeasonCalendar
from phenology.model.shared_calibration import SharedCalibration, SharedClimate
from tests.phenology.gardens import BEECH, ELM, MAPLE, Records, weather

END = date(2020, 12, 31)
STEP, WHOLE = Transition("extended", "hardened"), Transition("budbreak", "hardened")


def garden(*seasons: int, slow: float = 0.0) -> Records:
    records = Records()
    records.tree("elm")
    records.tree("maple", MAPLE)
    for i, season in enumerate(seasons):
        shift = (0, 3, -2, 5, 1)[i % 5]
        records.a_season("elm", season, 100 + shift, 130 + shift, 160 + shift + slow)
    return records


def test_without_records_the_requirement_is_the_catalogues():
    records = garden()
    fit = GardenFit(records.garden(END))
    prediction = fit.requirement(STEP).predict(ELM, "elm", 2020, False, 130.0)
    days, _ = prior_of_transition(fit.garden.species[ELM], STEP)
    assert np.exp(prediction.mean) == pytest.approx(days)
    assert fit.waits(STEP) == []
    assert fit.requirement(STEP).prior_share(ELM) == 1


def test_own_seasons_move_it_and_neighbours_of_other_species_a_little():
    quick, slow = (GardenFit(garden(2015, 2016, 2017, 2018, slow=s).garden(END)) for s in (0, 10))
    means = {
        species: [
            (p := f.requirement(STEP).predict(species, "x", 2020, False, 130.0)).weight @ p.mean
            for f in (quick, slow)
        ]
        for species in (ELM, MAPLE)
    }
    assert means[ELM][1] - means[ELM][0] > 0.2
    assert 0.01 < means[MAPLE][1] - means[MAPLE][0] < 0.9 * (means[ELM][1] - means[ELM][0])


def test_what_records_do_not_touch_is_learned_once():
    records = garden(2017, 2018)
    one = records.garden(END)
    fitted = GardenFit(one).requirement(STEP)
    bud = records.seen("maple", 2018, (98, "dormant"), (103, "budbreak"))
    other = one.with_records({"maple": (records.flushes[-1:], records.looks[-2:])})
    assert GardenFit(other).requirement(STEP) is fitted
    assert len(GardenFit(other).requirement(Transition("start", "budbreak")).waits) == 3
    for n, stage in ((130, "extending"), (134, "extended"), (150, "extended"), (160, "hardened")):
        records.look(bud, n, stage)
    other = one.with_records({"maple": (records.flushes[-1:], records.looks[-6:])})
    assert len(GardenFit(other).requirement(STEP).waits) == 3


@pytest.mark.parametrize(
    "what, other",
    [
        ("as_of", date(2020, 12, 30)),
        ("weather", {"bench": weather(45.0, seed=4)}),
        ("places", [Place("bench", "Bench", 50.0, 7.0)]),
        ("species", {}),
        ("calendar", SeasonCalendar(2, 1)),
        ("shared", [SharedCalibration("0" * 16, "anna", SharedClimate(45.0, 0.0, 20.0), ())]),
    ],
)
def test_it_is_learned_anew_in_other_surroundings(what, other):
    one = garden(2017, 2018).garden(END)
    fitted = GardenFit(one).requirement(STEP)
    assert GardenFit(replace(one)).requirement(STEP) is fitted
    assert GardenFit(replace(one, **{what: other})).requirement(STEP) is not fitted


def test_seasons_seen_are_those_seen_to_the_end():
    records = garden(2017, 2018)
    flush = records.flush("elm", 2019)
    for n, stage in ((130, "extending"), (134, "extended"), (150, "extended")):
        records.look(flush, n, stage)
    fit = GardenFit(records.garden(END))
    assert fit.seasons_seen(ELM, STEP) == {2017, 2018}
    assert {w.season for w in fit.waits(STEP)} == {2017, 2018, 2019}


def test_seasons_before_the_weather_begins_are_left_out():
    fit = GardenFit(garden(1990, 2017).garden(END))
    assert {w.season for w in fit.waits(STEP)} == {2017}
    fit.requirement(STEP)


def test_step_by_step_where_the_steps_are_known():
    records = garden(2017, 2018)
    fit = GardenFit(records.garden(END))
    links = fit.chain(records.trees[0], "budbreak")
    assert [link.wait for link in links] == list(WHOLE.links())
    assert not any(link.strides for link in links)
    assert fit.seasons_known(ELM, WHOLE) == 2


def test_hardening_dates_alone_are_believed_from_the_seasons_start():
    records = Records()
    records.tree("elm")
    for season in range(2014, 2018):
        records.look(records.flush("elm", season), 158, "hardened", kind="happened", until=162)
    whole = Transition("start", "hardened")
    assert GardenFit(records.garden(END)).chain(records.trees[0], "start")[-1].strides == (
        Stride(whole, 1.0),
    )
    for season in (2016, 2017):  # the more of its seasons the steps tell, the less the whole adds to them
        for n, stage in ((98, "dormant"), (102, "budbreak"), (126, "extending"), (130, "extended")):
            records.look(next(f.id for f in records.flushes if f.season == season), n, stage)
    assert GardenFit(records.garden(END)).weight(ELM, whole) == 0.5


def test_a_step_that_no_look_tells_from_its_beginning_gives_way_to_the_whole():
    records = Records()
    records.tree("elm")
    for season in range(2014, 2018):  # nobody writes down the waiting after a cut, only grown leaves
        work = records.work("elm", season, 150, "cutback")
        flush = records.flush("elm", season, "work", started_on=records.works[-1].latest, work_id=work)
        for n, stage in ((200, "extended"), (215, "extended"), (222, "hardened")):
            records.look(flush, n, stage)
    fit = GardenFit(records.garden(END))
    woken = Transition("work", "budbreak")
    assert fit.seasons_seen(ELM, woken) == set()
    assert fit.weight(ELM, Transition("work", "extended")) == 1
    assert fit.weight(ELM, Transition("work", "hardened")) == 0  # work to extended, and on: both are known


def running_on(*seasons: int, species: str = ELM) -> Records:
    """A tree always seen to go on until the look that finds the leaves that stay hard."""
    records = Records()
    records.tree("elm", species)
    for season in seasons:
        flush = records.flush("elm", season)
        for n, stage in ((98, "dormant"), (102, "budbreak"), (130, "extending"), (155, "extending")):
            records.look(flush, n, stage)
        records.look(flush, 162, "hardened")
    return records


@pytest.mark.parametrize(
    ("seasons", "species", "runs_on"),
    [
        ((2018, 2019), ELM, True),
        ((2019,), ELM, False),  # once is no habit
        ((2018, 2019), BEECH, False),  # a fixed grower stops, seen or not
    ],
)
def test_shoots_that_never_stop_are_known_by_two_flushes(seasons, species, runs_on):
    fit = GardenFit(running_on(*seasons, species=species).garden(END))
    tree = fit.garden.trees[0]
    assert fit.runs_on(tree) is runs_on
    extended, hardened = fit.chain(tree, "budbreak")
    assert hardened.wait == (WHOLE if runs_on else STEP)
    assert extended.wait == Transition("budbreak", "extended")


def test_a_tree_once_seen_to_stop_does_not_run_on():
    records = running_on(2017, 2018)
    records.a_season("elm", 2019, 100, 130, 160)
    fit = GardenFit(records.garden(END))
    assert not fit.runs_on(fit.garden.trees[0])


def test_a_tree_that_runs_on_teaches_nothing_of_when_shoots_stop():
    fit = GardenFit(running_on(2018, 2019).garden(END))
    assert fit.waits(STEP) == fit.waits(Transition("budbreak", "extended")) == []
    assert len(fit.waits(WHOLE)) == 2
