"""A shoot and where to cut it, drawn in letters and as SVG."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from phenology.work.shoot import Cut, Leaf

_MIDDLE = 22  # column of the stem


def text_picture(leaves: Sequence[Leaf], cut: Cut) -> str:
    """The shoot standing on its branch, tip up; `o` is a bud, outward to the right."""
    lines = [_row(f"{'':{_MIDDLE}}:", "tip")]
    for number in range(len(leaves), 0, -1):
        leaf, gone = leaves[number - 1], number > cut.after
        if number == cut.after:
            lines.append(_row(f"{'':{_MIDDLE - 6}}- - - / - - -", "cut here"))
        stem = ":" if gone else "|"
        left, right = "", ""
        for way in leaf.points:
            if way in ("in", "left", "down"):
                left = f"{way} <{'~~' if gone else '=='}{'o' if leaf.bud else ' '}"
            else:
                right = f"{'o' if leaf.bud else ' '}{'~~' if gone else '=='}> {way}"
        note = "" if leaf.bud else "no bud"
        lines.append(_row(f"{number:>3} {left:>{_MIDDLE - 4}}{stem}{right}", note))
        lines.append(f"{'':{_MIDDLE}}{stem}")
    lines.append(f"{'':{_MIDDLE - 8}}{'=' * 17} branch")
    return "\n".join(line.rstrip() for line in lines)


def _row(drawn: str, note: str) -> str:
    return f"{drawn:<{_MIDDLE + 18}}{note}" if note else drawn


_TURN = {"out": -35, "right": -10, "up": -70, "in": 215, "left": 190, "down": 145}
_GAP, _WIDTH, _FOOT = 56, 320, 50


def svg_picture(leaves: Sequence[Leaf], cut: Cut) -> str:
    """The same as an SVG of its own, readable without colour; title and description speak it."""
    height = _FOOT + _GAP * (len(leaves) + 1)
    base, x = height - _FOOT, _WIDTH // 2
    parts = []
    cut_y = base - _GAP * cut.after - _GAP // 2
    top = base - _GAP * len(leaves) - _GAP // 2
    parts.append(_line(x, base, x, cut_y, "#4a3728", 6))
    parts.append(_line(x, cut_y, x, top, "#9a8f86", 4, dashed=True))
    parts.append(_line(x - 110, base, x + 110, base, "#4a3728", 12))
    for number, leaf in enumerate(leaves, start=1):
        y = base - _GAP * number
        gone = number > cut.after
        for way in leaf.points:
            turn = _TURN[way]
            fill = "#c9d3c4" if gone else "#3f7d4e"
            parts.append(
                f'<g transform="translate({x} {y}) rotate({turn})"><ellipse cx="46" cy="0" rx="34" ry="13" '
                f'fill="{fill}" stroke="#2c4a33"/><line x1="0" y1="0" x2="78" y2="0" stroke="#2c4a33"/>'
                + ('<circle cx="8" cy="-7" r="5" fill="#8c2f39"/>' if leaf.bud else "")
                + "</g>"
            )
        words = f"{number}: {' + '.join(leaf.points)}{'' if leaf.bud else ', no bud'}"
        parts.append(f'<text x="8" y="{y + 4}" font-size="13" fill="#222">{escape(words)}</text>')
    parts.append(_line(x - 46, cut_y + 9, x + 46, cut_y - 9, "#111", 3, dashed=True))
    parts.append(f'<text x="{x + 54}" y="{cut_y}" font-size="14" fill="#111">cut here</text>')
    said = escape(f"Cut after leaf {cut.after}. {' '.join(cut.why)} {cut.next}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" width="{_WIDTH}" '
        f'height="{height}" role="img" font-family="sans-serif">\n<title>Where to cut this shoot</title>\n'
        f"<desc>{said}</desc>\n" + "\n".join(parts) + "\n</svg>\n"
    )


def _line(x1: int, y1: int, x2: int, y2: int, colour: str, width: int, *, dashed: bool = False) -> str:
    dash = ' stroke-dasharray="6 5"' if dashed else ""
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="{colour}" stroke-width="{width}"{dash}/>'
