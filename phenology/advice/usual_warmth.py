"""Dates that rest on the usual warmth of the latitude, for want of weather: said in one sentence."""

from __future__ import annotations

from phenology.garden import Garden
from phenology.language.date_style import short_date
from phenology.model.records import Place

SHARPEN = "sharpen them with `flushcast weather update` or `flushcast weather add FILE`"


def usual_warmth_note(garden: Garden) -> str:
    """What dates rest on where weather is lacking or short, and what to type about it; empty where it is not.

    "No weather yet: dates rest on the usual warmth of latitude 48 north and are wide; ...", for example.
    """
    here = {garden.place_of(tree, garden.as_of).id for tree in garden.standing_trees}
    for place in garden.places:
        if place.id in here or not here:
            possible = garden.record_at(((0, place.id),)).possible
            if possible is not None:
                return f"{_known(garden, place, possible.own_days)}; {SHARPEN}."
    return ""


def _known(garden: Garden, place: Place, days: int) -> str:
    of = f" of {place.name}" if len(garden.places) > 1 else ""
    side = "north" if place.latitude >= 0 else "south"
    usual = f"the usual warmth of latitude {abs(place.latitude):.0f} {side}"
    through = garden.weather_through()
    if not days or through is None:
        return f"No weather{of} yet: dates rest on {usual} and are wide"
    count, unit = (days // 365, "year") if days >= 365 else (days, "day")
    amount = f"{count} {unit}{'' if count == 1 else 's'} of weather{of}"
    return f"Only {amount}, to {short_date(through)}: dates rest on that and {usual}, and are wide"
