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
            if way in _LEFT:
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


_TURN = {"out": -25, "right": -8, "up": -35, "in": 205, "left": 188, "down": 160}
_SHORTEST, _USUAL_MM, _WIDTH, _FOOT, _TIP = 36, 9.0, 380, 40, 46
_WOOD = {"leaf": "wood", "off": "gone"}
_LEFT = ("in", "left", "down")
_STYLE = """<style>
.wood{stroke:#1f2a44}.gone{stroke:#6f7fac;stroke-dasharray:6 5}.leaf{fill:#4a5f95;stroke:#1f2a44}
.off{fill:none;stroke:#6f7fac;stroke-dasharray:4 3}.bud{fill:#fcfbf8;stroke:#1f2a44;stroke-width:2}
.ground{fill:#fcfbf8}text{fill:#1f2a44;font-size:14px}
@media (prefers-color-scheme:dark){.wood,.leaf,.bud{stroke:#e7eaf3}.gone,.off{stroke:#7b8dc0}
.bud,.ground{fill:#141925}.leaf{fill:#7b8dc0}text{fill:#e7eaf3}}
</style>"""


def svg_picture(leaves: Sequence[Leaf], cut: Cut) -> str:
    """The same as an SVG of its own, on light and dark grounds; title and description speak it.

    Internodes are to scale, ours where they were not measured; the cut runs clear of the leaves that stay.
    """
    lengths = [leaf.internode or _USUAL_MM for leaf in leaves]
    gaps = [_SHORTEST * length / min(lengths) for length in lengths]
    heights = [sum(gaps[: k + 1]) for k in range(len(gaps))]
    base, x = heights[-1] + _TIP + _TIP, _WIDTH // 2
    above = heights[cut.after] if cut.after < len(leaves) else heights[-1] + _TIP
    cut_y = base - (0.35 * heights[cut.after - 1] + 0.65 * above)  # nearer to what goes
    parts = [
        '<rect class="ground" width="100%" height="100%"/>',
        _line(x - 110, base, x + 110, base, "wood", 10), _line(x, base, x, cut_y, "wood", 5),
        _line(x, cut_y, x, base - heights[-1] - _TIP / 2, "gone", 3),
    ]  # fmt: skip
    for number, (leaf, height) in enumerate(zip(leaves, heights, strict=True), start=1):
        kind = "off" if number > cut.after else "leaf"
        for way in leaf.points:
            above = 7 if way in _LEFT else -7
            bud = f'<circle class="bud" cx="9" cy="{above}" r="4"/>' if leaf.bud else ""
            vein = _line(0, 0, 80, 0, _WOOD[kind], 1)
            parts.append(
                f'<g transform="translate({x} {base - height:.0f}) rotate({_TURN[way]})">'
                f'<ellipse class="{kind}" cx="50" cy="0" rx="32" ry="9"/>{vein}{bud}</g>'
            )
        sides = sorted(leaf.points, key=lambda way: way not in _LEFT)  # as they are drawn
        words = f"{number}: {' + '.join(sides)}{'' if leaf.bud else ', no bud'}"
        parts.append(f'<text x="8" y="{base - height + 5:.0f}">{escape(words)}</text>')
    parts.append(_line(x - 20, cut_y + 4, x + 20, cut_y - 4, "wood", 3))
    parts.append(f'<text x="{x + 84}" y="{cut_y + 5:.0f}">cut here</text>')
    said = escape(f"Cut after leaf {cut.after}. {' '.join(cut.why)} {cut.next}")
    height = base + _FOOT
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height:.0f}" width="{_WIDTH}" '
        f'height="{height:.0f}" role="img" font-family="sans-serif">\n'
        f"<title>Where to cut this shoot</title>\n<desc>{said}</desc>\n{_STYLE}\n"
        + "\n".join(parts)
        + "\n</svg>\n"
    )


def _line(x1: float, y1: float, x2: float, y2: float, kind: str, width: int) -> str:
    at = f'x1="{x1:.0f}" y1="{y1:.0f}" x2="{x2:.0f}" y2="{y2:.0f}"'
    return f'<line class="{kind}" {at} stroke-width="{width}"/>'
