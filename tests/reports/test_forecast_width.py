"""The printed forecast of very many trees, on narrow terminals, and of some trees only."""

from __future__ import annotations

import os
from datetime import date
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

from phenology.advice.agenda import Section, State, make_agenda
from phenology.advice.alike import alike
from phenology.advice.garden_forecast import forecast_garden
from phenology.model.records import Aim
from phenology.species.catalogue import load_species
from reports.views.forecast_text import at_words, forecast_text
from reports.views.words import tree_names
from tests.phenology.gardens import Records, day
from tests.reports.demo import FEW, demo_folder, flushcast, own_demo

TREES, SPECIES, TWO_SCREENS = 200, 16, 100


@cache
def nursery() -> Records:
    """Two hundred trees of sixteen species, some looked at often and some never."""
    rng, records, catalogue = np.random.default_rng(5), Records(), load_species()
    stages = ((90, "dormant"), (100, "budbreak"), (130, "extended"), (155, "hardened"))
    for n in range(TREES):
        latin = sorted(catalogue)[n % SPECIES]
        name = records.tree(f"{catalogue[latin].name.capitalize()} {n // SPECIES + 1}", latin)
        if n % 9 == 0:
            records.aims.append(Aim(f"a{n}", name, "building"))
        shift = float(rng.normal(0, 6)) + 1.5 * (n % SPECIES)
        if n < 60:
            records.a_season(name, 2019, 95 + shift, 125 + shift, 150 + shift)
        flush = records.flush(name, 2020)
        for at, stage in stages:
            if rng.random() < 0.7:
                records.look(flush, int(at + shift), stage)
    return records


@pytest.mark.parametrize("n", [pytest.param(120, marks=pytest.mark.slow), 200])
def test_two_hundred_trees_fit_two_screens_and_none_is_missing(n):
    agenda = make_agenda(forecast_garden(nursery().garden(day(2020, n))))
    lines = forecast_text(agenda).splitlines()
    assert len(lines) <= TWO_SCREENS
    text = " ".join(forecast_text(agenda, 100_000).split("\n"))
    groups = [group.labels for part in Section for group in alike(agenda.of(part), coarse=True)]
    assert sorted(label for labels in groups for label in labels) == sorted(t.label for t in nursery().trees)
    assert all(f"{tree_names(labels)}: " in text for labels in groups)


@pytest.mark.parametrize("columns", [40, *(pytest.param(n, marks=pytest.mark.slow) for n in (60, 80, 120))])
def test_no_line_is_wider_than_the_terminal(columns, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(columns))
    garden = own_demo(tmp_path, trees=FEW)
    for words in ("forecast --changes", "round", "windows", "look azalea stopped", "check beech cutback"):
        done = flushcast(*words.split(), "--garden", garden)
        assert done.returncode == 0, done.stderr
        widest = max(map(len, (done.stdout + done.stderr).splitlines()))
        assert widest <= columns
        assert columns > 60 or widest > columns - 12  # and the width is used


@pytest.mark.parametrize(
    "vague, words", [(False, "buds swelling on 24 Mar"), (True, "buds swelling by 24 Mar")]
)
def test_a_vague_date_is_told_as_the_day_by_which_it_was(vague, words):
    state = State("swelling", on=date(2026, 3, 24), vague=vague)
    assert at_words(SimpleNamespace(rows=[SimpleNamespace(state=state)])) == words


def test_some_trees_are_told_in_full():
    asked = flushcast("forecast", "hornbeams", "--garden", demo_folder())
    assert asked.returncode == 0, asked.stderr
    words = " ".join(asked.stdout.split())
    assert "Hornbeam" in words and "Beech:" not in words and "halve the outer leaves" in words
    garden = demo_folder(trees=FEW)
    table = flushcast("forecast", "hornbeams", "--csv", "--garden", garden).stdout.splitlines()
    assert len(table) > 1 and all(line.startswith("Hornbeam") for line in table[1:])
    unknown = flushcast("forecast", "hornbems", "--garden", garden)
    assert unknown.returncode == 1 and "Did you mean Hornbeam" in unknown.stderr


def test_a_caution_is_said_once_a_day_and_never_in_data(tmp_path):
    garden = own_demo(tmp_path, trees=FEW)
    data = flushcast("forecast", "--json", "--garden", garden, today="2026-06-14").stdout
    first, second = (flushcast("forecast", "--garden", garden, today="2026-06-14").stdout for _ in "ab")
    assert "the leaf decides" in first and "How this is reckoned" in first
    assert "the leaf decides" not in second and "How this is reckoned" not in second
    assert first.startswith(second.rstrip())
    assert "the leaf decides" in flushcast("forecast", "--garden", garden, today="2026-06-15").stdout
    assert flushcast("forecast", "--json", "--garden", garden, today="2026-06-14").stdout == data


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="needs a folder that cannot be written")
def test_a_garden_that_cannot_be_written_still_forecasts(tmp_path):
    garden = own_demo(tmp_path, trees=FEW)
    garden.chmod(0o555)
    try:
        for _ in range(2):
            done = flushcast("forecast", "--garden", garden)
            assert done.returncode == 0 and "the leaf decides" in done.stdout
    finally:
        garden.chmod(0o755)


def test_a_round_of_a_day_gone_by(tmp_path):
    garden = own_demo(tmp_path, trees=FEW)  # where cautions count as said today
    done = flushcast("round", "--as-of", "2026-05-15", "--garden", garden)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Round of Fri 15 May 2026")
    refused = flushcast("round", "--as-of", "2026-05-15", "--read", "x.csv", "--garden", garden)
    assert refused.returncode == 2
