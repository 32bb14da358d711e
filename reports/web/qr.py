"""QR codes: of the pairing address, and of each tree for a label on its pot."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import segno

if TYPE_CHECKING:
    from markupsafe import Markup


def terminal_qr(url: str) -> str:
    """A code drawn with half blocks, for the terminal."""
    out = io.StringIO()
    segno.make(url, error="l", micro=False).terminal(out, compact=True)
    return out.getvalue().rstrip("\n")


def drawn_qr(url: str, words: str) -> Markup:
    """A code as a drawing inside a page, with the words that say what it is."""
    from markupsafe import Markup

    made = segno.make(url, error="m", micro=False)
    svg = made.svg_inline(scale=4, border=2, omitsize=True, dark="#000", light="#fff")
    return Markup('<svg role="img" aria-label="{}" {}').format(words, Markup(svg.removeprefix("<svg ")))
