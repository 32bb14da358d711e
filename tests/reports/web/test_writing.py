"""Looks and work from the phone: three taps, once, with undo, whoever else writes."""

from __future__ import annotations

import io
import re
from concurrent.futures import ThreadPoolExecutor
from html import unescape

import pytest
from PIL import Image

from data_sources.garden import open_journal
from data_sources.journal.store import Journal
from data_sources.journal_questions import newest_of_trees
from data_sources.look_photos import photo_path
from reports.web.uploads import LONGEST, plain_photo
from tests.reports.bench import Bench
from tests.reports.web.site import HIDDEN, Phone, words

GPS, EXIF_PART, TAKEN = 0x8825, 0x8769, 0x9003


def a_photo(width: int = 2400, height: int = 1200, kind: str = "JPEG") -> bytes:
    """A photo as a phone takes it: with the day, the place, the owner."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0112], exif[0x013B] = "Maker", 6, "Owner"
    exif.get_ifd(EXIF_PART)[TAKEN] = "2026:07:04 18:12:01"
    exif.get_ifd(GPS)[2] = (47.0, 12.0, 0.0)
    out = io.BytesIO()
    Image.new("RGB", (width, height), "green").save(out, kind, exif=exif)
    return out.getvalue()


def test_a_look_is_three_taps(phone: Phone) -> None:
    assert f"/look?tree={phone.tree('Elm 1')}" in phone.get("/look").text
    path = f"/look?tree={phone.tree('Elm 1')}"
    page = phone.get(path)
    assert "Shoots stopped" in page.text and "leaves firm and springing back" in page.text
    saved = phone.post("/look", phone.form(path) | {"stage": "extending", "leaves": "5,6"})
    (look,) = phone.looks()
    assert (look.stage, look.leaves, str(look.latest)) == ("extending", "5,6", "2026-07-25")
    after = phone.get(saved.headers["location"])
    assert "Elm 1: extending" in words(after) and "Undo" in after.text


def test_undo_takes_back_that_look_and_no_other(phone: Phone) -> None:
    path = f"/look?tree={phone.tree('Elm 1')}"
    saved = phone.post("/look", phone.form(path) | {"stage": "extending"})
    batch = saved.headers["location"].rpartition("/")[2]
    Bench(phone.folder).does("look", "Hornbeam 1", "soft")
    assert "Take that back first" in words(phone.post("/undo", {"batch": batch}))
    Bench(phone.folder).does("undo")
    assert phone.post("/undo", {"batch": batch}).status_code == 200
    assert phone.looks() == []
    assert "taken back already" in words(phone.post("/undo", {"batch": batch}))


def test_a_double_tap_writes_once_and_a_retry_after_undo_writes_nothing(phone: Phone) -> None:
    path = f"/look?tree={phone.tree('Elm 1')}"
    form = phone.form(path) | {"stage": "extending"}
    with ThreadPoolExecutor(4) as many:
        answers = list(many.map(lambda _: phone.post("/look", form), range(4)))
    assert {a.status_code for a in answers} == {303}
    assert len({a.headers["location"] for a in answers}) == 1
    assert len(phone.looks()) == 1
    phone.post("/undo")
    again = Phone(phone.folder).post("/look", form)  # sent again to a server started anew
    assert again.headers["location"] == answers[0].headers["location"] and phone.looks() == []


def test_a_form_written_while_its_double_is_planned_does_not_stand_against_it(
    phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    form = phone.form(f"/look?tree={phone.tree('Elm 1')}") | {"stage": "extending"}
    answers: list[str] = []

    def overtaken(journal: Journal, trees: tuple[str, ...]) -> int:
        monkeypatch.setattr("reports.web.writing.newest_of_trees", newest_of_trees)
        answers.append(Phone(phone.folder).post("/look", form).headers["location"])
        return newest_of_trees(journal, trees)

    monkeypatch.setattr("reports.web.writing.newest_of_trees", overtaken)
    assert phone.post("/look", form).headers["location"] == answers[0]
    assert len(phone.looks()) == 1


def test_phones_and_the_command_line_write_at_once_and_lose_nothing(phone: Phone) -> None:
    elm = phone.tree("Elm 1")

    def tap(n: int) -> int:
        form = {
            "tree": elm,
            "stage": "extending",
            "note": f"tap {n}",
            "leaves": str(n + 1),
            "token": f"{n:08d}",
        }
        return phone.post("/look", form).status_code

    with ThreadPoolExecutor(8) as many:
        taps = many.map(tap, range(8))
        for n in range(4):
            Bench(phone.folder).does("look", "Hornbeam 1", "soft", "--leaves", n + 1, "--yes")
        assert set(taps) == {303}
    assert len(phone.looks()) == 12


def test_a_stale_form_shows_both_versions(phone: Phone) -> None:
    path = f"/look?tree={phone.tree('Elm 1')}"
    form = phone.form(path) | {"stage": "extended"}
    Bench(phone.folder).does("look", "Elm 1", "soft")
    both = phone.post("/look", form)
    assert both.status_code == 409
    assert "look: Elm 1: extending" in words(both) and "look: Elm 1: extended" in words(both)
    assert len(phone.looks()) == 1
    sent = dict(HIDDEN.findall(both.text))
    assert phone.post("/look", sent).status_code == 303
    assert {str(look.stage) for look in phone.looks()} == {"extending", "extended"}


def test_a_vague_date_is_asked_about_and_what_cannot_stand_is_told(phone: Phone) -> None:
    path = f"/look?tree={phone.tree('Elm 1')}"
    asked = phone.post("/look", phone.form(path) | {"stage": "budbreak", "when": "about 20 April"})
    assert "16-24 Apr" in words(asked) and "Save?" in words(asked) and phone.looks() == []
    sent = dict(HIDDEN.findall(asked.text))
    (yes,) = re.findall(r'name="agreed" value="([^"]*)"', asked.text)
    assert phone.post("/look", sent | {"agreed": unescape(yes)}).status_code == 303
    wrong = phone.post("/look", phone.form(path) | {"stage": "budbreak", "when": "1 December 2026"})
    assert wrong.status_code == 422 and "future" in words(wrong)
    assert phone.post("/look", phone.form(path)).status_code == 422
    assert len(phone.looks()) == 1


def test_several_trees_in_one_look(phone: Phone) -> None:
    page = phone.get("/look?q=hornbeam")
    assert "All 2 of these together" in words(page)
    both = [phone.tree("Hornbeam 1"), phone.tree("Hornbeam 2")]
    phone.post("/look", {"tree": both, "stage": "soft", "token": "12345678"})
    assert {look.tree_id for look in phone.looks()} == set(both)


def test_work_asks_may_i_and_writes_only_then(phone: Phone) -> None:
    path = f"/work?tree={phone.tree('Elm 1')}"
    form = phone.form(path) | {"operation": "cutback"}
    answer = phone.post("/work", form)
    assert "Elm 1:" in words(answer) and "Nothing is written down yet" in words(answer)
    assert "Elm 1: cutback" not in words(phone.get("/history"))
    saved = phone.post("/work", dict(HIDDEN.findall(unescape(answer.text))))
    assert saved.status_code == 303
    assert "Elm 1: cutback" in words(phone.get("/history"))


def test_what_the_rules_say_no_to_is_read_once_and_a_year_that_is_open_is_asked(phone: Phone) -> None:
    path = f"/work?tree={phone.tree('Hornbeam 1')}"
    form = phone.form(path) | {"operation": "full-defoliation", "note": "sick"}
    page = phone.post("/work", form)
    assert "Hornbeam 1: no." in words(page)
    assert phone.post("/work", dict(HIDDEN.findall(unescape(page.text)))).status_code == 303
    form = phone.form(path) | {"operation": "feeding", "when": "1 August", "asked": "1"}
    asked = phone.post("/work", form)
    assert "Is 1 Aug 2025 meant?" in words(asked)


def test_a_look_is_corrected_in_place_once_and_undone(phone: Phone) -> None:
    Bench(phone.folder).does("look", "Elm 1", "soft", "--note", "windy", "--part", "top", "--leaves", "5,6")
    (look,) = phone.looks()
    path = f"/entries/look/{look.id}"
    assert f'href="{path}"' in phone.get(f"/trees/{look.tree_id}").text
    page = phone.get(path).text
    assert 'value="extending" required checked' in page and 'value="windy"' in page and "selected>top" in page
    as_it_stands = {"stage": "extending", "leaves": "5,6", "note": "windy", "part": "top", "kind": "seen"}
    form = phone.form(path) | as_it_stands | {"when": look.date_text}
    assert phone.post(path, form).headers["location"] == f"/trees/{look.tree_id}"  # nothing to correct
    form |= {"stage": "extended", "when": "yesterday", "note": "", "part": ""}
    saved = phone.post(path, form)
    (now,) = phone.looks()
    assert (now.id, now.stage, str(now.latest), now.leaves) == (look.id, "extended", "2026-07-24", "5,6")
    assert now.note is None and now.part is None and now.flush_id == look.flush_id
    assert "was extending" in words(phone.get(saved.headers["location"]))
    assert phone.post(path, form).headers["location"] == f"/trees/{look.tree_id}"  # sent twice
    phone.post("/undo", {"batch": saved.headers["location"].rpartition("/")[2]})
    assert phone.looks() == [look]
    wrong = phone.post(path, phone.form(path) | as_it_stands | {"when": "1 December 2026"})
    assert wrong.status_code == 422 and phone.looks() == [look]


def test_a_correction_of_what_was_corrected_meanwhile_shows_both(phone: Phone) -> None:
    Bench(phone.folder).does("look", "Elm 1", "soft")
    (look,) = phone.looks()
    path = f"/entries/look/{look.id}"
    form = phone.form(path) | {"stage": "extended", "when": look.date_text, "kind": "seen", "note": "mine"}
    Bench(phone.folder).does("look", "--correct", look.id, "swelling", "--note", "theirs")
    both = phone.post(path, form)
    assert both.status_code == 409 and "swelling" in words(both) and "extended" in words(both)
    assert [str(one.stage) for one in phone.looks()] == ["swelling"]
    assert phone.post(path, dict(HIDDEN.findall(both.text))).status_code == 303
    (now,) = phone.looks()
    assert (str(now.stage), now.note) == ("extended", "mine")
    Bench(phone.folder).does("look", "--remove", look.id)
    assert "not on record any more" in words(phone.post(path, form))


def test_work_is_corrected_too(phone: Phone) -> None:
    Bench(phone.folder).does("look", "Elm 1", "firm", "--date", "2026-07-01")
    Bench(phone.folder).does("work", "Elm 1", "cutback", "--early", "--date", "2026-07-20", "--yes")
    with open_journal(phone.folder) as journal:
        (work,) = journal.works()
    path = f"/entries/work/{work.id}"
    form = phone.form(path) | {"operation": "halving", "when": "2026-07-21", "part": "inside"}
    assert phone.post(path, form).headers["location"].startswith("/saved/")
    with open_journal(phone.folder) as journal:
        (now,) = journal.works()
    assert (now.id, now.operation, str(now.latest), now.part) == (work.id, "halving", "2026-07-21", "inside")
    assert not now.early  # the box was not ticked any more


def test_what_was_written_is_taken_out_and_brought_back(phone: Phone) -> None:
    Bench(phone.folder).does("look", "Elm 1", "soft")
    (look,) = phone.looks()
    gone = phone.post(f"/entries/look/{look.id}/remove")
    assert phone.looks() == [] and "took out look" in words(phone.get(gone.headers["location"])).lower()
    phone.post("/undo")
    assert phone.looks() == [look]


def test_a_tree_tells_newest_first_and_of_one_day_the_work_then_the_further_stage(phone: Phone) -> None:
    bench = Bench(phone.folder)
    bench.does("look", "Elm 1", "soft", "--date", "2026-06-20")
    for stage in ("extended", "firm"):
        bench.does("look", "Elm 1", stage, "--date", "2026-07-04")
    bench.does("work", "Elm 1", "cutback", "--date", "2026-07-04")
    told = words(phone.get(f"/trees/{phone.tree('Elm 1')}")).partition("Looks and work")[2]
    order = [told.index(name) for name in ("Cutback", "Hard", "Shoots stopped", "Lengthening")]
    assert order == sorted(order)


def test_the_round_goes_tree_after_tree(phone: Phone) -> None:
    Bench(phone.folder, "2026-07-01").does("look", "Elm 1", "soft")
    Bench(phone.folder, "2026-07-01").does("look", "Hornbeam 1", "soft")
    first = phone.get("/round")
    form = phone.form("/round")
    assert form["after"] == "round"
    saved = phone.post("/look", form | {"stage": "extended"})
    assert saved.headers["location"].startswith("/round?saved=")
    then = phone.get(saved.headers["location"])
    assert words(then) != words(first) and "Undo that" in then.text
    assert form["tree"] not in then.text
    passed = phone.get(f"/round?passed={phone.form('/round').get('tree', '')}")
    assert passed.status_code == 200


def test_a_photo_keeps_its_day_and_loses_its_place(phone: Phone) -> None:
    path = f"/look?tree={phone.tree('Elm 1')}"
    form = phone.form(path) | {"stage": "extending"}
    phone.post("/look", form, files={"photo": ("leaf.jpg", a_photo(), "image/jpeg")})
    (look,) = phone.looks()
    with Image.open(photo_path(phone.folder, look.id)) as kept:
        assert kept.size == (LONGEST // 2, LONGEST)  # upright, and smaller
        exif = kept.getexif()
        assert dict(exif) == {EXIF_PART: exif[EXIF_PART]} and not exif.get_ifd(GPS)
        assert exif.get_ifd(EXIF_PART) == {TAKEN: "2026:07:04 18:12:01"}
    raw = photo_path(phone.folder, look.id).read_bytes()
    assert b"Owner" not in raw and b"Maker" not in raw
    shown = phone.get(f"/photos/{look.id}")
    assert shown.headers["content-type"] == "image/jpeg" and shown.content == raw
    assert f"/photos/{look.id}" in phone.get("/leaves").text


def test_photos_go_along_with_backups_and_exports_and_come_back(phone: Phone, tmp_path) -> None:
    bench = Bench(phone.folder)
    form = phone.form(f"/look?tree={phone.tree('Elm 1')}") | {"stage": "extending"}
    phone.post("/look", form, files={"photo": ("leaf.jpg", a_photo(60, 40), "image/jpeg")})
    (look,) = phone.looks()
    kept = photo_path(phone.folder, look.id)
    photo = kept.read_bytes()
    assert "1 photo copied beside it" in bench.does("backup", tmp_path / "safe.backup").words
    bench.does("backup")
    bench.does("export", tmp_path / "out")
    for source in ((tmp_path / "safe.backup",), ()):
        kept.unlink()
        assert "1 photo beside it" in bench.does("restore", *source).out and not kept.exists()
        bench.does("restore", *source, "--yes")
        assert kept.read_bytes() == photo
    Bench(tmp_path / "new").does("init", tmp_path / "new", "--from", tmp_path / "out")
    assert photo_path(tmp_path / "new", look.id).read_bytes() == photo


@pytest.mark.parametrize(
    "body", [b"GIF89a not one", b"%PDF-1.7", b"", a_photo(20, 20)[:200], a_photo(9000, 9000)]
)
def test_what_is_no_photo_is_refused_and_nothing_is_saved(body: bytes) -> None:
    from phenology.model.errors import InputError

    with pytest.raises(InputError, match="photo"):
        plain_photo(body)
