"""Names that may only be one of a few: they are text wherever they are stored or printed."""

from __future__ import annotations

import re
from enum import StrEnum

from phenology.model.errors import UnknownNameError


class Name(StrEnum):
    """Base of the fixed names of records; an unknown one raises `UnknownNameError`."""

    @classmethod
    def _missing_(cls, value: object) -> None:
        what = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", cls.__name__).lower()
        near = [str(name) for name in cls if name.startswith(str(value)[:2].lower())]
        raise UnknownNameError(what, str(value), near)
