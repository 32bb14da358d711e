"""`flushcast calendar`: two parsers read it, and events move instead of piling up."""

from __future__ import annotations

from datetime import date, timedelta

import icalendar
import pytest
import vobject

from data_sources.demo.climate import synthetic_weather
from tests.reports.bench import Bench, new_bench
from tests.reports.demo import DAY, FEW, demo_folder, own_demo

CARE = (b"care", b"after")


@pytest.fixture
def bench(tmp_path):
    return Bench(own_demo(tmp_path, trees=FEW), today=DAY.isoformat())


def written(bench, path):
    bench.does("calendar", "--out", path)
    return {str(e["UID"]): e for e in icalendar.Calendar.from_ical(path.read_bytes()).walk("VEVENT")}


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """The demo's calendar, written once for the tests that only read it."""
    path = tmp_path_factory.mktemp("shown") / "g.ics"
    return path, written(Bench(demo_folder(), today=DAY.isoformat()), path)


def test_two_independent_parsers_read_the_same_events(shown):
    path, events = shown
    other = vobject.readOne(path.read_text(encoding="utf-8"))
    assert other.behavior.validate(other, raiseException=True)
    theirs = {e.uid.value: e for e in other.vevent_list}
    assert set(theirs) == set(events) and len(events) > 10
    for uid, event in events.items():
        assert theirs[uid].summary.value == str(event["SUMMARY"])
        assert theirs[uid].dtstart.value == event["DTSTART"].dt
        assert theirs[uid].dtend.value == event["DTEND"].dt


def test_events_are_short_all_day_and_take_no_time(shown):
    path, events = shown
    for event in events.values():
        assert type(event["DTSTART"].dt) is date and event["DTEND"].dt > event["DTSTART"].dt
        assert len(str(event["SUMMARY"])) <= 40
        assert str(event["TRANSP"]) == "TRANSPARENT"
        assert "the leaf decides" in str(event["DESCRIPTION"])
        if "last day to cut" in str(event["SUMMARY"]):  # as windows give the reason, which need not be frost
            assert "21 days before the first frost" in str(event["DESCRIPTION"])
    lines = path.read_bytes().split(b"\r\n")
    assert max(map(len, lines)) <= 75 and b"\n" not in b"".join(lines)


def test_writing_again_changes_nothing(shown):
    path, _ = shown
    first = path.read_bytes()
    written(Bench(demo_folder(), today=DAY.isoformat()), path)
    assert path.read_bytes() == first


def test_a_look_moves_its_tree_and_raises_only_what_changed(bench, tmp_path):
    path = tmp_path / "g.ics"
    before = written(bench, path)
    bench.does("look", "beech", "firm")
    after = written(bench, path)
    moved = {u for u in after if u in before and int(after[u]["SEQUENCE"]) == 1}
    assert moved and any("Beech" in str(after[u]["SUMMARY"]) for u in moved)
    for uid in set(before) & set(after):
        names = ("DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "STATUS")
        same = all(before[uid][n].to_ical() == after[uid][n].to_ical() for n in names)
        assert int(after[uid]["SEQUENCE"]) == (0 if same else 1)


def test_what_is_no_longer_expected_is_cancelled_and_later_dropped(bench, tmp_path):
    path = tmp_path / "g.ics"
    before = written(bench, path)
    bench.does("tree", "retire", "azalea")
    after = written(bench, path)
    gone = [u for u in before if "Azalea" in str(before[u]["SUMMARY"])]
    assert gone
    for uid in gone:
        assert str(after[uid]["STATUS"]) == "CANCELLED" and int(after[uid]["SEQUENCE"]) == 1
    again = written(bench, path)
    assert all(int(again[uid]["SEQUENCE"]) == 1 for uid in gone)


def test_with_a_guess_only_it_is_a_weekly_rhythm_and_never_a_window(tmp_path):
    bench = new_bench(tmp_path / "new")
    weather = synthetic_weather(date(2023, 1, 1), date(2026, 7, 24), 47.2, seed=3)
    days = (weather.first_day + timedelta(days=n) for n in range(len(weather.tmin)))
    rows = [f"{d},{a},{b}" for d, a, b in zip(days, weather.tmin, weather.tmax, strict=True)]
    (tmp_path / "w.csv").write_text("\n".join(["date,tmin,tmax", *rows]))
    bench.does("weather", "add", tmp_path / "w.csv", "--units", "C")
    bench.does("look", "elm 1", "soft", "--date", "2026-07-20")
    events = written(bench, tmp_path / "g.ics").values()
    titles = {str(e["SUMMARY"]) for e in events}
    assert "Elm 1: look weekly" in titles and not any("probably" in title for title in titles)
    assert all("RRULE" in e for e in events)


def test_somebody_elses_calendar_is_left_alone(bench, tmp_path):
    path = tmp_path / "mine.ics"
    path.write_text("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//somebody//EN\r\nEND:VCALENDAR\r\n")
    assert "was not written by flushcast" in bench.refuses("calendar", "--out", path)
    path.write_text("dear diary")
    assert "is no calendar" in bench.refuses("calendar", "--out", path)
    assert path.read_text() == "dear diary"
    assert "cannot write" in bench.refuses("calendar", "--out", tmp_path / "no" / "g.ics")


def test_care_after_work_stands_in_the_calendar_and_goes_with_the_work(bench, tmp_path):
    path = tmp_path / "g.ics"
    bench.does("work", "crab apple", "cutback", "--date", "2026-06-12")
    care = {
        str(e["SUMMARY"]): (e["DTSTART"].dt, e["DTEND"].dt)
        for e in written(bench, path).values()
        if str(e["SUMMARY"]).startswith("Crab apple") and e["CATEGORIES"].to_ical() in CARE
    }
    june, july = (lambda n: date(2026, 6, n)), (lambda n: date(2026, 7, n))
    assert care == {
        "Crab apple: shade and shelter": (june(12), june(20)),  # 12 to 19 June, the end not included
        "Crab apple: look at buds, and for pests": (june(26), july(11)),
    }
    told = next(str(e["DESCRIPTION"]) for e in written(bench, path).values() if str(e["SUMMARY"]) in care)
    assert "Water as the pot dries" in told and "so that flower buds set" in told
    before = written(bench, path)
    assert not [e for e in before.values() if int(e["SEQUENCE"])]  # a day's rewriting moves no care
    bench.does("undo")
    after = written(bench, path)
    gone = [u for u, e in before.items() if str(e["SUMMARY"]) in care and "Crab" in str(e["SUMMARY"])]
    assert gone and {str(after[u]["STATUS"]) for u in gone} == {"CANCELLED"}


def test_care_keeps_its_dates_from_day_to_day(bench, tmp_path):
    path = tmp_path / "g.ics"
    bench.does("work", "crab apple", "cutback", "--date", "2026-06-12")

    def care(bench):
        events = written(bench, path)
        return {
            u: (e["DTSTART"].dt, e["DTEND"].dt)
            for u, e in events.items()
            if e["CATEGORIES"].to_ical() in CARE and str(e["STATUS"]) == "CONFIRMED"
        }

    first = care(bench)
    toml = bench.folder / "garden.toml"
    toml.write_text(toml.read_text().replace("2026-06-14", "2026-06-15"))
    assert len(first) > 2 and care(bench.on("2026-06-15")).items() <= first.items()


def test_wire_has_a_look_of_its_own(bench, tmp_path):
    bench.does("work", "hornbeam 1", "wiring", "--date", "2026-06-01")
    events = written(bench, tmp_path / "g.ics").values()
    assert [str(e["SUMMARY"]) for e in events if "wire" in str(e["SUMMARY"])] == [
        "Hornbeam 1: look at the wire"
    ]
