"""The morning page and its kin inside ours: a page of `reports/page` taken apart into style and body."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from phenology.seasons.compare import Comparison, compare_seasons
from reports.charts.agenda_rows import Line
from reports.garden.open_garden import OpenGarden
from reports.web.keeper import Known

if TYPE_CHECKING:
    from markupsafe import Markup


@dataclass(frozen=True)
class Embedded:
    """A page of its own, to stand inside another one."""

    style: str  # its stylesheet
    body: Markup  # what stands in its body


def morning_body(
    garden: OpenGarden, known: Known, herds_at: Callable[[Line], str], *, look_back: bool
) -> Embedded:
    """The morning page of a garden, as `flushcast report` writes it.

    The trees of a line of very many stand on a page of their own. With `look_back` it tells what changed and
    how past forecasts did, which takes two forecasts more.
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
                herds_at=herds_at,
            )
        )

    made: Embedded = known.once("morning, looking back" if look_back else "morning", make)
    return made


def herd_body(garden: OpenGarden, known: Known, trees: Collection[str], title: str) -> Embedded:
    """Some trees' season, a row each."""
    from reports.page.render import herd_html

    return taken_apart(herd_html(known.agenda.only(trees), garden.settings, title))


def trees_compared(known: Known) -> dict[str, list[str]]:
    """The trees of which the seasons tell stages, species by species."""
    found: dict[str, list[str]] = {}
    for one in _compared(known).trees:
        mine = found.setdefault(one.species, [])
        if one.tree_id not in mine:
            mine.append(one.tree_id)
    return found


def _compared(known: Known) -> Comparison:
    made: Comparison = known.once("comparison", lambda: compare_seasons(known.agenda.garden))
    return made


def seasons_body(
    garden: OpenGarden, known: Known, trees: Collection[str], species: str | None = None
) -> Embedded:
    """Seasons side by side, as `flushcast compare --page` has them: of all species or one, some trees."""
    comparison = _compared(known)

    def make() -> Embedded:
        from reports.garden.past_forecasts import garden_past
        from reports.output.compare import Compared
        from reports.page.compare_page import compare_html

        snapshot = known.agenda.garden
        some = replace(
            comparison,
            stages=tuple(one for one in comparison.stages if species in (None, one.species)),
            trees=tuple(one for one in comparison.trees if one.tree_id in trees),
        )
        compared = Compared(some, garden.settings.units, lambda: garden_past(garden.folder, snapshot))
        return taken_apart(compare_html(compared, garden.settings.name))

    made: Embedded = known.once(f"seasons of {sorted(trees)}", make)
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
