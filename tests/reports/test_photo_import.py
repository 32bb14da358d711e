"""`flushcast import` of photos. Today is Saturday 25 July 2026."""

from __future__ import annotations

import pytest
from PIL import Image

from data_sources.garden import open_journal
from tests.reports.bench import new_bench


@pytest.fixture
def bench(tmp_path):
    return new_bench(tmp_path / "garden")


@pytest.fixture
def photos(tmp_path):
    folder = tmp_path / "photos"
    folder.mkdir()

    def add(name, day):
        exif = Image.Exif()
        if day:
            exif.get_ifd(0x8769)[0x9003] = f"{day.replace('-', ':')} 12:00:00"
        Image.new("RGB", (2, 2)).save(folder / name, exif=exif)
        return folder

    return add


def looks(bench):
    with open_journal(bench.folder) as journal:
        return journal.looks()


def test_a_folder_becomes_one_look_a_day_and_tree_seen_by_then(bench, photos):
    photos("1.jpg", "2026-05-02")
    photos("2.jpg", "2026-05-02")
    folder = photos("3.jpg", "2026-05-20")
    answer = bench.does("import", folder, "--tree", "hornbeams", "--stage", "soft", "--who", "me")
    assert answer.words == (
        "2 May 2026: Hornbeam 1, Hornbeam 2: extending (1.jpg, 2.jpg). "
        "20 May 2026: Hornbeam 1, Hornbeam 2: extending (3.jpg). "
        "3 photos: 4 new looks. Undo: flushcast undo"
    )
    assert {(k.kind, k.stage, k.who, k.note) for k in looks(bench)} == {
        ("seen", "extending", "me", "photo 1.jpg, 2.jpg"),
        ("seen", "extending", "me", "photo 3.jpg"),
    }
    assert "Nothing new" in bench.does("import", folder, "--tree", "hornbeams", "--stage", "soft").words
    bench.does("undo")
    assert looks(bench) == []


def test_a_dry_run_changes_nothing(bench, photos):
    told = bench.does(
        "import", photos("1.jpg", "2026-05-02"), "--tree", "Elm 1", "--dry-run", "--stage", "soft"
    )
    assert "Only checked; nothing was changed." in told.words
    assert looks(bench) == []


def test_without_a_terminal_tree_and_stage_must_be_said(bench, photos):
    answer = bench("import", photos("1.jpg", "2026-05-02"), "--stage", "soft")
    assert answer.code == 2 and "--tree hornbeams --stage soft" in answer.err


def test_at_a_terminal_each_day_is_asked_for(bench, photos, monkeypatch):
    monkeypatch.setattr("reports.cli.writing.import_command.may_ask", lambda: True)
    photos("1.jpg", "2026-05-02")
    photos("2.jpg", "2026-05-20")
    folder = photos("3.jpg", "2026-06-10")
    typed = "hornbeams sotf\nhornbeams soft; elm 1 breaking\n\nelm 1 still going\n"
    answer = bench("import", folder, input=typed)
    assert answer.code == 0
    assert "there is no stage called 'sotf'" in answer.words
    assert "2 photos: 4 new looks." in answer.words
    assert sorted((str(k.latest), k.stage) for k in looks(bench)) == [
        ("2026-05-02", "budbreak"),
        ("2026-05-02", "extending"),
        ("2026-05-02", "extending"),
        ("2026-06-10", "extending"),
    ]


def test_photos_without_a_day_are_named_and_left_out(bench, photos):
    photos("1.jpg", "2026-05-02")
    folder = photos("sent.jpg", None)
    told = bench.does("import", folder, "--tree", "Elm 1", "--stage", "soft").words
    assert "left out sent.jpg: it holds no date of the shot" in told and "1 photo: 1 new look" in told
    alone = bench.refuses("import", folder / "sent.jpg", "--tree", "Elm 1", "--stage", "soft")
    assert "none of these photos tells the day" in alone


def test_a_camera_ahead_of_its_time_is_refused(bench, photos):
    folder = photos("1.jpg", "2027-05-02")
    told = bench.refuses("import", folder, "--tree", "Elm 1", "--stage", "soft")
    assert "1.jpg: read '2027-05-02'; this day is still to come" in told
    assert looks(bench) == []


def test_looks_that_contradict_are_all_told_and_none_saved(bench, photos):
    bench.does("look", "hornbeams", "firm", "--date", "1 May")
    photos("1.jpg", "2026-05-02")
    folder = photos("2.jpg", "2026-05-20")
    told = bench.refuses("import", folder, "--tree", "hornbeams", "--stage", "soft")
    assert "4 looks cannot be read; nothing was changed." in told and "--new-flush" in told
    assert len(looks(bench)) == 2


def test_photos_and_tables_do_not_mix(bench, photos, tmp_path):
    table = tmp_path / "looks.csv"
    table.write_text("date,tree,stage\n2026-05-01,Elm 1,soft\n")
    assert bench("import", photos("1.jpg", "2026-05-02"), table).code == 2
    assert bench("import", table, "--stage", "soft").code == 2
