"""Own readings from the phone: a day typed in, a file of days, the checks of the command."""

from __future__ import annotations

import io
from datetime import date, timedelta

from data_sources.garden import open_journal
from data_sources.weather.store.weather_store import WeatherStore
from tests.reports.web.site import HIDDEN, Phone, words

PATH = "/readings"


def days(phone: Phone) -> dict[str, tuple[float, float]]:
    """The own readings that are kept, to a tenth."""
    with open_journal(phone.folder) as journal:
        (place,) = journal.places()
    with WeatherStore.open(phone.folder, create=True) as store:
        found = store.read_source(place.id, "bench")
    if found is None:
        return {}
    return {
        str(date.fromordinal(int(day))): (round(float(low), 1), round(float(high), 1))
        for day, low, high, known in zip(found.ordinals, found.tmin, found.tmax, found.known, strict=True)
        if known
    }


def sent(phone: Phone, text: str, **fields: str):
    """The page after a file was sent."""
    return phone.post(PATH, fields, files={"file": ("C:\\logs\\../bench.csv", text.encode(), "text/csv")})


def test_a_day_is_typed_once_in_the_gardens_units(phone: Phone) -> None:
    form = {"day": "2026-07-24", "low": "9,5", "high": "21"}
    assert "1 day new" in words(phone.post(PATH, form))
    assert "1 day there already" in words(phone.post(PATH, form))  # sent twice
    assert days(phone) == {"2026-07-24": (9.5, 21.0)}
    phone.post("/settings", {"name": "units", "value": "F"})
    assert "Minimum, °F" in words(phone.get(PATH))
    assert "1 day replaced" in words(phone.post(PATH, form | {"low": "50", "high": "68"}))
    assert days(phone) == {"2026-07-24": (10.0, 20.0)}


def test_a_day_that_cannot_be_is_refused_and_what_was_typed_stays(phone: Phone) -> None:
    for change, why in (
        ({"low": "30"}, "minimum is above the maximum"),
        ({"low": "cold"}, "as numbers"),
        ({"low": "nan"}, "as numbers"),
        ({"high": "900"}, "no thermometer shows"),
        ({"day": "2026-07-25"}, "is not over yet"),
        ({"day": "24 July"}, "Say which day"),
    ):
        page = phone.post(PATH, {"day": "2026-07-24", "low": "9", "high": "21"} | change)
        assert page.status_code == 422 and why in words(page), change
        assert ("Nothing was changed" in words(page) and 'value="21"' in page.text) or "high" in change
    assert days(phone) == {}


def test_a_file_is_read_asked_about_and_told(phone: Phone) -> None:
    text = "date,tmin,tmax\n03/04/2026,1,9\n04/04/2026,2,11\n"
    order = sent(phone, text)
    assert "How does a date such as" in words(order) and "--" not in words(order)
    token = dict(HIDDEN.findall(order.text))
    units = phone.post(PATH, token | {"date_order:": "day-first"})
    assert "Which degrees are these?" in words(units) and days(phone) == {}
    assert "2 days new" in words(phone.post(PATH, token | {"units:": "C"}))
    assert days(phone) == {"2026-04-03": (1.0, 9.0), "2026-04-04": (2.0, 11.0)}
    assert "2 days there already" in words(phone.post(PATH, token))  # sent twice
    assert phone.post(PATH, {"token": "x" * 32}).status_code == 422


def test_what_is_wrong_with_a_file_is_told_by_line_and_column_and_stays_short(phone: Phone) -> None:
    rows = [f"{date(1970, 1, 1) + timedelta(n)},x{n},9" for n in range(20_000)]
    page = sent(phone, "date,tmin,tmax\n" + "\n".join(rows), units="C")
    assert page.status_code == 422 and len(page.content) < 200_000
    assert "bench.csv, line 2, column tmin" in words(page) and "and 19,970 more" in words(page)
    assert "logs" not in page.text and days(phone) == {}
    assert "needs the columns date, tmin and tmax" in words(sent(phone, "a,b\n1,2\n"))
    assert "--" not in words(sent(phone, "a,b\n1,2\n"))
    late = sent(phone, "date,tmin,tmax\n2026-07-24,1,9\n2026-07-26,1,9\n", units="C")
    assert "after today" in words(late) and days(phone) == {}
    binary = phone.post(PATH, files={"file": ("a.csv", io.BytesIO(b"PK\x03\x04" + bytes(50)), "text/csv")})
    assert "spreadsheet" in words(binary)
    assert "Choose a file" in words(phone.post(PATH, {"file": ""}))
