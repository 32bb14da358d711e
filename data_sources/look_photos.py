"""Photos of looks, in the folder `photos` beside the journal: one a look, named by its id."""

from __future__ import annotations

from pathlib import Path

from data_sources.disk.whole_files import mode_in, write_whole
from data_sources.sqlite.errors import plain_errors

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

    Raises
    ------
    StoreError
        If one cannot be read or written; those copied before stay.
    """
    lacking = sorted(photo_ids(source) - photo_ids(to))
    with plain_errors(to, "copying photos to"):
        if lacking:
            to.mkdir(mode=0o700, exist_ok=True)
        for look_id in lacking:
            name = f"{look_id}.jpg"
            write_whole(to / name, (source / name).read_bytes(), mode=mode_in(to))
    return len(lacking)
