"""`flushcast shoot` and `flushcast canopy`."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path

from phenology.work.shoot import described, how_far
from reports.text.shoot_picture import svg_picture, text_picture
from tests.reports.demo import demo_folder, flushcast


def test_three_answers_give_a_cut_with_a_drawing():
    done = flushcast("shoot", "--budless", "--first", "out", "--second", "in", "--not-long")
    assert done.returncode == 0, done.stderr
    assert "Cut just above leaf 2; one leaf with a bud stays." in done.stdout
    assert "cut here" in done.stdout and "no bud" in done.stdout and "branch" in done.stdout
    assert "sharp blades" in done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 100


def test_without_answers_and_without_a_terminal_it_says_what_is_missing():
    done = flushcast("shoot")
    assert done.returncode == 2 and "--first and --second" in done.stderr


def test_a_species_brings_its_pairs_and_its_sap():
    maple = flushcast("shoot", "trident maple", "--no-budless", "--first", "left", "--second", "left")
    assert "pair 1" in maple.stdout
    fig = flushcast("shoot", "common fig", "--no-budless", "--first", "left", "--second", "out")
    assert "sap" in fig.stderr.casefold() and "leaf 2" in fig.stdout
    beech = flushcast(
        "shoot",
        "japanese beech",
        "--no-budless",
        "--first",
        "left",
        "--second",
        "out",
        "--garden",
        demo_folder(),
    )
    assert "may not grow again before spring" in beech.stderr


def test_the_picture_marks_what_goes_and_what_stays():
    leaves = described("out no bud; left; in; out")
    cut = how_far(leaves)
    rows = text_picture(leaves, cut).splitlines()
    at = next(k for k, row in enumerate(rows) if "cut here" in row)
    assert all("~~" in row for row in rows[:at] if "<" in row or ">" in row)
    assert all("==" in row for row in rows[at + 1 :] if "<" in row or ">" in row)


def test_the_svg_can_be_read_and_speaks(tmp_path: Path):
    file = tmp_path / "shoot.svg"
    done = flushcast("shoot", "--leaves", "out no bud; left 8; in 20; out 12", "--usual", "9", "--svg", file)
    assert done.returncode == 0, done.stderr
    root = ET.fromstring(file.read_text(encoding="utf-8"))
    space = "{http://www.w3.org/2000/svg}"
    assert "Cut after leaf 2" in root.find(f"{space}desc").text
    assert len(root.findall(f".//{space}ellipse")) == 4 and len(root.findall(f".//{space}circle")) == 3
    assert "cut here" in [t.text for t in root.findall(f"{space}text")]
    pairs = described("left+right; out+in")
    assert svg_picture(pairs, how_far(pairs)).count("<ellipse") == 4


def test_a_file_that_cannot_be_written_is_one_sentence(tmp_path: Path):
    done = flushcast("shoot", "--leaves", "out; left", "--svg", tmp_path / "none" / "s.svg")
    assert done.returncode == 1 and done.stderr.startswith("flushcast: ")


def test_canopy_says_what_halving_brings():
    done = flushcast("canopy", "--above", 45000, "--inside", 20000)
    assert "44% of the light reaches the inside" in done.stdout and "50% more than now" in done.stdout
    figures = json.loads(flushcast("canopy", "--above", 45000, "--inside", 20000, "--json").stdout)
    assert figures["gain"] == 0.5 and figures["depth"] == 0.8109
    assert "brighter than above" in flushcast("canopy", "--above", 1, "--inside", 2).stderr
