"""Rows of marks on a line of days, as SVG for a page and on axes for a chart: one drawing for both.

Every row has one scale: a bar of one height spans the days that hold four in five, a taller one inside it
those that hold one in two, so that a vague forecast looks vague. The stop stands on top of everything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from reports.charts.ink import INK, LATE, PAPER, RANGE, SOFT, WASH

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HALF_ROW = 15.0
"""Half the height of a row, in the units in which heights are given here: pixels of the page."""


@dataclass(frozen=True)
class Form:
    """How a kind of mark is drawn: a bar, line of a width, dotted line, dot, ring or wedge, and its words.

    `half` is half its height, `level` how far below the row's middle its own lies. [px]
    """

    shape: str
    half: float
    level: float
    ink: str
    words: str
    width: float = 0.0


FORMS = {
    "late": Form("bar", 9, 4, LATE, "too late to cut"),
    "range": Form("bar", 3, 4, RANGE, "hard, or in bud break: four in five"),
    "half": Form("bar", 6, 4, WASH, "one in two"),
    "guess": Form("dotted", 2, 4, WASH, "the same, a guess"),
    "tick": Form("line", 9, 4, WASH, "a tree's middle date, taller for many", 2),
    "work": Form("wedge", 4, 4, SOFT, "worked"),
    "seen": Form("line", 3, -9, SOFT, "looked", 1.5),
    "today": Form("line", HALF_ROW, 0, INK, "today", 1.5),
    "look": Form("ring", 4, -9, INK, "look then"),
    "now": Form("dot", 4.5, -9, INK, "look today"),
    "stop": Form("line", 9, 4, INK, "stop by", 3),
}
"""Kinds of marks, in the order in which they are drawn: what comes later lies on top. Looks are above."""

SAMPLE = {"bar": (1.0, 11.0), "dotted": (1.5, 11.0)}


@dataclass(frozen=True)
class Mark:
    """One mark: from one day to another, as ordinals that begin at midnight; both alike for a point."""

    kind: str
    first: float
    last: float
    size: float = 1.0

    @classmethod
    def at(cls, kind: str, day: float, size: float = 1.0) -> Mark:
        """A mark on one day."""
        return cls(kind, day, day, size)


@dataclass(frozen=True)
class Axis:
    """The days that all rows share, from the first of a week on, and the weeks within that a phone shows.

    `window` is the first day and number of days of the narrow picture, `today` the ordinal of today's middle.
    """

    first: date
    days: int
    window: tuple[date, int]
    today: float

    def at(self, day: float) -> float:
        """Where a day stands, in per cent from the left; beyond the ends it is put there."""
        return 100 * min(1.0, max(0.0, (day - self.first.toordinal()) / self.days))

    def holds(self, mark: Mark) -> bool:
        """Whether any of a mark lies on it."""
        return mark.last >= self.first.toordinal() and mark.first <= self.first.toordinal() + self.days

    @property
    def weeks(self) -> list[date]:
        """The first day of each week."""
        return [self.first + timedelta(weeks=k) for k in range(self.days // 7)]

    @property
    def months(self) -> list[date]:
        """The first day of each month."""
        return [d for n in range(self.days) if (d := self.first + timedelta(days=n)).day == 1]


def in_order(marks: Iterable[Mark], axis: Axis) -> list[Mark]:
    """The marks that an axis holds and that of today, in the order in which they are drawn."""
    order = list(FORMS)
    shown = [*filter(axis.holds, marks), Mark.at("today", axis.today)]
    return sorted(shown, key=lambda mark: order.index(mark.kind))


def kinds_of(rows: Iterable[Iterable[Mark]], axis: Axis) -> list[str]:
    """Which kinds of marks some rows show, in the order in which they are drawn."""
    shown = {mark.kind for row in rows for mark in in_order(row, axis)}
    return [kind for kind in FORMS if kind in shown]


def svg_row(marks: Iterable[Mark], axis: Axis) -> str:
    """The marks of a row as SVG: across in per cent, so that it stretches, down in pixels from the middle."""
    drawn = "".join(_svg(mark, axis) for mark in in_order(marks, axis))
    return f'<svg y="50%" overflow="visible">{drawn}</svg>'


def svg_sample(kind: str) -> str:
    """A kind of mark on its own and in the middle, to be explained."""
    mark = Mark(kind, *SAMPLE.get(FORMS[kind].shape, (6.0, 6.0)))
    lane = f'<g transform="translate(0 {-FORMS[kind].level:g})">'
    axis = Axis(date(1, 1, 1), 10, (date(1, 1, 1), 10), 6.0)
    return f'<svg y="50%" overflow="visible">{lane}{_svg(mark, axis)}</g></svg>'


def _svg(mark: Mark, axis: Axis) -> str:
    form, name, x = FORMS[mark.kind], mark.kind, short_number(axis.at(mark.first))
    half, level = form.half * mark.size, form.level
    if form.shape == "bar":
        wide = short_number(max(0.2, axis.at(mark.last) - axis.at(mark.first)))
        return f'<rect class="{name}" x="{x}%" y="{level - half:g}" width="{wide}%" height="{2 * half:g}"/>'
    if form.shape == "dotted":
        across = f'x1="{x}%" x2="{short_number(axis.at(mark.last))}%"'
        return f'<line class="{name}" {across} y1="{level:g}" y2="{level:g}"/>'
    if form.shape == "line":
        reach = 60 if name == "today" else half  # today's runs through rows of any height
        line = f'x1="{x}%" x2="{x}%" y1="{short_number(level - reach)}" y2="{short_number(level + reach)}"/>'
        under = "" if name == "seen" else f'<line class="o {name}" {line}'
        return f'{under}<line class="{name}" {line}'
    if form.shape == "wedge":
        return f'<svg x="{x}%" overflow="visible"><path class="{name}" d="M-4 0H4L0 7Z"/></svg>'
    return f'<circle class="{name}" cx="{x}%" cy="{level:g}" r="{half:g}"/>'


def short_number(number: float) -> str:
    """A number of a drawing, to a hundredth at most."""
    return f"{number:.2f}".rstrip("0").rstrip(".")


def draw_row(ax: Axes, y: float, marks: Iterable[Mark], axis: Axis) -> None:
    """The same marks on axes whose rows are one apart and whose days are ordinals."""
    first, last, row = axis.first.toordinal(), axis.first.toordinal() + axis.days, 2 * HALF_ROW
    for z, mark in enumerate(in_order(marks, axis)):
        form, order = FORMS[mark.kind], 2 + z / 100
        half, at = form.half * mark.size / row, y + form.level / row
        ends = (max(mark.first, first), min(mark.last, last))
        if form.shape == "bar":
            ax.fill_between(ends, at - half, at + half, color=form.ink, lw=0, zorder=order)
        elif form.shape == "dotted":
            ax.plot(
                ends, [at, at], color=form.ink, lw=2.4, ls=(0, (0.1, 2)), dash_capstyle="round", zorder=order
            )
        elif form.shape == "line":
            for ink, width in ((PAPER, form.width + 2), (form.ink, form.width)):
                ax.plot(
                    ends,
                    [at - half, at + half],
                    color=ink,
                    lw=0.75 * width,
                    zorder=order,
                    solid_capstyle="butt",
                )
        else:
            marker, size = ("v", 6.0) if form.shape == "wedge" else ("o", 1.5 * form.half)
            face, edge = (PAPER, form.ink) if form.shape == "ring" else (form.ink, PAPER)
            ax.plot(mark.first, at, marker=marker, ms=size, mfc=face, mec=edge, mew=1.2, zorder=order)


def explain(
    ax: Axes, rows: Iterable[Iterable[Mark]], axis: Axis, more: Mapping[str, str] | None = None
) -> None:
    """What the marks of some rows mean, below them; `more` are markers drawn besides."""
    from matplotlib.lines import Line2D

    handles = []
    for form in (FORMS[kind] for kind in kinds_of(rows, axis)):
        look = {"bar": "s", "dotted": ".", "line": "|", "wedge": "v"}.get(form.shape, "o")
        face = PAPER if form.shape == "ring" else form.ink
        size = 1.5 * min(form.half, 6)
        handles.append(Line2D([], [], ls="", marker=look, ms=size, mfc=face, mec=form.ink,
                              mew=form.width or 1, label=form.words))  # fmt: skip
    for look, words in (more or {}).items():
        handles.append(Line2D([], [], ls="", marker=look, ms=5, mfc=PAPER, mec=INK, mew=0.8, label=words))
    ax.legend(handles=handles, loc="upper left", bbox_to_anchor=(0, -0.01), bbox_transform=ax.transAxes,
              ncols=4, frameon=False, fontsize=9, labelcolor=INK, handletextpad=0.2)  # fmt: skip
