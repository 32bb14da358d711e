"""How fast each clock runs at each temperature, drawn for the foot of the report."""

from __future__ import annotations

import numpy as np

from phenology.heat.clocks import HEAT_CLOCKS, REFERENCE_C, Clock
from phenology.model.units import c_to_f
from reports.page.drawings import Label, svg_curve, svg_drawing, svg_line

COLDEST, HOTTEST = 0.0, 46.0
TOP = 3.6  # days at 18 degC that a day is worth, at the top of the drawing


def heat_curve_drawing(words: str, *, fahrenheit: bool = False) -> tuple[str, list[Label], list[Label]]:
    """Rates of the clocks over a day of one steady temperature.

    Parameters
    ----------
    words : str
        What the drawing shows, for who cannot see it.
    fahrenheit : bool
        Whether the labels below are in degF.

    Returns
    -------
    svg : str
    below, beside : list of Label
        Temperatures, in per cent from the left; rates, in per cent from the top.
    """
    steady = np.arange(COLDEST, HOTTEST + 0.1, 1.0)

    def x(celsius: float) -> float:
        return 100 * (celsius - COLDEST) / (HOTTEST - COLDEST)

    def y(rate: float) -> float:
        return 100 - 100 * rate / TOP

    parts = [svg_line(x(REFERENCE_C), 0, x(REFERENCE_C), 100, "today"), svg_line(0, y(1), 100, y(1), "rule")]
    for clock in HEAT_CLOCKS:
        rate = clock.rates(steady, steady)
        shown = rate <= TOP
        points = [(x(t), y(r)) for t, r in zip(steady[shown].tolist(), rate[shown].tolist(), strict=True)]
        parts.append(svg_curve(points, "falling" if clock.kind == "falling" else "rising"))
    marks = range(32, 114, 9) if fahrenheit else range(0, 46, 5)
    below = [Label(x((m - 32) / 1.8 if fahrenheit else m), f"{m}°") for m in marks]
    beside = [Label(y(r), str(r)) for r in range(4)]
    return svg_drawing(100, 100, words, parts, "clocks"), below, beside


def heat_curve_words(fahrenheit: bool = False) -> str:
    """What the drawing shows.

    Examples
    --------
    >>> heat_curve_words().split(":")[0]
    'How much a day counts at each temperature'
    """
    kinds = [clock.kind for clock in HEAT_CLOCKS]
    rising, falling = kinds.count("sine"), kinds.count("falling")
    fastest, still, alike = (
        f"{float(c_to_f(t)):.0f} °F" if fahrenheit else f"{t:g} °C"
        for t in (Clock.optimum, Clock.ceiling, REFERENCE_C)
    )
    return (
        f"How much a day counts at each temperature: {rising} ways rise steadily from their base, "
        f"{falling} are fastest at {fastest} and stand still at {still}. All agree at {alike}."
    )
