"""The morning page and its kin inside ours: a page of `reports/page` taken apart into style and body."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from phenology.seasons.compare import compare_seasons
from reports.garden.open_garden import OpenGarden
from reports.web.keeper import Known

if TYPE_CHECKING:
    from markupsafe import Markup


@dataclass(frozen=True)
class Embedded:
    """A page of its own, to stand inside another one.

    Attributes
    ----------
    style : str
        Its stylesheet.
    body : Markup
        What stands in its body.
    """

    style: str
    body: Markup


def morning_body(garden: OpenGarden, known: Known, *, look_back: bool) -> Embedded:
    """The morning page of a garden, as `flushcast report` writes it.

    With `look_back` it tells what changed and how past forecasts did, which takes two forecasts more.
    """

    def make() -> Embedded:
        from reports.garden.past_forecasts import garden_past
        from reports.page.render import report_html

        snapshot = known.agenda.garden
        return taken_apart(
            report_html(
                garden.folder,
                snapshot,
                garden.settings,
                look_back=look_back,
                past=garden_past(garden.folder, snapshot) if look_back else None,
                remember=look_back,
                agenda=known.agenda,
            )
        )

    made: Embedded = known.once("morning, looking back" if look_back else "morning", make)
    return made


def seasons_body(garden: OpenGarden, known: Known) -> Embedded:
    """Seasons side by side, as `flushcast compare --page` writes them."""

    def make() -> Embedded:
        from reports.garden.past_forecasts import garden_past
        from reports.output.compare import Compared
        from reports.page.compare_page import compare_html

        snapshot = known.agenda.garden
        comparison = compare_seasons(snapshot)
        compared = Compared(comparison, garden.settings.units, lambda: garden_past(garden.folder, snapshot))
        return taken_apart(compare_html(compared, garden.settings.name))

    made: Embedded = known.once("seasons", make)
    return made


def taken_apart(html: str) -> Embedded:
    """Style and body of a whole page."""
    from markupsafe import Markup

    style = html.partition("<style>")[2].partition("</style>")[0]
    body = html.partition("<body>")[2].rpartition("</body>")[0]
    # a page has one main and one header, and they are those of the page around it
    for tag, plain in (
        ("<main>", "<div>"),
        ("</main>", "</div>"),
        ("<header>", "<div>"),
        ("</header>", "</div>"),
    ):
        body = body.replace(tag, plain)
    return Embedded(style, Markup(body))
