"""The other duties of a tree's year, each with its time: pinching, bloom, wire, heat, frost, winter.

What follows work is in `aftercare`. Common practice, no source; day counts that are ours say so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from phenology.language.date_style import short_date
from phenology.language.degrees import degrees
from phenology.model.limits import Limits
from phenology.species.species import Species
from phenology.work.aftercare import Care
from phenology.work.season_of_work import SAP_RISES
from phenology.work.situation import Situation
from phenology.work.technique import choose, doing, kept

PINCHING_DAYS = 21  # tips stay soft so long after bud break where nobody saw them stop (ours)
SWELLING_DAYS = 18  # buds swell about this long before they break
BLOOM_CUT_DAYS = 28  # within so long after the flowers fade, next year's buds have time to form
NEAR_FROST_C = (
    2.0  # a bench in the open is colder than the air in a screen by about so much on a clear night [K]
)
TENDER_C = 5.0  # tropical trees come indoors before nights this cold; from memory, unverified [degC]
INDOORS_MARGIN = 14  # so long before they usually come, and after they usually go (ours) [days]
AUTUMN_FIRST, AUTUMN_LAST = 112, 56  # days before midwinter between which roots are cut in autumn (ours)

SOFT = ("budbreak", "extending", "extended")
"""Stages whose leaves frost kills."""


def pinching(s: Situation, budbreak: tuple[date, date], extended: date | None = None) -> Care | None:
    """When soft tips are pinched, where the species takes it and nothing stands against it.

    Parameters
    ----------
    budbreak : (date, date)
        Between which days the flush breaks, or the day on which it was seen to, twice.
    extended : date, optional
        When shoots stop, where that is known or forecast.
    """
    option = next((o for o in choose(s).options if o.technique == "pinch"), None)
    if option is None or option.unmet:
        return None
    last = extended or budbreak[1] + timedelta(days=PINCHING_DAYS)
    does = f"{doing('pinch', s.species)} as their first leaves part; weak and inner ones keep theirs"
    return Care("pinching", budbreak[0], max(budbreak[0], last), does, look=True)


def bloom_cut(s: Situation, faded: date | None, buds_set: date, today: date) -> Care | None:
    """When a tree is shaped that is shaped at bloom's end.

    Parameters
    ----------
    faded : date or None
        When its flowers were seen faded.
    buds_set : date
        From when next year's flower buds are taken to be set.
    """
    option = next((o for o in choose(s).options if o.technique == "bloom-cut"), None)
    if option is None or option.unmet or today > buds_set:
        return None
    if faded is None:
        sentence = f"whether its flowers fade: {option.when}, {doing('bloom-cut', s.species)}"
        return Care("bloom", today, buds_set, sentence, look=True)
    last = min(faded + timedelta(days=BLOOM_CUT_DAYS), buds_set)
    return Care("bloom", faded, max(faded, last), doing("bloom-cut", s.species))


# -------------------------------------------------------------------------------------------- weather ahead


def weather_ahead(
    ahead: Iterable[tuple[date, float, float]],
    species: Species,
    limits: Limits,
    *,
    stage: str | None,
    worked: bool = False,
) -> Iterator[Care]:
    """Warnings of heat and of frost on soft growth, where the weather ahead has them.

    Parameters
    ----------
    ahead : iterable of (date, float, float)
        Days to come with their minimum and maximum. [degC]
    stage : str or None
        Of the newest flush.
    worked : bool
        Whether the tree was cut or bared in the last two weeks.
    """
    days = sorted(ahead)
    if hot := [(day, high) for day, _, high in days if high > limits.hot_day_c]:
        worst = max(hot, key=lambda d: d[1])
        first = "shade it first: it was worked lately" if worked else "shade and shelter from wind"
        sentence = (
            f"{degrees(round(worst[1]))} on {short_date(worst[0])}: water early and again late, {first}"
        )
        yield Care("heat", hot[0][0], hot[-1][0], sentence)
    tender = is_tender(species)
    limit = TENDER_C if tender else limits.frost_c + NEAR_FROST_C
    if not tender and stage not in SOFT:
        return
    if cold := [(day, low) for day, low, _ in days if low <= limit]:
        lowest = min(cold, key=lambda d: d[1])
        what = "bring it in" if tender else "soft growth under cover overnight"
        sentence = f"{degrees(round(lowest[1]))} on the night to {short_date(lowest[0])}: {what}"
        yield Care("frost", cold[0][0], cold[-1][0], sentence)


def is_tender(species: Species) -> bool:
    """Whether it stands no frost: a tree of the tropics in leaf all year."""
    return species.practice == "tropical" and species.habit == "evergreen"


def indoors(cold: tuple[date, date]) -> Care:
    """A tender tree's way indoors, whether or not a forecast warns.

    `cold`: the days on which nights as cold as `TENDER_C` usually begin and end.
    """
    sentence = f"indoors, or where nights stay above {degrees(TENDER_C)}: it is tropical and stands no frost"
    margin = timedelta(days=INDOORS_MARGIN)
    return Care("indoors", cold[0] - margin, cold[1] + margin, sentence)


# -------------------------------------------------------------------------------------------- the winter list


@dataclass(frozen=True, eq=False, repr=False)
class RestOfYear:
    """The days that a winter hangs on, seen or forecast."""

    bare: date  # when leaves are down; for a tree that keeps them, when growth has ended
    midwinter: date  # the shortest day
    swelling: tuple[date, date]  # from when buds swell, and when they break
    seen: bool = True  # whether somebody saw that leaves are down

    def window(self, season: str) -> tuple[date, date] | None:
        """When a season of work falls this winter; None where it does not."""
        sap = self.midwinter + timedelta(days=SAP_RISES)
        found = {
            "bare": (self.bare, self.swelling[0]),
            "leaf-fall": (self.bare, min(sap, self.swelling[0])),
            "bud-swell": self.swelling,
            "autumn": (
                self.midwinter - timedelta(days=AUTUMN_FIRST),
                self.midwinter - timedelta(days=AUTUMN_LAST),
            ),
        }.get(season)
        return found if found is not None and found[0] <= found[1] else None


def winter_list(
    species: Species,
    rest: RestOfYear,
    *,
    aim: str = "refining",
    put_off: bool = False,
    repotting_due: bool = False,
    weak: bool = False,
    wired: bool = False,
) -> tuple[Care, ...]:
    """What a winter holds for a tree, by date: cuts put off, wood, wire, roots and shelter.

    Parameters
    ----------
    aim : str
        A resting tree is only sheltered, and repotted where that is due.
    put_off : bool
        Whether a cut was refused or left in late summer, to be made in winter.
    weak : bool
        Whether it is called weak, sick or just collected: it is sheltered, and neither cut nor wired.
    wired : bool
        Whether it wears wire already.
    """
    found = [*_roots(species, rest, repotting_due), *_shelter(species, rest)]
    if aim != "resting" and not (weak or species.may_be_evergreen):
        found += [*_wood(species, rest, aim, put_off), *_wire(species, rest, wired)]
    return tuple(sorted(found, key=lambda c: (c.first, c.last, c.name)))


def _wood(species: Species, rest: RestOfYear, aim: str, put_off: bool) -> Iterator[Care]:
    windows = [w for season in species.prune if (w := rest.window(season)) is not None]
    if not windows:
        return
    # what may keep its leaves all winter is cut as those of spring come
    first, last = windows[-1 if species.habit == "semi-evergreen" else 0]
    if put_off and aim == "refining" and not species.bloom_led:
        carried = species.grown_for != "leaf" and species.blooms != "summer"  # which blooms on new shoots
        spare = "; spare the flower buds" if carried else ""
        once = "" if rest.seen or species.habit != "deciduous" else ", once it is bare"
        does = f"cuts put off in summer{once}: shoots back to {_buds(species)}{spare}"
        yield Care("cuts put off", first, last, does)
    why = "before sap rises and cuts bleed" if species.prune[0] == "leaf-fall" else "while its lines show"
    why = "as buds swell" if first == rest.swelling[0] else why
    yield Care("pruning", first, last, f"structural pruning {why}: what crosses, doubles or grows in")


def _buds(species: Species) -> str:
    """How much a winter cut keeps: buds, where leaves were; an evergreen keeps green leaves."""
    if species.habit == "evergreen":
        return kept(species)
    if species.keeps[1] > 3:  # cut twice, as wisteria: in summer to some leaves, now nearer
        return "two or three buds"
    return kept(species).replace("leaves", "buds").replace("leaf", "bud")


def _wire(species: Species, rest: RestOfYear, wired: bool) -> Iterator[Care]:
    if species.habit != "deciduous":
        return
    old = "take off wire that touches tight, then wire" if wired else "wire"
    yield Care(
        "wiring", rest.bare, rest.swelling[0], f"{old} bare branches on frost-free days, buds kept whole"
    )


def _roots(species: Species, rest: RestOfYear, due: bool) -> Iterator[Care]:
    if not due:
        return
    for season in species.repot:
        if (window := rest.window(season)) is not None:
            when = "as buds swell" if season == "bud-swell" else "in early autumn"
            yield Care("repotting", *window, f"repotting {when}, if roots fill the pot", look=True)


def _shelter(species: Species, rest: RestOfYear) -> Iterator[Care]:
    if is_tender(species):
        return
    yield Care(
        "winter shelter", rest.bare, rest.swelling[1],
        "pots out of hard frost and drying wind; water when the soil is dry and not frozen",
    )  # fmt: skip
