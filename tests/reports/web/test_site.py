"""Every page there is: whole, light, reached; trees and settings edited; a garden begun; JSON."""

from __future__ import annotations

import shutil
import threading
from pathlib import Path

import pytest

from data_sources.garden import open_journal, read_settings
from reports.web.app import PAGES
from tests.reports.bench import Bench
from tests.reports.demo import FEW, demo_folder
from tests.reports.page_checks import tree_of, wrongs
from tests.reports.web.site import Phone, words

ASKED = [path for path, (_, methods) in PAGES.items() if "GET" in methods]
NO_PAGE = ("/style/{tag}.css", "/trees/{tree}/season.svg", "/photos/{look}", "/calendar/{secret}.ics")


def filled_in(phone: Phone, path: str, batch: str) -> str:
    """The address of a page, of a tree, look and change of the invented garden."""
    tree = phone.tree("Beech")
    with open_journal(phone.folder) as journal:
        look = journal.looks(tree)[-1]
    return path.format(tree=tree, batch=batch, kind="look", id=look.id)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Phone:
    """The invented garden, for tests that only read."""
    return Phone(Path(shutil.copytree(demo_folder(trees=FEW), tmp_path_factory.mktemp("web") / "demo")))


@pytest.fixture(scope="module")
def batch(demo: Phone) -> str:
    """A look of that garden."""
    form = {"tree": demo.tree("Beech"), "stage": "extended", "token": "abcdef01"}
    return demo.post("/look", form).headers["location"].rpartition("/")[2]


@pytest.mark.parametrize("path", [path for path in ASKED if path not in NO_PAGE])
def test_every_page_is_whole_and_light(demo: Phone, batch: str, path: str) -> None:
    page = demo.get(filled_in(demo, path, batch))
    assert page.status_code == 200, words(page)
    assert len(page.content) < 200_000
    assert wrongs(tree_of(page.text)) == []


def test_forms_are_whole_too(demo: Phone) -> None:
    tree = demo.tree("Beech")
    pages = [demo.get(f"{path}?tree={tree}") for path in ("/look", "/work")]
    pages.append(demo.post("/work", demo.form(f"/work?tree={tree}") | {"operation": "cutback"}))
    pages.append(demo.get("/look?q=nobody"))
    for page in pages:
        assert wrongs(tree_of(page.text)) == []


def test_today_is_the_morning_page_with_a_way_to_its_trees(demo: Phone) -> None:
    page = demo.get("/")
    assert "Sunday 14 June: look at" in words(page) and f"/look?tree={demo.tree('Azalea')}" in page.text
    style = page.text.rpartition('<link rel="stylesheet" href="')[2].partition('"')[0]
    assert ".blocks" in demo.get(style).text
    assert demo.get("/style/other.css").status_code == 404


def test_a_tree_tells_its_season_in_a_drawing_and_in_words(demo: Phone) -> None:
    tree = demo.tree("Crab apple")
    page = demo.get(f"/trees/{tree}")
    assert "cut shoots back to two leaves" in words(page) and "Flush 1" in words(page)
    picture = demo.get(f"/trees/{tree}/season.svg")
    assert picture.headers["content-type"] == "image/svg+xml" and b"<svg" in picture.content


def test_a_page_asked_again_makes_no_new_forecast_and_a_look_does(phone: Phone, monkeypatch) -> None:
    made = []
    from phenology.advice import garden_forecast

    real = garden_forecast.forecast_garden
    monkeypatch.setattr(garden_forecast, "forecast_garden", lambda *a, **k: made.append(1) or real(*a, **k))
    for path in ("/", "/round", f"/trees/{phone.tree('Elm 1')}", "/"):
        assert phone.get(path).status_code == 200
    assert len(made) == 1
    Bench(phone.folder).does("look", "Elm 1", "soft")  # from another hand, so it is seen here too
    made.clear()
    assert "lengthening" in words(phone.get(f"/trees/{phone.tree('Elm 1')}")).lower()
    assert len(made) == 1


def test_after_a_look_the_answer_rests_on_its_tree_and_says_what_the_whole_garden_would(
    phone: Phone, monkeypatch
) -> None:
    made = []
    from phenology.advice import garden_forecast

    real = garden_forecast._Maker.rows
    monkeypatch.setattr(
        garden_forecast._Maker,
        "rows",
        lambda self, some: made.extend(t.label for t in some) or real(self, some),
    )
    path = f"/look?tree={phone.tree('Elm 1')}"
    form = phone.form(path) | {"stage": "extending"}
    phone.get("/")
    made.clear()
    moved = phone.post("/look", form).headers["location"] + "/moved"
    first = phone.get(moved)
    assert made == ["Elm 1"] and "Before, Elm 1" in words(first) and "others=1" in first.text
    tree = words(phone.get(f"/trees/{phone.tree('Elm 1')}"))
    assert made == ["Elm 1"]
    assert "No other tree's date moved" in words(phone.get(f"{moved}?others=1"))
    assert sorted(made) == ["Elm 1", "Elm 1", "Hornbeam 1", "Hornbeam 2"]
    assert words(phone.get(moved)) == words(first)
    assert words(phone.get(f"/trees/{phone.tree('Elm 1')}")) == tree


def test_a_tree_is_added_changed_moved_retired_and_taken_back(phone: Phone) -> None:
    added = phone.post("/trees/add", {"label": "Maple 9", "species": "trident maple", "aim": "building"})
    assert "Maple 9: Acer buergerianum" in words(added)
    tree = phone.tree("Maple 9")
    form = {"do": "edit", "label": "Old maple", "species": "Acer buergerianum", "note": "sold soon"}
    assert "label Old maple" in words(phone.post(f"/trees/{tree}/edit", form))
    assert phone.post(f"/trees/{tree}/edit", {"do": "aim", "aim": "refining"}).status_code == 200
    phone.post(f"/trees/{tree}/edit", {"do": "retire"})
    assert "Old maple" not in words(phone.get("/look"))
    phone.post(f"/trees/{tree}/edit", {"do": "back"})
    assert "Old maple" in words(phone.get("/look"))
    phone.post(f"/trees/{tree}/edit", {"do": "remove"})
    with open_journal(phone.folder) as journal:
        assert len(journal.trees()) == 3
    assert "Did you mean" in words(phone.post("/trees/add", {"label": "x", "species": "tridant maple"}))


def test_an_edit_of_a_tree_that_was_changed_meanwhile_shows_both(phone: Phone) -> None:
    tree = phone.tree("Elm 1")
    form = phone.form(f"/trees/{tree}/edit") | {
        "label": "Elm 1",
        "species": "Ulmus parvifolia",
        "note": "mine",
    }
    form["do"] = "edit"
    Bench(phone.folder).does("tree", "edit", "Elm 1", "--note", "theirs")
    both = phone.post(f"/trees/{tree}/edit", form)
    assert both.status_code == 409 and "theirs" in words(both) and 'value="mine"' in both.text


def test_a_setting_is_changed_by_the_rules_of_the_command(phone: Phone) -> None:
    assert "units: F (was C)" in words(phone.post("/settings", {"name": "units", "value": "F"}))
    assert read_settings(phone.folder).units == "F"
    assert phone.post("/settings", {"name": "units", "value": "K"}).status_code == 422


def test_labels_lead_to_the_look_of_their_tree(phone: Phone) -> None:
    assert phone.get("/labels").text.count("<svg") == 3


def test_weather_is_updated_with_progress(phone: Phone, monkeypatch) -> None:
    from data_sources.weather.update import UpdateReport

    def update(_garden, _places, *, progress, announce):
        progress("history", 0, 30)
        announce("asked a station")
        yield UpdateReport(["30 years fetched"], coverage="1996 to 2026")

    monkeypatch.setattr("reports.web.garden_pages.update_places", update)
    assert "No weather yet" in words(phone.get("/weather"))
    phone.post("/weather")
    for thread in threading.enumerate():
        if thread.name == "weather":
            thread.join()
    assert "asked a station 30 years fetched 1996 to 2026" in words(phone.get("/weather"))


def test_a_garden_is_begun_and_what_is_not_understood_is_asked_again(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv("FLUSHCAST_TODAY", "2026-07-25")
    phone = Phone(tmp_path / "new")
    assert phone.get("/").headers["location"] == "/start"
    form = {"town": "Springfield", "trees": "chinese elm\nOld one = tridant maple\nchinese elm", "units": "F"}
    asked = phone.post("/start", form)
    assert "Which one?" in words(asked) and "Springfield" in words(asked)
    form["which"] = "0"
    asked = phone.post("/start", form)
    assert "Did you mean trident maple?" in words(asked) and "Old one = tridant maple" in asked.text
    form["trees"] = form["trees"].replace("tridant", "trident")
    assert phone.post("/start", form).headers["location"] == "/start/now"
    with open_journal(tmp_path / "new") as journal:
        trees = {tree.label: tree for tree in journal.trees()}
    assert set(trees) == {"Chinese elm 1", "Chinese elm 2", "Old one"}
    assert read_settings(tmp_path / "new").units == "F"
    elm = trees["Chinese elm 1"].id
    now = {"token": "12345678", f"at-{elm}": "extending", f"done-{elm}": "cutback", f"when-{elm}": "1 July"}
    assert phone.post("/start/now", now).headers["location"] == "/"
    assert [str(look.stage) for look in phone.looks()] == ["extending"]
    assert "Chinese elm 1" in words(phone.get("/"))


def test_the_invented_garden_is_one_tap_away_and_keeps_to_its_own_address(tmp_path: Path) -> None:
    phone = Phone(tmp_path / "new")
    assert phone.post("/demo").headers["location"] == "/demo/"
    page = phone.get("/demo/more")
    assert 'href="/demo/look"' in page.text and 'href="/look"' not in page.text
    assert phone.get("/").headers["location"] == "/start"


def test_the_api_looks_works_tells_and_takes_back(phone: Phone) -> None:
    client = phone.client
    key = {"key": "aaaaaaaa-1"}
    look = client.post("/api/look", json={"trees": "hornbeams", "stage": "soft", **key}).json()
    assert look["said"].startswith("Hornbeam 1, Hornbeam 2: extending")
    assert (
        client.post("/api/look", json={"trees": "hornbeams", "stage": "soft", **key}).json()["change"]
        == look["change"]
    )
    assert len(phone.looks()) == 2
    work = client.post(
        "/api/work", json={"trees": "Elm 1", "operation": "cut back", "when": "yesterday"}
    ).json()
    assert "No look says" in work["said"] or "Elm 1: cutback" in work["said"]
    agenda = client.get("/api/agenda").json()
    assert agenda["schema"] == "flushcast.agenda/1" and len(agenda["rows"]) == 3
    assert client.get("/api/forecast").json()["schema"] == "flushcast.forecast/1"
    assert client.post("/api/undo", json={"change": look["change"]}).status_code == 422
    assert client.post("/api/undo", json={}).json()["said"].startswith("Took back: work: Elm 1")
    wrong = client.post("/api/look", json={"trees": "oak", "stage": "soft"})
    assert wrong.status_code == 422 and "oak" in wrong.json()["error"]
    assert client.post("/api/look", json={"trees": "Elm 1"}).json() == {"error": "body.stage: Field required"}


def test_south_of_the_equator_seasons_carry_both_years(tmp_path: Path, monkeypatch) -> None:
    from tests.reports.bench import new_bench

    monkeypatch.setenv("FLUSHCAST_TODAY", "2026-12-05")
    phone = Phone(new_bench(tmp_path / "garden", lat="-37.8", lon="145.0").folder)
    assert "season 2026/27" in words(phone.get("/"))
