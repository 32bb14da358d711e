"""`flushcast shoot` and `flushcast canopy`."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from phenology.work.shoot import described, how_far
from reports.views.shoot_picture import svg_picture, text_picture
from tests.reports.demo import demo_folder, flushcast


def test_three_answers_give_a_cut_with_a_drawing():
    done = flushcast("shoot", "--budless", "--first", "out", "--second", "in", "--not-long")
    assert done.returncode == 0, done.stderr
    assert "Cut just above leaf 2; one leaf with a bud stays." in done.stdout
    assert "cut here" in done.stdout and "no bud" in done.stdout and "branch" in done.stdout
    assert "sharp blades" in done.stderr and "Halve outer leaves" in done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 100


def test_without_answers_and_without_a_terminal_it_says_what_is_missing():
    done = flushcast("shoot")
    assert done.returncode == 2 and "--first and --second" in done.stderr


def test_a_species_brings_its_pairs_and_its_sap():
    maple = flushcast("shoot", "trident maple", "--no-budless", "--first", "left", "--second", "left")
    assert "pair 1" in maple.stdout
    fig = flushcast("shoot", "common fig", "--no-budless", "--first", "left", "--second", "out")
    assert "sap" in fig.stderr.casefold() and "leaf 2" in fig.stdout
    assert "Halve" not in fig.stderr  # figs are not halved
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
    assert "may not grow again before spring" in " ".join(beech.stderr.split())


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


def test_internodes_are_drawn_to_scale_and_the_cut_runs_clear_of_what_stays():
    """The cut used to cross leaves that stay, and every internode was drawn alike."""
    for text in ("up 8; up 20; out 12", "out no bud; left 8; in 20; out 12", "left+right 30; out+in 6"):
        leaves = described(text)
        cut = how_far(leaves)
        svg = svg_picture(leaves, cut)
        y = {float(at) for at in re.findall(r"translate\(\d+ ([\d.]+)\)", svg)}
        at = sorted(y, reverse=True)
        lengths = [leaf.internode for leaf in leaves]
        base = float(re.search(r'class="wood" x1="80" y1="(\d+)"', svg)[1])
        for drawn, length in zip(np.diff([base, *at]), lengths, strict=True):
            if length:
                assert -drawn / length == pytest.approx((base - at[0]) / (lengths[0] or 9.0), rel=0.05)
        ends = re.search(r'class="wood" x1="170" y1="(\d+)" x2="210" y2="(\d+)" stroke-width="3"', svg)
        assert (
            max(map(float, ends.groups())) < at[cut.after - 1] - 14
        )  # 20 px out a leaf has risen 14 at most


def test_the_svg_shows_on_dark_ground_and_its_labels_name_the_sides_as_drawn():
    svg = svg_picture(pairs := described("out+in; left+right"), how_far(pairs))
    assert "prefers-color-scheme:dark" in svg and ">1: in + out<" in svg and ">2: left + right<" in svg


def test_a_file_that_cannot_be_written_is_one_sentence(tmp_path: Path):
    done = flushcast("shoot", "--leaves", "out; left", "--svg", tmp_path / "none" / "s.svg")
    assert done.returncode == 1 and done.stderr.startswith("flushcast: ")


def test_canopy_says_what_halving_brings():
    done = flushcast("canopy", "--above", 45000, "--inside", 20000)
    assert "44% of the light reaches the inside" in done.stdout and "50% more than now" in done.stdout
    figures = json.loads(flushcast("canopy", "--above", 45000, "--inside", 20000, "--json").stdout)
    assert figures["gain"] == 0.5 and figures["depth"] == 0.8109
    assert "brighter than above" in flushcast("canopy", "--above", 1, "--inside", 2).stderr
