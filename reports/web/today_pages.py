"""Today, the morning page, a herd, the seasons: pages of `reports/page` taken apart to stand inside ours."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from starlette.responses import HTMLResponse, Response

from phenology.advice.agenda import Section
from phenology.seasons.compare import Comparison, compare_seasons
from reports.charts.agenda_rows import MOST_LINES
from reports.views.change_text import as_counted
from reports.views.words import capital
from reports.web.keeper import Known
from reports.web.site import Visit
from reports.web.tree_pages import tree_of

if TYPE_CHECKING:
    from markupsafe import Markup

FEW_CHIPS = 8  # trees of today named above its headline; the others are a tap away
FEW_COMPARED = 20  # trees whose seasons stand on one page


@dataclass(frozen=True)
class Embedded:
    """A page of its own, to stand inside another one."""

    style: str  # its stylesheet
    body: Markup  # what stands in its body


def today(visit: Visit) -> Response:
    """The morning page, live, with a way to each tree that is to be looked at today."""
    known = visit.site.keeper.ahead(visit.garden)
    trees = sorted((r.tree for r in known.agenda.of(Section.TODAY)), key=lambda t: as_counted(t.label))
    page = _morning(visit, known, look_back=False)
    return _embedding(visit, "today.html.j2", "Today", page, trees=trees[:FEW_CHIPS], due=len(trees))


def morning(visit: Visit) -> Response:
    """The same with what changed since the last look, and how past forecasts did."""
    page = _morning(visit, visit.site.keeper.ahead(visit.garden), look_back=True)
    return _embedding(visit, "embedded.html.j2", "Morning", page)


def _morning(visit: Visit, known: Known, *, look_back: bool) -> Embedded:
    """The morning page of a garden, as `flushcast report` writes it.

    The trees of a line of very many stand on a page of their own. With `look_back` it tells what changed and
    how past forecasts did, which takes two forecasts more.
    """

    def make() -> Embedded:
        from reports.garden.past_forecasts import garden_past
        from reports.page.render import report_html

        garden, snapshot = visit.garden, known.agenda.garden
        return taken_apart(
            report_html(
                garden.folder,
                snapshot,
                garden.settings,
                look_back=look_back,
                past=garden_past(garden.folder, snapshot) if look_back else None,
                remember=look_back,
                agenda=known.agenda,
                herds_at=lambda line: visit.at(f"/trees/{line.rows[0].tree.id}/herd"),
            )
        )

    made: Embedded = known.once("morning, looking back" if look_back else "morning", make)
    return made


def herd(visit: Visit) -> Response:
    """The trees of the same species on the same bench, each drawn through its season."""
    from reports.page.render import herd_html

    garden, known, one = visit.garden, visit.site.keeper.ahead(visit.garden), tree_of(visit)
    place = known.agenda.garden.place_of(one, garden.today)
    leafed = visit.leafed([t for t in garden.standing(place) if t.species == one.species], MOST_LINES)
    title = f"{capital(garden.species_name(one.species))}, {place.name}"
    agenda = known.agenda.only({tree.id for tree in leafed.here})
    page = taken_apart(herd_html(agenda, garden.settings, title))
    return _embedding(visit, "herd.html.j2", title, page, leafed=leafed)


def seasons(visit: Visit) -> Response:
    """Seasons side by side; tree by tree a species at a time where there are many."""
    garden, known = visit.garden, visit.site.keeper.ahead(visit.garden)
    comparison: Comparison = known.once("comparison", lambda: compare_seasons(known.agenda.garden))
    found: dict[str, dict[str, None]] = {}  # trees of which the seasons tell stages, species by species
    for one in comparison.trees:
        found.setdefault(one.species, {})[one.tree_id] = None
    species = visit.text("species")
    if species not in found:
        few = {id for ids in found.values() for id in ids}
        links = [] if len(few) <= FEW_COMPARED else [(one, garden.species_name(one)) for one in found]
        page = _seasons(visit, known, comparison, () if links else few)
        return _embedding(visit, "seasons.html.j2", "Seasons", page, links=links, leafed=None)
    leafed = visit.leafed([*found[species]], FEW_COMPARED)
    page = _seasons(visit, known, comparison, leafed.here, species)
    return _embedding(visit, "seasons.html.j2", "Seasons", page, links=[], leafed=leafed)


def _seasons(
    visit: Visit, known: Known, comparison: Comparison, trees: Collection[str], species: str | None = None
) -> Embedded:
    """Seasons side by side, as `flushcast compare --page` has them: of all species or one, some trees."""

    def make() -> Embedded:
        from reports.garden.past_forecasts import garden_past
        from reports.page.compare_page import compare_html
        from reports.views.compare import Compared

        settings, folder, snapshot = visit.garden.settings, visit.garden.folder, known.agenda.garden
        some = replace(
            comparison,
            stages=tuple(one for one in comparison.stages if species in (None, one.species)),
            trees=tuple(one for one in comparison.trees if one.tree_id in trees),
        )
        compared = Compared(some, settings.units, lambda: garden_past(folder, snapshot))
        return taken_apart(compare_html(compared, settings.name))

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


def _embedding(visit: Visit, template: str, title: str, page: Embedded, **values: Any) -> HTMLResponse:
    tag = hashlib.sha256(page.style.encode()).hexdigest()[:12]
    visit.site.styles[tag] = page.style
    return visit.page(template, title, body=page.body, style=visit.at(f"/style/{tag}.css"), **values)


def style(visit: Visit) -> Response:
    """The stylesheet of a page that stands inside ours."""
    found = visit.site.styles.get(visit.request.path_params["tag"])
    if found is None:
        return Response("", 404)
    return Response(found, media_type="text/css", headers={"Cache-Control": "private, max-age=86400"})
