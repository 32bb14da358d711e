"""One ink in several strengths: what is dark in colour is dark in grey."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from phenology.model.errors import InputError
from reports.text.words import MONTHS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK = "#1f2a44"  # seen
WASH = "#5b6f9e"  # likely
PALE = "#b9c3da"  # usual, past
RULE = "#8a8f9c"
FORMATS = ("svg", "png")
DOTS = "dots: look once a week, no date yet"


def new_axes(ax: Axes | None, width: float, height: float) -> Axes:
    """The axes given, or those of a new figure of that size in inches."""
    if ax is not None:
        return ax
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    axes: Axes = figure.add_subplot()
    return axes


def bare(ax: Axes) -> None:
    """Only the lines that carry something."""
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.spines["bottom"].set_color(RULE)
    ax.tick_params(length=0, colors=INK)


def date_axis(ax: Axes, first: date, last: date) -> None:
    """Months along the bottom, said once; a faint line at each turn."""
    turns, middles, names = [], [], []
    year, month = first.year, first.month
    while date(year, month, 1) <= last:
        start = date(year, month, 1)
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
        end = date(year, month, 1)
        left, right = max(start, first).toordinal(), min(end.toordinal(), last.toordinal())
        turns.append(start.toordinal())
        if right - left >= 12:
            middles.append((left + right) / 2)
            names.append(MONTHS[start.month - 1])
    ax.set_xlim(first.toordinal(), last.toordinal() + 1)
    for turn in turns:
        if turn > first.toordinal():
            ax.axvline(turn, color=PALE, lw=0.7, zorder=0)
    ax.set_xticks(middles, names)


def mark_today(ax: Axes, day: date) -> None:
    """A dotted line through the middle of today."""
    ax.axvline(day.toordinal() + 0.5, color=INK, lw=1, ls=(0, (1, 2)), zorder=3)


def mark_stop(ax: Axes, y: float, day: date) -> None:
    """Where cutting stops: an upright at the day's end that points at what is too late."""
    x = day.toordinal() + 1
    ax.plot([x, x], [y - 0.42, y + 0.42], color=INK, lw=2.2, zorder=5)
    ax.plot([x, x + 2.2], [y, y], color=INK, lw=2.2, zorder=5)


def mark_looks(ax: Axes, y: float, first: date, last: date) -> None:
    """Dots a week apart: looks that are asked for where no date is given."""
    days = np.arange(first.toordinal(), last.toordinal() + 1, 7) + 0.5
    ax.plot(days, np.full(len(days), y), ls="", marker="o", ms=3.5, color=INK, zorder=3)


def mark_seen(ax: Axes, y: float, left: float, right: float, half: float = 0.15) -> None:
    """An open bar between two looks."""
    ax.fill_between([left, right], y - half, y + half, facecolor="white", edgecolor=INK, lw=1, zorder=3)


def legend_line(ax: Axes, *marks: str) -> None:
    """What the marks mean, in a line below; empty ones are left out."""
    ax.set_xlabel("   ".join(filter(None, marks)), fontsize=8, color=INK, loc="left")


def save_chart(ax: Axes, path: Path, alt: str) -> None:
    """Write the figure of an axes as SVG or PNG, with its words for those who cannot see it.

    Raises
    ------
    InputError
        If the name ends in neither .svg nor .png.
    """
    from data_sources.disk.whole_files import write_output

    kind = path.suffix.lower().lstrip(".")
    if kind not in FORMATS:
        raise InputError(f"a chart is written as .svg or .png, not as '{path.name}'")
    write_output(path, chart_bytes(ax, kind, alt))


def chart_bytes(ax: Axes, kind: str, alt: str) -> bytes:
    """The figure of an axes as "svg" or "png", with its words."""
    import io

    import matplotlib
    from matplotlib.text import Text

    out = io.BytesIO()
    figure: Any = ax.figure
    for axes in figure.findobj(type(ax)):
        axes.xaxis.get_ticklabels(), axes.yaxis.get_ticklabels()  # made now, so that they are found
    for text in figure.findobj(Text):
        text.set_parse_math(False)  # a label may hold any sign
    with matplotlib.rc_context({"svg.fonttype": "path", "svg.hashsalt": "flushcast"}):
        if kind == "svg":
            figure.savefig(out, format="svg", metadata={"Date": None, "Title": alt, "Description": alt})
        else:
            figure.savefig(out, format="png", dpi=160, metadata={"Description": alt})
    data = out.getvalue()
    return _named(data, alt) if kind == "svg" else data


def _named(svg: bytes, alt: str) -> bytes:
    """The drawing with a title that screen readers say."""
    from xml.sax.saxutils import escape

    text = svg.decode("utf-8")
    at = text.index("<svg ")
    end = text.index(">", at)
    opened = text[at:end] + ' role="img" aria-labelledby="what">'
    return (text[:at] + opened + f'\n <title id="what">{escape(alt)}</title>' + text[end + 1 :]).encode()
