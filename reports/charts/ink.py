"""One ink in several strengths: what is dark in colour is dark in grey."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from phenology.model.errors import InputError
from reports.views.words import MONTHS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PALETTES = {
    "light": {
        "paper": "#fcfbf8", "card": "#ffffff", "ink": "#1f2a44", "soft": "#4d5a78", "wash": "#4a5f95",
        "range": "#6f7fac", "late": "#e4e6ee", "pale": "#b9c3da", "rule": "#d9dce4",
    },
    "dark": {
        "paper": "#141925", "card": "#1b2231", "ink": "#e7eaf3", "soft": "#b3bdd4", "wash": "#bccaf2",
        "range": "#7b8dc0", "late": "#2b3347", "pale": "#46547a", "rule": "#323c56",
    },
}  # fmt: skip
"""One hue; pages and charts take it from here, and a test holds how each stands out from its grounds."""

INK, SOFT, WASH, PALE = (PALETTES["light"][role] for role in ("ink", "soft", "wash", "pale"))
PAPER, LATE, RANGE = (PALETTES["light"][role] for role in ("paper", "late", "range"))
RULE = "#8a8f9c"
FORMATS = ("svg", "png")


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


def date_axis(ax: Axes, first: date, last: date, weeks: Sequence[date] = ()) -> None:
    """Months along the top, each name at its first day; a faint line at each turn, or at each week."""
    turns = [d for n in range((last - first).days + 1) if (d := first + timedelta(days=n)).day == 1]
    ax.set_xlim(first.toordinal(), last.toordinal() + 1)
    for day in weeks or turns:
        ax.axvline(day.toordinal(), color=PALE, lw=0.5, zorder=0)
    ax.xaxis.tick_top()
    ax.set_xticks([day.toordinal() for day in turns], [MONTHS[day.month - 1] for day in turns], ha="left")


def mark_seen(ax: Axes, y: float, left: float, right: float, half: float = 0.15) -> None:
    """An open bar between two looks."""
    ax.fill_between([left, right], y - half, y + half, facecolor="white", edgecolor=INK, lw=1, zorder=3)


def save_chart(ax: Axes, path: Path, alt: str, heading: str = "") -> None:
    """Write the figure of an axes as SVG or PNG, with its words for those who cannot see it."""
    from data_sources.disk.whole_files import write_output

    kind = path.suffix.lower().lstrip(".")
    if kind not in FORMATS:
        raise InputError(f"a chart is written as .svg or .png, not as '{path.name}'")
    write_output(path, chart_bytes(ax, kind, alt, heading))


def chart_bytes(ax: Axes, kind: str, alt: str, heading: str = "") -> bytes:
    """The figure of an axes as "svg" or "png", with its words; a heading where it is to stand alone."""
    import io

    import matplotlib
    from matplotlib.text import Text

    out = io.BytesIO()
    figure: Any = ax.figure
    figure.set_facecolor(PAPER)
    for axes in figure.findobj(type(ax)):
        axes.set_facecolor("none")
        axes.xaxis.get_ticklabels(), axes.yaxis.get_ticklabels()  # made now, so that they are found
    if heading:
        room = "\n" if ax.child_axes else ""  # which the layout does not count
        figure.suptitle(f"{heading}{room}", x=0.01, ha="left", fontsize=10, color=SOFT)
    for text in figure.findobj(Text):
        text.set_parse_math(False)  # a label may hold any sign
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "flushcast"}):
        if kind == "svg":
            figure.savefig(out, format="svg", metadata={"Date": None, "Title": alt, "Description": alt})
        else:
            figure.savefig(out, format="png", dpi=160, metadata={"Description": alt})
    data = out.getvalue()
    return _named(data, alt) if kind == "svg" else data


def _named(svg: bytes, alt: str) -> bytes:
    """The drawing with a title that screen readers say, and inks of its own on a dark ground."""
    from xml.sax.saxutils import escape

    text = svg.decode("utf-8")
    at = text.index("<svg ")
    end = text.index(">", at)
    opened = text[at:end] + ' role="img" aria-labelledby="what">'
    title = f'\n <title id="what">{escape(alt)}</title>\n <style>{_dark_inks()}</style>'
    return (text[:at] + opened + title + text[end + 1 :]).encode()


def _dark_inks() -> str:
    """Rules that turn each ink into that of the dark palette, where the reader's screen is dark."""
    light, dark = PALETTES["light"], PALETTES["dark"]
    turned = {light[role]: dark[role] for role in light} | {RULE: dark["soft"]}
    rules = (
        f'[style*="{what}: {ink}"] {{ {what}: {other} !important }}'
        for ink, other in turned.items()
        for what in ("fill", "stroke")
    )
    return f"@media (prefers-color-scheme: dark) {{ {' '.join(rules)} }}"
