"""Photos as phones send them: made smaller, their day kept, their place taken out.

A photo is written anew from its pixels, so that nothing of what the camera noted comes along but the day.
"""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING

from phenology.model.errors import InputError

if TYPE_CHECKING:
    from PIL import Image

LONGEST = 1600  # pixels
MOST_PIXELS = 60_000_000  # what a phone takes today, with room (ours)
KINDS = ("JPEG", "PNG", "WEBP")
_EXIF_PART, _TAKEN = 0x8769, 0x9003


def plain_photo(body: bytes) -> bytes:
    """A photo as JPEG, upright, no side longer than `LONGEST`, with nothing in it but the day it was taken.

    Raises
    ------
    InputError
        If it is no JPEG, PNG or WebP, is damaged, or has more than `MOST_PIXELS`.
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
