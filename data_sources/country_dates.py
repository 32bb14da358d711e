"""How a country writes dates and temperatures and where its weeks begin, from the CLDR tables of babel."""

from __future__ import annotations

import re
from dataclasses import dataclass

from data_sources.garden_settings import WEEKDAYS
from phenology.language.written_days import DateOrder

NO_COUNTRY = ("001", "ZZ")  # the world, and nobody knows where
FAHRENHEIT = ("US", "PR", "GU", "VI", "AS", "MP", "BS", "BZ", "KY", "PW", "FM", "MH")
"""Where temperatures are in °F; babel leaves CLDR's list out. From memory, unverified."""
NOBODYS = "MM-dd"  # what the tables say where they know nothing of a language


@dataclass(frozen=True)
class CountryDates:
    """A country's habits."""

    country: str  # its name in English
    # None where the country itself has it both ways (Canada, South Africa), or the tables do not tell
    order: DateOrder | None
    first_weekday: str  # "monday" ... "sunday"
    units: str = "C"  # of temperatures


def country_dates(timezone: str) -> CountryDates | None:
    """The habits of the country that an IANA time zone belongs to; None where no country is known of it.

    Examples
    --------
    >>> country_dates("America/New_York")
    CountryDates(country='United States', order='month-first', first_weekday='sunday', units='F')
    >>> country_dates("Etc/UTC") is None
    True
    """
    from babel import Locale, UnknownLocaleError
    from babel.core import get_global

    territories = get_global("zone_territories")
    code = territories.get(timezone) or territories.get(get_global("zone_aliases").get(timezone, ""))
    name = Locale("en").territories.get(code or "", "")
    if code is None or not name or code in NO_COUNTRY:
        return None
    orders: set[DateOrder | None] = set()
    weekday = None
    for said in (f"und_{code}", f"en_{code}"):  # in the language most people speak there, and in English
        try:
            locale = Locale.parse(said)
        except (UnknownLocaleError, ValueError):
            continue
        weekday = WEEKDAYS[locale.first_week_day] if weekday is None else weekday
        day_month, words = (str(locale.datetime_skeletons[form]) for form in ("Md", "MMMd"))
        orders |= {None} if day_month == NOBODYS else {_order(day_month), _order(words)}
    if weekday is None:
        return None
    units = "F" if code in FAHRENHEIT else "C"
    return CountryDates(name, orders.pop() if len(orders) == 1 else None, weekday, units)


def _order(pattern: str) -> DateOrder:
    """Whether a pattern such as "dd/MM" or "MMM d" names the day first; words in quotes are passed over.

    >>> _order("d. MMM"), _order("M月d日"), _order("d 'de' MMM")
    ('day-first', 'month-first', 'day-first')
    """
    bare = re.sub(r"'[^']*'", "", pattern)
    return "day-first" if bare.index("d") < min(n for n in map(bare.find, "ML") if n >= 0) else "month-first"
