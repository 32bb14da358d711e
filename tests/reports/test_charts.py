"""Charts are drawn off screen, say in words what they show, and are dark where they matter without colour."""

from __future__ import annotations

import colorsys
import xml.etree.ElementTree as ET
from datetime import date
from functools import cache

import matplotlib
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from phenology.advice.agenda import make_agenda
from phenology.advice.garden_forecast import forecast_garden
from phenology.learning.garden_fit import GardenFit
from phenology.model.track_record import first_hardenings
from reports.charts.ink import INK, PALE, RULE, WASH
from reports.charts.learned_charts import (
    describe_calibration,
    describe_past,
    plot_calibration,
    plot_past,
    plot_reliability,
    season_weights,
)
from reports.charts.tree_charts import (
    describe_garden,
    describe_ripening,
    describe_tree,
    plot_garden,
    plot_ripening,
    plot_tree,
)
from reports.charts.weather_charts import describe_seasons, plot_seasons
from tests.reports.bench import Bench
from tests.reports.demo import DAY, FEW, demo_folder, demo_past, own_demo
from tests.reports.opened import read_garden
from tests.reports.pages import crowd, unseen

matplotlib.use("Agg")


@cache
def garden():
    return read_garden(demo_folder(), DAY)[0]


@cache
def forecast():
    return forecast_garden(garden())


@cache
def past():
    return [one for one in first_hardenings(demo_past()) if one.species == "Fagus crenata"]


def words_on(ax):
    return [t.get_text() for t in (*ax.get_yticklabels(), *ax.texts)] + [
        ax.get_xlabel(),
        ax.get_title(loc="left"),
    ]


def legend(ax):
    return [t.get_text() for t in ax.get_legend().get_texts()]


def test_the_garden_has_a_row_for_each_tree_as_the_agenda_has_it():
    ax = plot_garden(forecast())
    labels = [t.get_text() for t in ax.get_yticklabels()]
    assert labels == [row.tree.label for row in make_agenda(forecast()).rows]
    assert {"by 29 Jun", "likely late", "too late", "note only"} <= set(words_on(ax))
    assert "Hornbeams 1 and 2" in describe_garden(forecast()) and "stop by 29 Jun" in describe_garden(
        forecast()
    )


@pytest.mark.slow
def test_a_species_guess_is_called_one_and_a_crowd_is_counted():
    few = forecast_garden(
        crowd(unseen(read_garden(demo_folder(date(2026, 1, 20)), date(2026, 1, 20))[0]), 40)
    )
    ax = plot_garden(few)
    said = describe_garden(few)
    assert "probably" not in said and ", a guess" in said
    assert len(said) < 2500 and len(ax.get_yticklabels()) == 8  # a line a species


def test_one_tree_never_looked_at_gets_a_guess_that_is_called_one():
    day = date(2026, 1, 20)
    quiet = forecast_garden(unseen(read_garden(demo_folder(day), day)[0]))
    tree = quiet.garden.trees[0]
    assert "the same, a guess" in legend(plot_tree(quiet, tree))
    said = describe_tree(quiet, tree)
    assert ", a guess" in said and "probably" not in said
    parts = said.split("; ")
    assert len(set(parts)) == len(parts) > 1
    assert "the same, a guess" not in legend(plot_tree(forecast(), forecast().garden.trees[0]))


def test_a_chart_is_drawn_where_it_is_asked_to_be():
    axes = Figure().subplots(1, 2)
    assert plot_seasons(garden(), axes[0]) is axes[0]
    assert plot_reliability(past(), axes[1]) is axes[1]


def test_a_past_season_seen_only_from_afar_is_no_diamond(tmp_path):
    bench = Bench(own_demo(tmp_path, trees=FEW), today=str(DAY))
    bench.does("tree", "add", "Lone elm", "Ulmus parvifolia")
    bench.does("look", "lone elm", "budbreak", "--date", "2025-04-10", "--kind", "seen")
    bench.does("look", "lone elm", "turning", "--date", "2025-10-20")
    garden, _ = read_garden(bench.folder, DAY)
    tree = next(t for t in garden.trees if t.label == "Lone elm")
    ax = plot_tree(forecast_garden(garden), tree)
    assert not [line for line in ax.lines if line.get_marker() == "D" and len(line.get_xdata())]


def test_one_trees_season_names_its_flushes_and_work():
    tree = next(t for t in garden().trees if t.label == "Hornbeam 1")
    said = words_on(plot_tree(forecast(), tree))
    assert {"flush 1: hard", "flush 2: hard"} <= set(said)
    assert any("cutback" in text for text in said)
    assert "flush 2 probably hard" in describe_tree(forecast(), tree)


def test_calibration_shows_every_step_with_its_seasons():
    fit = GardenFit(garden())
    said = words_on(plot_calibration(fit, "Fagus crenata"))
    assert "bud break to extended" in said and "5 seasons" in said
    assert "the catalogue guessed" in describe_calibration(fit, "Fagus crenata")


def test_calibration_draws_each_wait_once_and_every_species_in_a_row():
    """Waits used to lie on four lanes, under a hill of the catalogue's guess."""
    fit = GardenFit(garden())
    ax = plot_calibration(fit)
    labels = [t.get_text() for t in ax.get_yticklabels()]
    assert "trident maple, bud break to extended" in labels and len(labels) == len(set(labels)) > 20
    assert len(ax.collections) == 0  # no hill
    lanes = {round(y - 0.76) for line in ax.lines if line.get_marker() == "o" for y in line.get_ydata()}
    assert len(lanes) == len(labels)
    assert "Acer buergerianum, bud break to extended" in describe_calibration(fit)


def test_ripening_falls_through_the_odds_asked_at_the_stop():
    beech = next(t for t in garden().trees if t.label == "Beech")
    ax = plot_ripening(garden(), beech)
    curve = next(line for line in ax.lines if len(line.get_xdata()) > 50)
    odds, stop = np.array(curve.get_ydata()), next(t.get_text() for t in ax.texts)
    assert (np.diff(odds) < 0.005).all() and odds.max() <= 1
    told = next(r for r in make_agenda(forecast()).rows if r.tree.label == "Beech").last_safe
    assert stop == f"stop by {told.day} Jun" and "Stop by 29 Jun" in describe_ripening(garden(), beech)
    azalea = next(t for t in garden().trees if t.label == "Azalea")  # its bloom says when to stop
    assert "Stop by" not in describe_ripening(garden(), azalea)
    assert np.interp(told.toordinal(), curve.get_xdata(), odds) == pytest.approx(0.9, abs=0.02)


def test_reliability_shows_counts_and_a_band():
    ax = plot_reliability(past())
    flushes = len({(p.tree, p.season) for p in past()})
    assert [t.get_text().split(" of ")[1] for t in ax.texts] == [str(flushes)] * 4
    assert len(ax.collections) == 1 and "honest forecasters" in ax.get_xlabel()


def test_the_fan_of_warmth_opens_from_today():
    ax = plot_seasons(garden())
    _, outer, inner = ax.collections
    widths = [np.ptp(c.get_paths()[0].vertices[:, 1]) for c in (outer, inner)]
    left = [c.get_paths()[0].vertices[:, 0].min() for c in (outer, inner)]
    assert widths[0] > widths[1] and left == [pytest.approx(garden().today, abs=1)] * 2


def test_text_stays_text_and_an_svg_has_inks_for_the_dark_and_says_whose_it_is(tmp_path):
    Bench(demo_folder(), today=DAY.isoformat()).does("chart", "garden", "--out", tmp_path / "g.svg")
    svg = (tmp_path / "g.svg").read_text(encoding="utf-8")
    assert ">Hornbeam 1</text>" in svg and "Larkfield (invented), Sun 14 Jun 2026</text>" in svg
    assert "prefers-color-scheme: dark" in svg and INK in svg


def test_past_forecasts_say_how_far_off_they_were():
    ax = plot_past(past())
    assert ax.get_xlim()[0] > ax.get_xlim()[1] == 0  # time runs to the event
    assert "days off on average" in describe_past(past())
    assert season_weights(past()).sum() == pytest.approx(1)
    assert "no finished seasons" in plot_past([]).get_title(loc="left")
    assert "no finished seasons" in describe_past([])


def test_degree_days_follow_the_gardens_units():
    celsius, fahrenheit = (plot_seasons(garden(), units=u) for u in "CF")
    assert fahrenheit.get_ylim()[1] == pytest.approx(1.8 * celsius.get_ylim()[1], rel=0.02)
    assert "41 °F" in fahrenheit.get_ylabel()
    assert "over 30 past seasons: 5 days ahead of usual" in describe_seasons(garden())


def test_one_hue_in_four_strengths():
    """Nothing is told by colour alone: all inks are blue, and they differ in lightness."""
    hues = [colorsys.rgb_to_hsv(*to_rgb(c))[0] for c in (INK, WASH, PALE, RULE)]
    assert max(hues) - min(hues) < 0.05 and min(hues) > 0.55
    grey = [
        sum(w * v for w, v in zip((0.299, 0.587, 0.114), to_rgb(c), strict=True)) for c in (INK, WASH, PALE)
    ]
    assert grey[1] - grey[0] > 0.2 and grey[2] - grey[1] > 0.2


def test_svg_and_png_are_written_with_their_words(tmp_path):
    bench = Bench(demo_folder(), today=DAY.isoformat())
    said = bench.does("chart", "seasons", "--out", tmp_path / "s.svg").words
    title = ET.parse(tmp_path / "s.svg").getroot().find("{http://www.w3.org/2000/svg}title")
    assert title is not None and title.text and title.text in said
    bench.does("chart", "calibration", "--species", "beech", "--out", tmp_path / "c.png")
    png = (tmp_path / "c.png").read_bytes()
    assert png.startswith(b"\x89PNG") and b"Description" in png


@pytest.mark.parametrize(
    "asked",
    [["seasons", "--out", "s.pdf"], ["tree", "--out", "t.svg"],
     ["garden", "--species", "elm", "--out", "g.svg"],
     ["ripening", "--out", "c.svg"], ["seasons", "--tree", "elm", "--out", "s.svg"]],
)  # fmt: skip
def test_what_does_not_go_together_is_a_usage_error(asked):
    assert Bench(demo_folder(), today=DAY.isoformat())("chart", *asked).code == 2


def test_one_tree_must_be_one_tree(tmp_path):
    bench = Bench(demo_folder(), today=DAY.isoformat())
    assert "means 3 trees" in bench.refuses(
        "chart", "tree", "--tree", "hornbeams", "--out", tmp_path / "t.svg"
    )
