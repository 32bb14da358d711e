"""A notebook from the phone: shown before it is saved, asked about, saved once, taken back."""

from __future__ import annotations

import io
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

import pytest

from data_sources.garden import open_journal
from phenology.model.errors import InputError
from reports.web.uploads import MOST, SECONDS, Uploads, plain_file_name
from tests.reports.bench import Bench
from tests.reports.web.site import HIDDEN, Phone, words

NOTEBOOKS = Path(__file__).parents[2] / "data_sources" / "notebooks"
LOOKS = "date,tree,stage\n2026-06-01,Elm 1,extending\n2026-06-20,Elm 1,soft\n2026-06-21,Elm 1,purple\n"


def sent(phone: Phone, body: str | bytes, name: str = "notebook.csv") -> str:
    """Where the page with the preview is, after a file was sent."""
    raw = body.encode() if isinstance(body, str) else body
    answer = phone.post("/import", files={"file": (name, raw, "application/octet-stream")})
    assert answer.status_code == 303, words(answer)
    return answer.headers["location"]


def saved(phone: Phone, path: str):
    """The page with the account, after the tap that saves."""
    answer = phone.post("/import", phone.form(path) | {"do": "save"})
    assert answer.status_code == 303, words(answer)
    return phone.get(answer.headers["location"])


def test_a_notebook_is_shown_saved_once_told_and_taken_back(phone: Phone) -> None:
    path = sent(phone, LOOKS)
    page = phone.get(path)
    assert "notebook.csv: 2 new looks." in words(page) and "Save 2 rows as shown" in words(page)
    assert "Line 2: Elm 1: extending" in words(page)
    assert "notebook.csv, line 4, column stage: read 'purple'" in words(page) and phone.looks() == []
    form = phone.form(path) | {"do": "save"}
    with ThreadPoolExecutor(4) as many:
        answers = list(many.map(lambda _: phone.post("/import", form), range(4)))
    assert {answer.status_code for answer in answers} == {303} and len(phone.looks()) == 2
    account = phone.get(path)
    assert "2 new looks" in words(account) and "1 row left out" in words(account)
    assert "read 'purple'" in words(account)
    assert phone.post("/undo", dict(HIDDEN.findall(account.text))).status_code == 200
    assert phone.looks() == [] and "All of it was taken back" in words(phone.get(path))
    phone.post("/import", form)  # sent again after it was taken back
    assert phone.looks() == []


def test_what_is_open_is_asked_in_words_of_the_page(phone: Phone) -> None:
    path = sent(phone, "date,tree,stage\n3/4/2026,Trident maple 9,open\n5/6/2026,Elm 1,soft\n")
    page = phone.get(path)
    assert "How does a date such as" in words(page) and "Save" not in words(page)
    form = phone.form(path) | {"do": "answer"}
    assert phone.post("/import", form | {"do": "save"}).status_code == 303 and phone.looks() == []
    phone.post("/import", form | {"date_order:": "sideways"})  # nothing that was offered
    assert "How does a date such as" in words(phone.get(path))
    phone.post("/import", form | {"date_order:": "day-first"})
    page = phone.get(path)
    assert "Add them?" in words(page) and "Trident maple 9: Acer" in words(page)
    assert "the garden has no such tree" in words(page) and "--" not in words(page)
    phone.post("/import", form | {"new_trees:": "yes"})
    assert "2 new looks" in words(saved(phone, path))
    assert sorted(str(look.latest) for look in phone.looks()) == ["2026-04-03", "2026-06-05"]
    assert phone.tree("Trident maple 9")


def test_columns_are_explained_on_the_page(phone: Phone) -> None:
    path = sent(phone, "x,y\n1,2\n")
    page = phone.get(path)
    assert page.status_code == 422 and "Which column is which?" in words(page) and "--" not in words(page)
    assert "Column “x” is" in words(page) and "Save" not in words(page)
    answer = phone.form(path) | {"do": "answer", "column:x": "date", "column:y": "rubbish"}
    assert phone.get(phone.post("/import", answer).headers["location"]).status_code == 422


@pytest.mark.parametrize("name", ["looks.ods", "merged-headers.xlsx", "notes 2019.csv"])
def test_what_the_page_takes_is_what_the_command_takes(phone: Phone, name: str, tmp_path: Path) -> None:
    path = sent(phone, (NOTEBOOKS / name).read_bytes(), name)
    form = phone.form(path) | {"do": "answer"}
    phone.post("/import", form | {"kind:": "seen"})
    phone.post("/import", form | {"new_trees:": "yes"})
    saved(phone, path)
    mine = phone.looks()
    assert mine
    phone.post("/undo")
    Bench(phone.folder).does(
        "import", shutil.copy(NOTEBOOKS / name, tmp_path), "--kind", "seen", "--new-trees", "--yes"
    )
    what = [[(str(one.stage), one.latest, one.kind) for one in looks] for looks in (mine, phone.looks())]
    assert sorted(what[0]) == sorted(what[1])


@pytest.mark.parametrize("n", [500, pytest.param(20_000, marks=pytest.mark.slow)])
def test_many_wrong_rows_make_a_short_page(phone: Phone, n: int) -> None:
    rows = [f"2026-06-01,Elm 1,wrong{n}" for n in range(n)]
    rows[5] = "2026-06-01,Elm 1," + "x" * 900
    page = phone.get(sent(phone, "date,tree,stage\n" + "\n".join(rows)))
    assert len(page.content) < 200_000 and f"and {n - 30:,} more" in words(page)
    huge = phone.get(sent(phone, f"date,tree,stage\n2026-06-01,Elm 1,{'x' * 300_000}\n"))
    assert len(huge.content) < 20_000 and "line 2" in words(huge)
    wide = ",".join(f"c{n}" * 20 for n in range(300))
    assert len(phone.get(sent(phone, f"{wide}\n{wide}\n")).content) < 200_000


def test_what_is_no_table_is_refused_in_words(phone: Phone) -> None:
    for body in (b"", b"\0\1\2\3" * 50, b"PK\x03\x04 no workbook", b"\xd0\xcf\x11\xe0" + bytes(600)):
        page = phone.post("/import", files={"file": ("../../etc/passwd", body, "text/csv")})
        assert page.status_code == 422 and "Traceback" not in page.text and "etc/" not in page.text
    assert "Choose a file first" in words(phone.post("/import", {"file": ""}))
    assert phone.post("/import", {"token": "no such", "do": "save"}).status_code == 422
    other = Phone(phone.folder)  # started anew: nothing is kept
    assert "choose it again" in words(other.get(sent(phone, LOOKS)))
    token = sent(phone, LOOKS)
    assert phone.post("/import", phone.form(token), headers={"origin": "http://elsewhere"}).status_code == 403


def test_others_may_write_between_showing_and_saving(phone: Phone) -> None:
    path = sent(phone, LOOKS)
    phone.get(path)
    Bench(phone.folder).does("look", "Elm 1", "extending", "--date", "2026-06-01", "--yes")
    account = words(saved(phone, path))
    assert "1 new look, 1 there already" in account
    with open_journal(phone.folder) as journal:
        assert len(journal.looks()) == 2


def test_files_wait_for_their_own_device_a_while_and_a_few_at_a_time() -> None:
    clock = [0.0]
    kept = Uploads(lambda: clock[0])
    first = kept.keep("a.csv", ("garden", "phone"), 1)
    assert kept.find(first, ("garden", "phone")).content == 1
    for owner in (("garden", "tablet"), ("demo", "phone")):
        with pytest.raises(InputError, match="choose it again"):
            kept.find(first, owner)
    more = [kept.keep("b.csv", ("garden", "phone"), n) for n in range(MOST)]
    with pytest.raises(InputError):
        kept.find(first, ("garden", "phone"))
    clock[0] = SECONDS
    with pytest.raises(InputError):
        kept.find(more[-1], ("garden", "phone"))
    assert plain_file_name("C:\\x\\..\\my\x00 notes\u202e 2019.csv") == "my notes 2019.csv"
    assert plain_file_name("../..") == ".." and plain_file_name("/") == "file"


@pytest.mark.parametrize(
    ("part", "why"),
    [(b'<c r="XFD1048576"/>', "a cell far from all others"), (b" " * 90_000, "holds more than")],
)
def test_a_workbook_that_unpacks_too_large_is_refused(
    phone: Phone, monkeypatch, part: bytes, why: str
) -> None:
    monkeypatch.setattr("data_sources.tables.notebook.LARGEST", 80_000)
    packed = io.BytesIO()
    with ZipFile(packed, "w", ZIP_DEFLATED) as book:
        book.writestr("xl/worksheets/sheet1.xml", part)
    files = {"file": ("a.xlsx", packed.getvalue(), "application/octet-stream")}
    assert why in words(phone.post("/import", files=files))
