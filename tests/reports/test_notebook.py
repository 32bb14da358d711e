"""The front door for Python: what it exports, what its frames hold, and that they agree with the commands."""

from __future__ import annotations

import importlib
import inspect
import json
import re
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

import reports.notebook
from phenology.model.errors import InputError, StoreError, WeatherError
from reports.notebook import GardenFrames, open_garden
from reports.notebook.opened import framed
from reports.table import Column
from tests.reports.bench import Bench
from tests.reports.demo import DAY, FEW, demo_folder, flushcast, own_demo

CHARTS = Path(reports.notebook.__file__).parent.parent / "charts"
FRAMES = {
    name: {}
    for name, _ in inspect.getmembers(GardenFrames, inspect.isfunction)
    if not name.startswith(("_", "plot_", "read_"))
} | {
    "calibration": {"species": "elm"},
    "classic": {"species": "elm"},
    "past_forecasts": {"species": "elm"},
    "elsewhere": {"there": "Larkfield"},
}


@pytest.fixture(scope="module")
def garden() -> GardenFrames:
    return open_garden(demo_folder())


def test_linear_algebra_runs_on_one_thread_while_a_frame_is_reckoned_and_as_before_after_it() -> None:
    def threads() -> list[int]:
        return [one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"]

    with threadpool_limits(2, "blas"):
        before = threads()
        frame = framed([Column("threads", "count", int)], "a library")(threads)()
        assert set(frame["threads"]) == {1}
        assert threads() == before


def test_the_public_names_are_these() -> None:
    assert reports.notebook.__all__ == ["GardenFrames", "HindcastFrames", "hindcast", "open_garden"]
    assert all(getattr(reports.notebook, name).__doc__ for name in reports.notebook.__all__)


def test_the_frames_are_these() -> None:
    """A result for Python users is also named in the table of `GardenFrames` and on the page."""
    page = (CHARTS.parent.parent / "docs" / "python.md").read_text(encoding="utf-8")
    assert len(FRAMES) >= 30
    for name in FRAMES:
        assert f"`{name}`" in (GardenFrames.__doc__ or ""), name
        assert f"`{name}`" in page, name


@pytest.mark.parametrize("name", sorted(FRAMES.keys() - {"readings"}))
def test_every_frame_documents_its_columns_and_owns_its_rows(name, garden) -> None:
    frame = getattr(garden, name)(**FRAMES[name])
    assert isinstance(frame, pd.DataFrame)
    method = getattr(GardenFrames, name)
    if name != "clocks":  # a column a clock
        assert not [c for c in frame.columns if f"``{c}``" not in method.__doc__]
    assert ">>> " in method.__doc__
    before = frame.copy()
    dates_are_dates_and_the_rest_is_no_object_but_text(frame)
    frame.iloc[:, :] = frame.iloc[::-1].to_numpy()
    pd.testing.assert_frame_equal(getattr(garden, name)(**FRAMES[name]), before)


def dates_are_dates_and_the_rest_is_no_object_but_text(frame: pd.DataFrame) -> None:
    day = pd.date_range("2026-01-01", periods=1).dtype
    for column, values in frame.items():
        if isinstance(values.dtype, pd.DatetimeTZDtype) or pd.api.types.is_datetime64_dtype(values):
            assert values.dtype == day or column == "at"
        elif not pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
            assert all(isinstance(v, str) for v in values.dropna()), column


def test_a_garden_without_anything_gives_empty_frames_of_the_same_columns(tmp_path, garden) -> None:
    folder = tmp_path / "bare"
    Bench(folder).does("init", folder, "--lat", "47", "--lon", "8")
    bare = open_garden(folder)
    for name in ("trees", "looks", "work", "flushes", "intervals", "habits", "observers", "care", "frosts"):
        empty, full = getattr(bare, name)(), getattr(garden, name)()
        assert len(empty) == 0 and list(empty.columns) == list(full.columns)
        assert empty.dtypes.to_dict() == full.dtypes.to_dict(), name
    assert bare.forecast().empty and bare.outlook.usual_warmth.startswith("No weather yet")
    with pytest.raises(WeatherError, match="there is no weather for"):
        bare.weather()


@pytest.mark.slow
def test_the_forecast_is_that_of_the_command(tmp_path) -> None:
    folder = own_demo(tmp_path)
    told = json.loads(flushcast("--garden", folder, "forecast", "--json").stdout)["rows"]
    frame = open_garden(folder).forecast()
    assert len(frame) == len(told)
    assert frame["label"].tolist() == [row["label"] for row in told]
    for name in ("p10", "p25", "p50", "p75", "p90", "last_safe"):
        dates = [None if pd.isna(day) else day.date().isoformat() for day in frame[name]]
        assert dates == [row[name] for row in told]
    for (_, row), record in zip(frame.iterrows(), told, strict=True):
        assert row["p_not"] == record["p_not"] or record["p_not"] is None
        assert row["trust"] == record["trust"] and row["tree"] == record["tree"]
        for when, odds in record["odds"].items():
            assert row[f"odds_{when}"] == odds or (odds is None and pd.isna(row[f"odds_{when}"]))


def test_standing_on_an_earlier_day_is_as_of() -> None:
    folder = demo_folder(trees=FEW)
    told = json.loads(flushcast("--garden", folder, "forecast", "--as-of", "2026-05-01", "--json").stdout)
    then = open_garden(folder, as_of="1 May 2026")
    assert then.as_of == date(2026, 5, 1)
    assert then.forecast()["p50"].dropna().dt.strftime("%Y-%m-%d").tolist() == [
        row["p50"] for row in told["rows"] if row["p50"]
    ]
    assert then.looks()["date"].max() <= pd.Timestamp("2026-05-01")


@pytest.mark.slow
def test_windows_calibration_and_seasons_are_those_of_the_commands(tmp_path) -> None:
    folder = own_demo(tmp_path)
    garden = open_garden(folder)

    def said(*words: str):
        return json.loads(flushcast("--garden", folder, *words, "--json").stdout)

    windows = said("windows")["windows"]
    assert garden.windows()["operation"].tolist() == [w["operation"] for w in windows]
    assert garden.windows()["closes"].dt.strftime("%Y-%m-%d").dropna().tolist() == [
        w["closes"] for w in windows if w["closes"]
    ]
    calibrated = said("calibrate", "elm")
    frame = garden.calibration("elm")
    assert frame["requirement_days_at_18c"].tolist() == [
        row["requirement"]["days_at_18c"] for row in calibrated["rows"]
    ]
    skill = garden.skill().set_index("species").loc["Ulmus parvifolia"]
    assert skill["missed_days"] == calibrated["past_forecasts"][0]["missed_days"]
    compared = said("compare", "2024", "2026")
    assert garden.seasons([2024, 2026])["degree_days_c"].tolist() == [
        row["degree_days"] for row in compared["seasons"]
    ]
    assert len(garden.stages([2024, 2026])) == len(compared["stages"])
    followed = garden.followed([2024, 2026]).drop_duplicates(["species", "operation"])
    assert followed["works"].tolist() == [f["works"] for f in compared["followed"]]
    assert garden.trends()["what"].tolist() == [t["what"] for t in compared["trends"]]


def test_opening_and_asking_writes_nothing(tmp_path) -> None:
    folder = own_demo(tmp_path, trees=FEW)

    def bytes_there() -> dict[str, bytes]:
        return {str(p): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}

    before, here = bytes_there(), Path.cwd()
    garden = open_garden(folder)
    garden.forecast(), garden.calibration(), garden.seasons(), garden.history(), garden.round()
    assert bytes_there() == before and Path.cwd() == here


def test_nothing_is_printed(garden, capsys) -> None:
    garden.forecast(), garden.elsewhere("Larkfield"), garden.plot_garden()
    said = capsys.readouterr()
    assert said.out == said.err == ""


def test_a_garden_that_is_not_there_is_said_so(tmp_path) -> None:
    with pytest.raises(StoreError, match="no garden"):
        open_garden(tmp_path / "nowhere")


def test_a_day_to_come_and_a_vague_day_are_refused(tmp_path) -> None:
    folder = own_demo(tmp_path)
    with pytest.raises(InputError, match="in the future"):
        open_garden(folder, as_of="2026-06-15")
    with pytest.raises(InputError, match="one day"):
        open_garden(folder, as_of="early May")
    with pytest.raises(InputError, match="only the demo"):
        open_garden(folder, south=True)


def test_a_pandas_moment_will_do_for_a_day(tmp_path) -> None:
    assert open_garden("demo", as_of=pd.Timestamp("2026-06-14 18:30")).as_of == DAY


@pytest.mark.slow
def test_south_of_the_equator_a_forecast_is_of_the_season_that_began_in_july() -> None:
    assert set(open_garden("demo", as_of="2025-12-14", south=True).forecast()["season"]) == {2025}


def test_south_of_the_equator_seasons_start_in_july() -> None:
    garden = open_garden("demo", as_of="2025-12-14", south=True)
    assert set(garden.flushes()["season"]) >= {2024, 2025} and garden.flushes()["season"].max() == 2025
    assert garden.thermal_time().index[0] == pd.Timestamp("2025-07-01")
    assert garden.thermal_time()["day"].iloc[-1] == 167


def test_chances_and_quantiles_agree(garden) -> None:
    row = garden.forecast().query("stage == 'hardened' and p50.notna()").iloc[-1]
    daily = garden.chances()
    mine = daily[
        (daily["label"] == row["label"]) & (daily["flush"] == row["flush"]) & (daily["stage"] == "hardened")
    ]
    assert mine["chance"].is_monotonic_increasing
    for level in (50, 90):
        reached = mine[mine["chance"] >= level / 100]["date"].iloc[0]
        assert abs((reached - row[f"p{level}"]).days) <= 1
    assert mine["chance"].iloc[-1] == pytest.approx(1 - row["p_not"], abs=2e-3)


def test_weather_goes_back_into_a_series(garden) -> None:
    from phenology import DailyWeather, check_weather_frame

    frame = check_weather_frame(garden.weather())
    series = DailyWeather.from_frame(frame)
    assert series.last_day == DAY and len(series) == len(frame)


def test_degree_days_add_up(garden) -> None:
    warmth = garden.thermal_time(2025, base=5.0)
    assert len(warmth) == 365 and not warmth["filled"].any()
    assert round(warmth["sum_degree_days_c"].iloc[164], 1) == garden.seasons([2025])["degree_days_c"].iloc[0]
    assert (garden.thermal_time(2025, base=10.0)["degree_days_c"] <= warmth["degree_days_c"] + 1e-9).all()
    with pytest.raises(WeatherError, match="1980"):
        garden.thermal_time(1980)


def test_days_ahead_of_any_season_end_where_the_seasons_table_has_them(garden) -> None:
    assert garden.days_ahead()["days_ahead"].iloc[-1] == garden.seasons([2026])["days_ahead"].iloc[0]
    past = garden.days_ahead(2024)
    assert len(past) == 366
    assert (
        past.set_index("date")["days_ahead"].loc["2024-06-14"] == garden.seasons([2024])["days_ahead"].iloc[0]
    )


def test_leaf_counts_are_those_of_the_command(tmp_path) -> None:
    folder = own_demo(tmp_path, trees=FEW)
    bench = Bench(folder, today=DAY.isoformat())
    bench.does("look", "hornbeam 1", "growing", "--date", "2026-05-04", "--leaves", "4,5,4")
    told = json.loads(bench.does("calibrate", "hornbeam", "--json").out)["leaf_counts"]
    counted = open_garden(folder).leaf_counts("hornbeam")
    assert len(counted) == len(told) == 1
    assert counted["leaves_to_extended_leaves"].tolist() == [told[0]["leaves_to_extended"]["leaves"]]
    assert counted["degree_days_c_a_leaf"].tolist() == [told[0]["degree_days_c_a_leaf"]]


def test_shares_of_clocks_sum_to_one(garden) -> None:
    sums = garden.clock_shares().groupby(["from", "to"])[["prior", "share"]].sum()
    assert len(sums) == 4
    assert (sums - 1).abs().to_numpy().max() < 1e-9


def test_elsewhere_goes_both_ways(garden) -> None:
    warmer, more = garden.weather()[["tmin", "tmax"]] + 3, {"species": "olive", "operation": "cutback"}
    mine, back = (
        garden.elsewhere("A valley", warmer, "5 July", flush=1, from_here=way, **more).iloc[0]
        for way in (False, True)
    )
    assert mine["here"] == "Larkfield benches" and back["here"] == "A valley"
    assert back["due"] < mine["due"].replace(year=back["due"].year)
    alone = garden.elsewhere("Somewhere", None, "5 July", latitude=36.0, **more).iloc[0]
    assert "latitude 36 north stands in" in alone["notes"]
    with pytest.raises(InputError, match="whenever"):
        garden.elsewhere("A valley", warmer, "whenever")


def test_what_was_seen_of_an_own_tree_counts_in_a_lesson(garden) -> None:
    """Roots are not told to be cut this spring where buds were seen to break; a stage seen keeps its date."""
    beech = {"latitude": 36.0, "species": "beech"}
    roots = garden.elsewhere("Far", None, "20 Feb", operation="repotting", **beech).iloc[0]
    assert roots["tree"] == "Beech" and roots["due"].year == garden.as_of.year + 1
    stopped = garden.elsewhere("Far", None, "25 May", operation="cutback", stage="stopped", **beech).iloc[0]
    looks = garden.looks()
    seen = looks[(looks["label"] == "Beech") & (looks["stage"] == "extended")]["latest"].max()
    assert stopped["due"] <= seen and "when the leaves are hard" in stopped["does"]


def test_names_that_mean_nothing_or_too_much_are_refused(garden) -> None:
    with pytest.raises(InputError, match="means 3 trees"):
        garden.plot_tree("hornbeams")
    with pytest.raises(InputError, match="no place 'shed'"):
        garden.weather("shed")
    with pytest.raises(InputError, match="no species"):
        garden.calibration("dandelion")


@pytest.fixture(scope="module")
def measured(tmp_path_factory) -> GardenFrames:
    """The demo garden with a thermometer on the bench that reads two degrees more at night."""
    folder = own_demo(tmp_path_factory.mktemp("measured"), trees=FEW)
    last = open_garden(folder).weather().tail(60)
    readings = folder / "bench.csv"
    (last[["tmin", "tmax"]] + [2.0, 0.0]).clip(upper=last["tmax"] + 0.0, axis=0).to_csv(readings)
    Bench(folder, today=DAY.isoformat()).does("weather", "add", readings, "--units", "C", "--source", "bench")
    return open_garden(folder)


def test_own_readings_stand_beside_the_station_s(measured) -> None:
    frame = measured.readings()
    assert not [c for c in frame.columns if f"``{c}``" not in GardenFrames.readings.__doc__]
    assert len(frame) == 60
    assert (frame["tmin_c"] - frame["other_tmin_c"] - frame["tmin_difference_c"]).abs().max() < 1e-9
    assert frame["tmin_difference_c"].median() == pytest.approx(2.0)
    assert set(measured.weather_coverage()["source"]) == {"bench", "station"}


PLOTS = sorted(
    (path.stem, name)
    for path in CHARTS.glob("*.py")
    if path.stem != "region_map"  # of a grid of places, not of a garden
    for name in re.findall(r"^def (plot_\w+)\(", path.read_text(encoding="utf-8"), flags=re.MULTILINE)
)


@pytest.mark.parametrize(("module", "name"), PLOTS)
def test_every_chart_can_be_drawn_from_the_front_door(module, name, garden, measured) -> None:
    """A new chart gets a method of the same name in `reports/notebook/opening.py`."""
    import matplotlib.pyplot as plt

    assert callable(getattr(importlib.import_module(f"reports.charts.{module}"), name))
    wanted = {"plot_tree": ["Beech"], "plot_ripening": ["Beech"]}.get(name, [])
    if name == "plot_station":
        garden = measured
    own = plt.figure().add_subplot()
    try:
        drawn = getattr(garden, name)(*wanted, ax=own)
        assert drawn is own and drawn.has_data()
    finally:
        plt.close("all")


def test_new_axes_leave_the_reader_s_own_drawing_set_up_alone(garden) -> None:
    import matplotlib as mpl

    mpl.use("svg")
    try:
        garden.plot_seasons()
        assert mpl.get_backend() == "svg"
    finally:
        mpl.use("agg")
