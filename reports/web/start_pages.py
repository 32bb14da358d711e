"""From nothing to a first forecast: where, which trees, what each is at; or the invented garden."""

from __future__ import annotations

from starlette.responses import Response

from data_sources.country_dates import country_dates
from data_sources.demo.garden import demo_day, store_demo
from data_sources.garden import GardenSettings, create_garden, new_id
from data_sources.gazetteer import SHOWN, find_towns
from data_sources.tables.import_draft import species_named
from phenology.language.plain_names import name_key, plain_name
from phenology.language.words import find_operation, find_stage
from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.model.records import Place, Stand, Tree
from phenology.model.stages import Stage
from phenology.species.catalogue import load_species
from reports.entries.look_editor import LookEditor
from reports.entries.work_editor import WorkEditor
from reports.garden.clock import today
from reports.views.forecast_text import SEEN
from reports.views.words import capital, counted
from reports.web.site import Visit
from reports.web.writing import AlreadyWrittenError, Entry, checked_token, new_token, typed_fields, write_down

MOST_TREES = 60
HIGHEST = 9000.0  # metres


def start(visit: Visit) -> Response:
    """Where the garden is and which trees grow there; what is not understood is asked again."""
    if visit.garden.exists:
        return visit.to("/")
    if visit.request.method == "GET":
        return _ask(visit)
    towns = find_towns(visit.text("town")) if visit.text("town") else []
    if not towns:
        missing = visit.text("town")
        return _ask(
            visit, wrong=f"No town called “{missing}” was found." if missing else "Name a town nearby."
        )
    chosen = visit.text("which")
    if len(towns) > 1 and not (chosen.isdigit() and int(chosen[:4]) < len(towns)):
        return _ask(visit, towns=[town.line() for town in towns[:SHOWN]])
    town = towns[int(chosen[:4])] if len(towns) > 1 else towns[0]
    trees, asked = _trees(visit.text("trees"))
    if asked:
        return _ask(visit, asked=asked)
    height = visit.text("elevation").replace(",", ".")
    try:
        elevation = float(height) if height else None
    except ValueError:
        elevation = HIGHEST + 1
    if elevation is not None and not -500 <= elevation <= HIGHEST:
        return _ask(visit, wrong="The height is a number of metres above the sea, such as 410.")
    usual = country_dates(town.timezone)
    place = Place(new_id(), "Bench", town.latitude, town.longitude, elevation, town.timezone)
    settings = GardenSettings(
        name=plain_name(visit.text("name")) or "Garden",
        units="F" if visit.text("units") == "F" else "C",
        date_order=usual.order if usual else None,
        first_weekday=usual.first_weekday if usual else None,
    )
    stands = [Stand(new_id(), tree.id, place.id) for tree in trees]
    label = f"made the garden: {place.name}, {counted(len(trees), 'trees')}"
    create_garden(visit.garden.folder, settings, [place, *trees, *stands], label)
    return visit.to("/start/now" if trees else "/trees/add")


def _ask(
    visit: Visit, wrong: str = "", towns: list[str] | None = None, asked: list[str] | None = None
) -> Response:
    given = {name: visit.text(name) for name in ("name", "town", "elevation", "units", "trees", "which")}
    names = sorted({name for species in load_species().values() for name in species.names})
    again = bool(wrong or towns or asked)
    return visit.page(
        "start.html.j2", "Your garden", 422 if again else 200, given=given, wrong=wrong, towns=towns or [],
        asked=asked or [], names=names,
    )  # fmt: skip


def _trees(text: str) -> tuple[list[Tree], list[str]]:
    """A tree a line, by a common or Latin name, with a label of its own before an equals sign or without."""
    catalogue, found = load_species(), list[tuple[str, str]]()
    asked: list[str] = []
    lines = [plain_name(line) for line in text.splitlines() if line.strip()]
    for line in lines[:MOST_TREES]:
        label, equals, species = (part.strip() for part in line.partition("="))
        try:
            found.append((label, species_named(species if equals else label, catalogue)))
        except InputError as error:
            asked.append(str(error))
    if len(lines) > MOST_TREES:
        asked.append(f"more than {MOST_TREES} trees; add the others later")
    names = [name_key(label) for label, _ in found]
    trees: list[Tree] = []
    for n, (label, latin) in enumerate(found):
        number = names[: n + 1].count(names[n])
        several = names.count(names[n]) > 1
        trees.append(Tree(new_id(), capital(f"{label} {number}" if several else label), latin))
    return trees, asked


def now(visit: Visit) -> Response:
    """What each tree is at, and what was done last; left open where it is not known."""
    garden = visit.garden
    if visit.request.method == "GET":
        return visit.page(
            "start_now.html.j2", "What are they at?", trees=garden.trees[:MOST_TREES], token=new_token(),
            stages=[(str(stage), capital(SEEN[stage])) for stage in Stage],
            operations=[(str(one), capital(str(one).replace("-", " "))) for one in Operation],
        )  # fmt: skip
    token, wrong = checked_token(visit.text("token")), list[str]()
    for tree in garden.trees[:MOST_TREES]:
        stage, operation = visit.text(f"at-{tree.id}"), visit.text(f"done-{tree.id}")
        entries = []
        if operation:
            typed = typed_fields({"when": visit.text(f"when-{tree.id}")}, WorkEditor) | {"yes": True}
            entries.append(Entry(WorkEditor, (tree.id,), find_operation(operation), typed, f"{token}-a"))
        if stage:
            typed = typed_fields({}, LookEditor)
            entries.append(Entry(LookEditor, (tree.id,), find_stage(stage), typed, f"{token}-b"))
        for entry in entries:
            try:
                write_down(garden, entry)
            except AlreadyWrittenError:
                pass
            except InputError as error:
                wrong.append(str(error))
    visit.site.keeper.warm()
    return visit.wrong(". ".join(wrong)) if wrong else visit.to("/")


def demo(visit: Visit) -> Response:
    """The invented garden, in a folder of its own inside this one's, under an address of its own."""
    store_demo(visit.garden.folder / "demo", demo_day(today()))
    return visit.to("/demo/")
