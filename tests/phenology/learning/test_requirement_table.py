"""A requirement as DataFrames."""

from __future__ import annotations

from datetime import date

import pytest

from data_sources.demo.climate import synthetic_weather
from phenology import RequirementModel, SeasonCalendar, SeasonWeather, Wait
from phenology.learning.calibration import average_requirement
from phenology.learning.requirement_table import clock_table, species_table

WEATHER = synthetic_weather(date(2019, 1, 1), date(2024, 12, 31), 47.0, seed=5)


@pytest.fixture(scope="module")
def fitted():
    record = SeasonWeather.cut(WEATHER, SeasonCalendar())
    thermal_time = {("", season): clocks for season, clocks in record.thermal_time(range(2020, 2024)).items()}
    waits = [
        Wait(species, tree, season, False, (110.0, 114.0), (end, end + 5.0))
        for species, tree, end in (("Ulmus parvifolia", "elm", 160.0), ("Fagus crenata", "beech", 170.0))
        for season in range(2020, 2024)
    ]
    waits.append(Wait("Fagus crenata", "beech 2", 2023, False, (110.0, 114.0), (150.0, float("inf"))))
    return RequirementModel(lambda species: (40.0, 0.3)).fit(waits, thermal_time)


def test_a_species_is_a_row_with_what_it_rests_on(fitted) -> None:
    summary = species_table(fitted).set_index("species")
    assert summary.loc["Fagus crenata", ["waits", "unfinished", "trees", "seasons"]].tolist() == [5, 1, 2, 4]
    middle, low, high = average_requirement(fitted, "Fagus crenata")
    row = summary.loc["Fagus crenata"]
    assert (row["days_at_18c"], row["days_at_18c_p10"], row["days_at_18c_p90"]) == (middle, low, high)
    assert row["prior_share"] == fitted.prior_share("Fagus crenata") < 0.5
    assert summary.loc["Ulmus parvifolia", "days_at_18c"] < middle


def test_clocks_stand_in_the_order_of_their_shares(fitted) -> None:
    clocks = clock_table(fitted)
    assert clocks["share"].is_monotonic_decreasing
    assert clocks[["prior", "share"]].sum().tolist() == pytest.approx([1.0, 1.0])
    assert set(clocks["clock"]) == {clock.name for clock in fitted.model.clocks}


def test_without_waits_there_is_no_row() -> None:
    assert species_table(RequirementModel(lambda species: (40.0, 0.3)).fit([], {})).empty
