"""What lies ahead as tables: forecast, chances, windows, last safe dates, care, the round, plans, answers.

JSON, CSV and DataFrames are views of these, see `reports.table`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from phenology.advice.adviser import late_seasons
from phenology.advice.agenda import Agenda, AgendaRow
from phenology.advice.care import CareDue
from phenology.advice.forecast_change import ForecastChange
from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.advice.plan import Branch, Plan, PlannedFlush
from phenology.advice.visits import Visit
from phenology.advice.windows import Window
from phenology.forecasting.arrival import LEVELS
from phenology.garden import Garden
from phenology.model.operations import Operation
from phenology.model.records import Site, Tree
from phenology.work.answer import Answer
from phenology.work.last_safe import Late
from reports.table import Column, Table, attribute, each

PERCENT = [round(100 * level) for level in LEVELS]
MIDDLE = PERCENT[::2]
TREE = (
    attribute("tree", "id", "the tree's id", of="tree.id"),
    attribute("label", "text", "its name", of="tree.label"),
    attribute("species", "text", "its Latin name", of="tree.species"),
)
ODDS = {
    "odds.today": "odds that what a cut wakes ripens if it is cut today",
    "odds.in_14_days": "odds that what a cut wakes ripens in two weeks",
    "odds.in_21_days": "odds that what a cut wakes ripens in three",
}
NO_ODDS = (None, None, None)


FORECAST: tuple[Column[ForecastRow], ...] = (
    *TREE,
    Column("place", "text", lambda s: s.place, "where it stands"),
    Column("season", "season", lambda s: s.season, "the year in which the season starts"),
    Column("flush", "whole", lambda s: s.flush, "1 for the season's own"),
    Column("stage", "text", lambda s: s.stage, "forecast, or hardened when that was seen"),
    Column("operation", "text", lambda s: s.operation, "that it opens"),
    Column("seen.after", "date", lambda s: s.seen[0], "last look before it", listed=True),
    Column("seen.by", "date", lambda s: s.seen[1], "first look at it", listed=True),
    Column("look_on", "date", lambda s: s.look_on, "when to look next"),
    *each({f"p{n}": f"by when it has come with a chance of {n}%" for n in PERCENT}, "date",
          lambda s, k: s.date_at(LEVELS[k])),
    *each({f"day.p{n}": "the same as a decimal day of the season" for n in PERCENT}, "day",
          lambda s, k: s.day(LEVELS[k]), digits=2),
    Column("p_not", "number", lambda s: s.arrival and s.arrival.p_not,
           "the chance that it does not come this season", digits=4),
    Column("last_safe", "date", lambda s: s.advice and s.advice.last_safe, "the last safe date"),
    *each(ODDS, "number", lambda s, k: ((s.advice and s.advice.odds) or NO_ODDS)[k], digits=3),
    Column("looks", "whole", lambda s: s.looks, "of the species, on which it rests"),
    Column("seasons", "whole", lambda s: s.trust.seasons, "in which its steps were seen here"),
    Column("prior_share", "number", lambda s: s.trust.prior_share,
           "of the catalogue in what is believed, 0 to 1", digits=3),
    Column("trust", "text", lambda s: s.trust.words, "how far it may be trusted"),
    Column("warnings", "texts", lambda s: s.warnings, "what to mind"),
)  # fmt: skip


def forecast_table(forecast: GardenForecast, units: str = "C") -> Table[ForecastRow]:
    """The forecast, soonest first."""
    garden = forecast.garden
    label = garden.calendar.label
    return Table("flushcast.forecast/1", FORECAST, forecast.rows, units=units, season_label=label)


AGENDA: tuple[Column[AgendaRow], ...] = (
    *TREE,
    Column("section", "text", lambda r: str(r.section), "today, this week, later or leave"),
    Column("reason", "text", lambda r: r.reason, "why it stands there"),
    Column("at", "text", lambda r: r.state.operation or r.state.stage, "stage seen last, or work done since"),
    Column("at_on", "date", lambda r: r.state.on, "the day of that"),
    Column("next", "text", lambda r: r.ahead and r.ahead.stage, "the next stage to look for"),
    Column("look_on", "date", lambda r: r.lead and r.lead.look_on, "when to look next"),
    *each({f"p{n}": f"by when with a chance of {n}%" for n in MIDDLE}, "date",
          lambda r, k: None if r.ahead is None else r.ahead.date_at(LEVELS[2 * k])),
    Column("guess", "yes", lambda r: r.ahead is not None and r.ahead.guess, "whether these are only a guess"),
    Column("opens", "text", lambda r: next((s.operation for s in r.steps if s.operation), None),
           "the work that hard leaves open"),
    Column("last_safe", "date", lambda r: r.last_safe, "until when, where that wakes growth"),
)  # fmt: skip


def agenda_table(agenda: Agenda) -> Table[AgendaRow]:
    """Every living tree once: today's first, then this week's, later ones, those to leave."""
    return Table("flushcast.agenda/1", AGENDA, agenda.rows)


def forecast_json(agenda: Agenda, units: str) -> str:
    """The forecast as JSON, with the weather it rests on; quantiles are null beyond 1 - p_not."""
    forecast, garden = agenda.forecast, agenda.garden
    weather = {
        "through": garden.weather_through(),
        "days_by_source": days_by_source(garden),
        "attribution": list(garden.attribution),
    }
    return forecast_table(forecast, units).as_json(
        as_of=garden.as_of,
        units=units,
        weather=weather,
        warnings=[*filter(None, [forecast.usual_warmth]), *forecast.warnings],
        agenda=agenda_table(agenda).records(),
    )


def agenda_json(agenda: Agenda, units: str) -> str:
    """The agenda alone as JSON."""
    return agenda_table(agenda).as_json(as_of=agenda.garden.as_of, units=units)


def forecast_csv(forecast: GardenForecast) -> str:
    """The forecast as CSV: what names and dates each row."""
    return forecast_table(forecast).as_csv(without=("tree", "day", "odds"))


def days_by_source(garden: Garden) -> dict[str, int]:
    """Days of this season by where their weather came from, over all places."""
    start, counts = garden.calendar.start(garden.season), dict[str, int]()
    for series in garden.weather.values():
        if series.last_day >= start:
            part = series.between(max(start, series.first_day), series.last_day)
            for source, days in part.coverage().by_source.items():
                if days:
                    counts[source] = counts.get(source, 0) + days
    return counts


@dataclass(frozen=True)
class Chance:
    """The chance that a stage has come by the end of one day."""

    step: ForecastRow
    day: int
    chance: float

    @property
    def date(self) -> date:
        """The day."""
        return self.step.garden.calendar.start(self.step.season) + timedelta(days=self.day - 1)


CHANCES: tuple[Column[Chance], ...] = (
    Column("label", "text", lambda c: c.step.tree.label, "the tree's name"),
    Column("season", "season", lambda c: c.step.season, "the year in which the season starts"),
    Column("flush", "whole", lambda c: c.step.flush, "1 for the season's own"),
    Column("stage", "text", lambda c: c.step.stage, "forecast"),
    Column("date", "date", lambda c: c.date, "from today on"),
    Column("day", "whole", lambda c: c.day, "the same as day of the season"),
    Column("chance", "number", lambda c: c.chance, "that it has come by the day's end, 0 to 1"),
)


def chances(forecast: GardenForecast) -> Iterator[Chance]:
    """The forecast in full, day by day from today on."""
    for row in forecast.rows:
        if row.arrival is not None and row.dated:
            days = (Chance(row, day, chance) for day, chance in enumerate(row.arrival.curve.tolist()) if day)
            yield from (one for one in days if one.date >= forecast.garden.as_of)


WINDOWS: tuple[Column[Window], ...] = (
    Column("tree", "id", lambda w: w.row.tree.id, "the tree's id"),
    Column("label", "text", lambda w: w.row.tree.label, "its name"),
    Column("species", "text", lambda w: w.row.tree.species, "its Latin name"),
    Column("operation", "text", lambda w: w.operation, "what may be done"),
    Column("flush", "whole", lambda w: w.row.flush, "that opens it"),
    Column("open", "yes", lambda w: w.is_open, "whether it is open now"),
    *each({f"opens.p{n}": f"by when it has opened with a chance of {n} %" for n in MIDDLE}, "date",
          lambda w, k: w.opens[k]),
    Column("best", "text", lambda w: w.best, "when it is best, in words"),
    Column("closes", "date", lambda w: w.closes, "its last day"),
    Column("closes_why", "text", lambda w: w.closes_why, "what closes it"),
    *each(ODDS, "number", lambda w, k: (w.odds or NO_ODDS)[k], digits=3),
    Column("refused", "text", lambda w: w.refused or None, "why it is not advised after all"),
)  # fmt: skip


@dataclass(frozen=True)
class LastSafe:
    """The late season of a species at a place."""

    species: str
    place: str
    late: Late


LAST_SAFE: tuple[Column[LastSafe], ...] = (
    Column("species", "text", lambda r: r.species, "its Latin name"),
    Column("place", "text", lambda r: r.place, "where it stands"),
    Column("last_safe", "date", lambda r: r.late.last_safe(),
           "the last day; missing where nothing limits work, or no day is safe: the limit tells which"),
    Column("limit", "text", lambda r: r.late.stop().limit, "that ruled"),
    Column("why", "text", lambda r: r.late.reason(), "the same in a sentence"),
    Column("zone", "text", lambda r: r.late.zone(r.late.today),
           "what a cut does today: ripens, danger (wakes and does not ripen), rests"),
    *each(ODDS, "number", lambda r, k: (r.late.odds() or NO_ODDS)[k], digits=3),
)  # fmt: skip


def last_safe_dates(garden: Garden) -> Iterable[LastSafe]:
    """The last day on which what a cut wakes still ripens, by species and place.

    A species that is shaped by its bloom has none: its stop is when next year's buds are set.
    """
    seasons, found = late_seasons(garden), dict[tuple[str, str], LastSafe]()
    for tree in garden.standing_trees:
        site: Site = garden.site(tree, garden.season)
        key = tree.species, garden.place_of(tree, garden.as_of).name
        if key not in found and not garden.species_of(tree).bloom_led:
            found[key] = LastSafe(*key, seasons.late(tree.species, site))
    return found.values()


CARE: tuple[Column[CareDue], ...] = (
    *TREE,
    Column("care", "text", lambda c: c.care, "a word for it"),
    Column("first", "date", lambda c: c.first, "from when"),
    Column("last", "date", lambda c: c.last, "until when"),
    Column("due", "yes", lambda c: c.due, "whether today lies between them, or past a look at wire"),
    Column("what", "text", lambda c: c.what, "what to do or look for"),
    Column("after", "text", lambda c: c.work.operation if c.work else None, "the work that asks for it"),
    Column("done_on", "date", lambda c: c.work.latest if c.work else None, "when that was done"),
)


ROUND: tuple[Column[Visit], ...] = (
    *TREE,
    Column("place", "text", lambda v: v.place, "where it stands"),
    Column("look_for", "text", lambda v: v.look_for, "what to look for"),
    Column("because", "text", lambda v: v.because, "what the look decides"),
    Column("by", "date", lambda v: v.by, "until when that can wait"),
    Column("rank", "whole", lambda v: v.rank, "0 presses, 1 is due, 2 in passing"),
    Column("change", "number", lambda v: v.step.change_by_look if v.step else None,
           "chance that the look changes what is advised"),
    Column("operation", "text", lambda v: v.operation, "that may follow"),
)  # fmt: skip


CHANGES: tuple[Column[ForecastChange], ...] = (
    Column("label", "text", lambda c: c.label, "the tree's name"),
    Column("stage", "text", lambda c: c.stage, "that moved or came; stop for the last safe date"),
    Column("expected", "date", lambda c: c.expected, "the earlier forecast's middle, or last safe date"),
    Column("now", "date", lambda c: c.now, "today's; of a miss the nearest day on which it may have come"),
    Column("days", "whole", lambda c: c.days, "later (+) or earlier (-)"),
    Column("missed", "yes", lambda c: c.missed, "whether it came outside its range"),
    Column("why", "text", lambda c: c.why or None, "what moved a date ahead: weather or looks"),
    Column("not_yet", "date", lambda c: c.not_yet, "the look that it had not come by, past its range"),
)


class PlanRow(NamedTuple):
    """One way that one flush of one tree leaves open; without a way where it is left alone."""

    tree: Tree
    flush: PlannedFlush
    branch: Branch | None


def plans_table(plans: Iterable[Plan]) -> Table[PlanRow]:
    """The plans of some trees."""
    rows = [
        PlanRow(plan.tree, flush, branch)
        for plan in plans
        for flush in plan.flushes
        for branch in (flush.branches or (None,))
    ]
    return Table("flushcast.plan/1", PLAN, rows)


NO_DATES = (None, None, None)
STAGES = {
    f"{stage}.p{p}": f"by when {stage} has come with a chance of {p} %"
    for stage in ("budbreak", "extended", "hardened")
    for p in MIDDLE
}
OPENS = {f"opens.p{p}": f"by when it is open with a chance of {p} %" for p in MIDDLE}


def _stage_date(row: PlanRow, k: int) -> date | None:
    return row.flush.stages.get(list(STAGES)[k].partition(".")[0], NO_DATES)[k % 3]


PLAN: tuple[Column[PlanRow], ...] = (
    Column("tree", "id", lambda row: row.tree.id, "the tree's id"),
    Column("label", "text", lambda row: row.tree.label, "its name"),
    Column("flush", "whole", lambda row: row.flush.number, "1 for the season's own"),
    Column("woken_on", "date", lambda row: row.flush.woken_on, "the work that is taken to wake it"),
    Column("is_hard", "yes", lambda row: row.flush.is_hard, "whether it was seen hard"),
    Column("chance", "number", lambda row: row.flush.chance, "that it is hard this season", digits=3),
    *each(STAGES, "date", _stage_date),
    Column("techniques", "texts", lambda row: row.branch.techniques if row.branch else (), "done together"),
    Column("does", "text", lambda row: row.branch.does if row.branch else row.flush.leave, "in words"),
    Column("when", "text", lambda row: row.branch and row.branch.when, "what it waits for"),
    *each(OPENS, "date", lambda row, k: row.branch and row.branch.opens[k]),
    Column("until", "date", lambda row: row.branch and row.branch.until, "the last point at which it is"),
    Column("ripens", "number", lambda row: row.branch and row.branch.ripens,
           "odds that what it wakes is hard in time", digits=3),
)  # fmt: skip


Row = tuple[Tree, Answer]


def answers_table(answers: Sequence[Row], operation: Operation, day: date) -> Table[Row]:
    """One row a tree."""
    columns: tuple[Column[Row], ...] = (
        Column("tree", "id", lambda row: row[0].id, "the tree's id"),
        Column("label", "text", lambda row: row[0].label, "its name"),
        Column("operation", "text", lambda row: operation, "the work that was asked about"),
        Column("date", "date", lambda row: day, "on that day"),
        Column("answer", "text", lambda row: row[1].answer, "yes, better wait or no"),
        Column("why", "texts", lambda row: row[1].why, "the reasons"),
        Column("instead", "text", lambda row: row[1].instead or None, "what to do instead"),
        Column("when", "text", lambda row: row[1].when or None, "from when it is better"),
    )
    return Table("flushcast.answer/1", columns, answers)
