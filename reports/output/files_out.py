"""Write a file whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path
from tempfile import NamedTemporaryFile

from phenology.model.errors import StoreError


def write_whole(path: Path, data: bytes) -> None:
    """Write beside the file, then take its place: a reader never sees half of it.

    Raises
    ------
    StoreError
        If the folder is not there or cannot be written.
    """
    try:
        with NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as draft:
            draft.write(data)
        os.chmod(draft.name, 0o644)
        os.replace(draft.name, path)
    except OSError as error:
        raise StoreError(f"cannot write {path}: {error.strerror or error}") from None
