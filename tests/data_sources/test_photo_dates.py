"""When photos were taken: the camera's own word, or none."""

from __future__ import annotations

from datetime import date

import pytest
from PIL import Image

from data_sources.look_photos import find_photos, holds_photos, read_photo
from phenology.model.errors import InputError

TAKEN, DIGITIZED, SAVED = 0x9003, 0x9004, 0x0132


@pytest.fixture
def photo(tmp_path):
    def make(name="a.jpg", shot=None, saved=None):
        exif = Image.Exif()
        exif[0x010F] = "a camera"
        if shot:
            exif.get_ifd(0x8769).update(shot)
        if saved:
            exif[SAVED] = saved
        path = tmp_path / name
        Image.new("RGB", (4, 4), "green").save(path, exif=exif)
        return path

    return make


@pytest.mark.parametrize("name", ["a.jpg", "b.JPEG", "c.png", "e.webp"])
def test_the_day_of_the_shot(photo, name):
    assert read_photo(photo(name, {TAKEN: "2025:07:04 23:59:59"})).taken == date(2025, 7, 4)


def test_a_scanned_photo_counts_by_when_it_was_digitized(photo):
    assert read_photo(photo(shot={DIGITIZED: "2025:07:05 08:00:00"})).taken == date(2025, 7, 5)


@pytest.mark.parametrize(
    "text",
    ["0000:00:00 00:00:00", "    :  :     :  :  ", "2025:02:29 10:00:00", "1980:01:01 00:00:00", "yesterday"],
)
def test_a_clock_that_was_never_set_tells_no_day(photo, text):
    found = read_photo(photo(shot={TAKEN: text}))
    assert found.taken is None and "no date of the shot" in found.trouble


def test_when_a_file_was_saved_is_not_when_it_was_shot(photo):
    assert read_photo(photo(saved="2025:07:04 10:00:00")).taken is None


def test_files_that_are_no_photos_say_so(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"not a picture")
    (tmp_path / "b.heic").write_bytes(b"\0\0\0\x18ftypheic")
    assert "JPEG" in read_photo(tmp_path / "a.jpg").trouble
    assert read_photo(tmp_path / "b.heic").trouble == "HEIC photos cannot be read; save it as JPEG"
    with pytest.raises(InputError, match="there is no photo"):
        read_photo(tmp_path / "missing.jpg")


def test_a_photo_cut_short_still_tells_its_day_or_says_why_not(photo):
    path = photo(shot={TAKEN: "2025:07:04 10:00:00"})
    whole = path.read_bytes()
    for length in range(0, len(whole), 7):
        path.write_bytes(whole[:length])
        found = read_photo(path)
        assert (found.taken == date(2025, 7, 4)) != bool(found.trouble)


def test_a_folder_gives_its_photos_by_name(photo, tmp_path):
    for name in ("b.jpg", "a.png", ".hidden.jpg"):
        photo(name)
    (tmp_path / "notes.txt").write_text("x")
    assert [p.name for p in find_photos([tmp_path])] == ["a.png", "b.jpg"]
    assert holds_photos(tmp_path)
    (tmp_path / "looks.csv").write_text("date")
    assert not holds_photos(tmp_path)
