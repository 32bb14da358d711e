"""Photos of looks, in the folder `photos` beside the journal: one a look, named by its id, with its day.

Of what the camera wrote into a photo only the moment of the shot counts (EXIF 2.3, tags 0x9003 and 0x9004).
The date of the file, and the tag that editing programs rewrite (0x0132), say when it was saved, which may be
years later.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from data_sources.disk.whole_files import mode_in, write_whole
from data_sources.sqlite.errors import plain_errors
from phenology.model.errors import InputError

FOLDER = "photos"
BACKUP_FOLDER = "flushcast-photos"


def photo_path(garden: Path, look_id: str) -> Path:
    """Where the photo of a look lies; the id is one of ours, never what a client sent."""
    return garden / FOLDER / f"{look_id}.jpg"


def photo_ids(photos: Path) -> set[str]:
    """The looks of which a folder of photos holds one."""
    return {path.stem for path in photos.glob("*.jpg") if not path.name.startswith(".")}


def keep_photo(garden: Path, look_id: str, photo: bytes) -> None:
    """Write a photo; one sent twice is kept once."""
    path = photo_path(garden, look_id)
    path.parent.mkdir(mode=0o700, exist_ok=True)
    write_whole(path, photo, mode=mode_in(garden))


def photos_of_backup(backup: Path, named: bool | None = None) -> Path:
    """Where the photos of a backup lie: beside one that the grower `named`, else where all of a folder do."""
    own = backup.with_name(f"{backup.stem}-photos")
    named = own.is_dir() if named is None else named
    return own if named else backup.with_name(BACKUP_FOLDER)


def copy_photos(source: Path, to: Path) -> int:
    """Copy the photos of a folder into another one that lacks them; returns how many.

    Raises `StoreError` if one cannot be read or written; those copied before stay.
    """
    lacking = sorted(photo_ids(source) - photo_ids(to))
    with plain_errors(to, "copying photos to"):
        if lacking:
            to.mkdir(mode=0o700, exist_ok=True)
        for look_id in lacking:
            name = f"{look_id}.jpg"
            write_whole(to / name, (source / name).read_bytes(), mode=mode_in(to))
    return len(lacking)


ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif")
_EXIF_PART, _TAKEN, _DIGITIZED = 0x8769, 0x9003, 0x9004
_FIRST_YEAR = 1990
"""Cameras whose clock was never set write an earlier year, or none (ours)."""


@dataclass(frozen=True)
class Photo:
    """One photo: the day it was taken, or why that is not known."""

    path: Path
    taken: date | None
    trouble: str = ""


def is_photo(path: Path) -> bool:
    """Whether a file's name is that of a photo."""
    return path.suffix.casefold() in ENDINGS


def holds_photos(path: Path) -> bool:
    """Whether this is a photo, or a folder of photos that holds no tables."""
    if not path.is_dir():
        return is_photo(path)
    names = [p for p in path.iterdir() if not p.name.startswith(".")]
    return any(map(is_photo, names)) and not any(p.suffix.casefold() == ".csv" for p in names)


def find_photos(paths: Sequence[Path]) -> list[Path]:
    """Photos among files and straight in folders, in the order of their names; hidden files are left out.

    Raises `InputError` if a folder cannot be listed.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if not path.is_dir():
            found[path] = None
            continue
        try:
            inside = sorted(path.iterdir())
        except OSError as error:
            raise InputError(f"{path} cannot be read: {str(error.strerror).lower()}") from None
        found |= {p: None for p in inside if is_photo(p) and not p.name.startswith(".")}
    return list(found)


def read_photo(path: Path) -> Photo:
    """The day a photo was taken, by the camera's own clock. Raises `InputError` if there is no such file."""
    if not path.is_file():
        raise InputError(f"there is no photo {path}")
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # damaged tags and huge pictures: only the date is wanted
            with Image.open(path) as image:
                exif = image.getexif()
                shot = exif.get_ifd(_EXIF_PART)
                texts = [shot.get(_TAKEN), shot.get(_DIGITIZED)]
    except UnidentifiedImageError:
        kind = "HEIC photos" if path.suffix.casefold() in (".heic", ".heif") else "it"
        return Photo(path, None, f"{kind} cannot be read; save it as JPEG")
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError):
        return Photo(path, None, "the file is damaged or no photo")
    for text in texts:
        day = _day(text)
        if day is not None:
            return Photo(path, day)
    return Photo(path, None, "it holds no date of the shot, as photos from messengers often do")


def _day(text: object) -> date | None:
    """An EXIF date, "2026:07:04 18:12:01"; None for blanks, zeros, and clocks that were never set."""
    if not isinstance(text, str):
        return None
    try:
        day = datetime.strptime(text.strip("\0 ")[:10], "%Y:%m:%d").date()
    except ValueError:
        return None
    return day if day.year >= _FIRST_YEAR else None
