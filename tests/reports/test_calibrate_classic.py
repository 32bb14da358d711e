"""`flushcast calibrate --classic`: four textbook methods beside our own, told as what they are."""

from __future__ import annotations

import json
import math

from phenology.learning.classic import ClassicBase, ClassicRow
from phenology.learning.transitions import Transition
from reports.views.calibration_text import classic_json, classic_text
from tests.reports.demo import demo_folder, flushcast

STEP = Transition("budbreak", "extended")


def row(result: ClassicBase | None, *, method: str = "x_intercept", why_not: str = "") -> ClassicRow:
    return ClassicRow("Ulmus parvifolia", STEP, 4, 3, method, result, why_not)


def test_the_command_tells_each_step_and_that_it_is_only_for_comparison():
    answer = flushcast("calibrate", "--classic", "trident", "--garden", demo_folder())
    assert answer.returncode == 0, answer.stderr
    assert answer.stdout.count("for comparison only") == 1 and "For comparison only" in answer.stdout
    assert "Acer buergerianum" in answer.stdout and "Ulmus" not in answer.stdout
    assert "  bud break to extended, " in answer.stdout
    assert answer.stdout.count("where the rate meets nought") == 4
    assert max(map(len, answer.stdout.splitlines())) <= 80


def test_the_json_is_of_its_own_kind():
    answer = flushcast("calibrate", "--classic", "--json", "--garden", demo_folder())
    record = json.loads(answer.stdout)
    assert record["schema"] == "flushcast.classic/1" and record["for_comparison_only"] is True
    steps = {(r["species"], r["from"], r["to"]) for r in record["rows"]}
    assert ("Zelkova serrata", "budbreak", "extended") in steps


def test_where_the_records_set_no_limit_it_is_said():
    wide = ClassicBase(2.0, 300.0, 4, (-math.inf, math.inf), (150.0, math.inf))
    text = classic_text([row(wide)], "C")
    assert "2.0 (no limit)" in text and "300 (150 to no limit)" in text
    [estimate] = json.loads(classic_json([row(wide)]))["rows"][0]["estimates"]
    assert estimate["base_c_interval"] == [None, None]
    assert estimate["requirement_c_days_interval"] == [150.0, None]
    plain = row(ClassicBase(2.0, 300.0, 4), method="sd_gdd")
    [estimate] = json.loads(classic_json([plain]))["rows"][0]["estimates"]
    assert estimate["base_c_interval"] is None


def test_fahrenheit_shifts_the_base_and_scales_the_degree_days():
    text = classic_text([row(ClassicBase(10.0, 100.0, 4), method="sd_gdd")], "F")
    assert "50.0" in text and "180" in text


def test_why_there_is_no_answer_is_told():
    failed = row(None, why_not="a base needs at least 3 seasons, got 1")
    assert "at least 3 seasons" in classic_text([failed], "C")
    [record] = json.loads(classic_json([failed]))["rows"]
    assert record["estimates"] == [] and record["why_not"] == failed.why_not
    assert classic_text([], "C").startswith("No finished waits yet")
