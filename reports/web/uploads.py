"""What was sent: photos, and files that wait in memory for some minutes for the grower's answers.

A photo is written anew from its pixels, smaller and upright, so that nothing of what the camera noted comes
along but the day.
"""

from __future__ import annotations

import io
import secrets
import threading
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from time import monotonic
from typing import TYPE_CHECKING, Any

from data_sources.tables.problems import FileQuestion
from phenology.model.errors import InputError

if TYPE_CHECKING:
    from PIL import Image

LONGEST = 1600  # pixels
MOST_PIXELS = 60_000_000  # what a phone takes today, with room (ours)
KINDS = ("JPEG", "PNG", "WEBP")
_EXIF_PART, _TAKEN = 0x8769, 0x9003
MOST = 4  # files at once (ours); the oldest gives way
SECONDS = 30 * 60.0


@dataclass
class Upload:
    """A file as sent: `content` as its page takes it, answers by name of field, how it was read last, and
    what became of it once saved.

    `lock` is held while it is read or saved, so that a form sent twice is saved once.
    """

    name: str
    owner: tuple[str, str]
    since: float
    content: Any
    answers: dict[str, str] = field(default_factory=dict)
    read: Any = None
    outcome: Any = None
    lock: threading.Lock = field(default_factory=threading.Lock)


class Uploads:
    """Files that wait, by a token that cannot be guessed; each for the device that sent it."""

    def __init__(self, now: Callable[[], float] = monotonic) -> None:
        self._now, self._kept, self._lock = now, dict[str, Upload](), threading.Lock()

    def keep(self, name: str, owner: tuple[str, str], content: Any) -> str:
        """Keep a file; returns its token."""
        token = secrets.token_urlsafe(24)
        with self._lock:
            self._kept = dict(self._fresh())
            while len(self._kept) >= MOST:
                del self._kept[next(iter(self._kept))]
            self._kept[token] = Upload(name, owner, self._now(), content)
        return token

    def find(self, token: str, owner: tuple[str, str]) -> Upload:
        """The file of a token; raises `InputError` where it is kept no longer, or is somebody else's."""
        with self._lock:
            found = dict(self._fresh()).get(token)
        if found is None or found.owner != owner:
            raise InputError("this file is not kept any more, for half an hour has passed; choose it again")
        return found

    def _fresh(self) -> Iterator[tuple[str, Upload]]:
        since = self._now() - SECONDS
        return ((token, one) for token, one in self._kept.items() if one.since > since)


def plain_file_name(name: str) -> str:
    """The last part of a file's name as a browser sends it, without signs that do not print."""
    last = name.replace("\\", "/").rpartition("/")[2]
    return "".join(sign for sign in last if sign.isprintable())[-80:].strip() or "file"


# Questions -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ask:
    """A question as a page asks it: the name of its field, what it says, value and words of each choice."""

    name: str
    words: str
    choices: tuple[tuple[str, str], ...]
    first: str = ""


WORDS: dict[str, tuple[str, dict[str, str]]] = {
    "date_order": (
        "How does a date such as 4/7/2025 read in this file?",
        {"day-first": "4 July, the day first", "month-first": "April 7, the month first"},
    ),
    "kind": (
        "Dates that are not exact: what do they say of a stage?",
        {"seen": "It was seen so by then", "happened": "It came about then"},
    ),
    "units": ("Which degrees are these?", {"C": "°C", "F": "°F"}),
    "clock": ("What did the thermometer's clock show?", {"standard": "Standard time", "utc": "UTC"}),
    "new_trees": (
        "The file names trees that the garden lacks. Add them?",
        {"yes": "Yes, add them", "no": "No, leave their rows out"},
    ),
}
ROLES = {"tmin": "the minimum", "tmax": "the maximum", "temp": "the temperature", "date": "the date"}


def asked_plainly(question: FileQuestion, choices: dict[str, str] | None = None) -> Ask:
    """A question in the words of a page; `choices` where it brings none that a page can show."""
    name = f"{question.what}:{question.role}"
    if question.what in WORDS:
        words, known = WORDS[question.what]
        return Ask(name, words, tuple((choice, known[choice]) for choice in question.choices))
    given = choices or {choice: choice for choice in question.choices}
    return Ask(name, f"Which column is {ROLES.get(question.role, question.role)}?", tuple(given.items()))


def plain_photo(body: bytes) -> bytes:
    """A photo as JPEG, upright, no side longer than `LONGEST`, with nothing in it but the day it was taken.

    Raises `InputError` if it is no JPEG, PNG or WebP, is damaged, or has more than `MOST_PIXELS`.
    """
    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(body), formats=KINDS) as image:
                if image.width * image.height > MOST_PIXELS:
                    raise InputError("the photo is too large; send a smaller one")
                taken = image.getexif().get_ifd(_EXIF_PART).get(_TAKEN)
                image.draft("RGB", (LONGEST, LONGEST))
                upright = ImageOps.exif_transpose(image).convert("RGB")
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError("this is no photo that can be read; send a JPEG, PNG or WebP") from None
    upright.thumbnail((LONGEST, LONGEST))
    clean = Image.new("RGB", upright.size)
    clean.paste(upright)
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=85, exif=_only_day(taken))
    return out.getvalue()


def _only_day(taken: object) -> Image.Exif:
    from PIL import Image

    exif = Image.Exif()
    if isinstance(taken, str) and len(taken) <= 20 and taken.isascii():
        exif.get_ifd(_EXIF_PART)[_TAKEN] = taken
    return exif
