"""Numbers of things, as they are read: "1 tree", "3 trees"."""

from __future__ import annotations

_ONE = {
    "flushes": "flush",
    "days of weather": "day of weather",
    "calibrations of others": "calibration of others",
}


def counted(n: int, plural: str) -> str:
    """A number of things.

    Examples
    --------
    >>> counted(1, "trees"), counted(9829, "days"), counted(1, "flushes")
    ('1 tree', '9,829 days', '1 flush')
    """
    return f"{n:,} {_ONE.get(plural, plural.removesuffix('s')) if n == 1 else plural}"
