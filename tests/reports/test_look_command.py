"""`flushcast look`: ten seconds at the bench. Today is Saturday 25 July 2026."""

from __future__ import annotations

import pytest

from data_sources.garden import open_journal
from phenology.model.errors import StoreError
from reports.cli.common import garden_folder
from reports.entries.look_editor import LookEditor
from reports.garden.open_garden import OpenGarden
from tests.reports.bench import new_bench


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A garden whose looks work out no stop dates, which takes long: `test_change_text.py` has those."""
    monkeypatch.setattr(LookEditor, "moved", lambda _: ())
    return new_bench(tmp_path / "garden")


def looks(bench):
    with open_journal(bench.folder) as journal:
        return journal.looks()


def flushes(bench):
    with open_journal(bench.folder) as journal:
        return journal.flushes()


def test_one_line_says_what_was_understood_and_how_to_undo_it(tmp_path):
    bench = new_bench(tmp_path / "garden")
    answer = bench.does("look", "hornbeams", "soft")
    assert answer.err == "Hornbeam 1, Hornbeam 2: extending, Sat 25 Jul. Undo: flushcast undo\n"
    assert answer.out == ""
    assert [(k.stage, k.kind, k.earliest.isoformat()) for k in looks(bench)] == [
        ("extending", "seen", "2026-07-25")
    ] * 2


@pytest.mark.parametrize(
    "typed, labels",
    [
        (["Elm 1", "still", "going"], "Elm 1"),
        (["all but 2", "soft"], "Elm 1, Hornbeam 1"),
        (["all", "but", "2", "soft"], "Elm 1, Hornbeam 1"),
        (["bench", "soft"], "Elm 1, Hornbeam 1, Hornbeam 2"),
        (["Ulmus parvifolia", "ext" + "ending"], "Elm 1"),
    ],
)
def test_trees_and_stages_are_taken_as_they_are_said(bench, typed, labels):
    assert bench.does("look", *typed).words.startswith(f"{labels}: extending")


def test_a_look_that_is_there_already_works_nothing_out(bench, monkeypatch):
    bench.does("look", "Elm 1", "soft")
    monkeypatch.setattr(LookEditor, "moved", lambda _: pytest.fail("nothing was written down"))
    assert bench.does("look", "Elm 1", "soft").err == "Elm 1: written down already.\n"


def test_same_as_last_time_means_the_trees_of_the_last_entry(bench):
    bench.does("look", "hornbeams", "soft", "--date", "1 July")
    assert bench.does("look", "same", "stopped").words.startswith("Hornbeam 1, Hornbeam 2: extended")
    bench.does("undo")
    bench.does("work", "Elm 1", "feeding")
    assert bench.does("look", "same", "soft").words.startswith("Elm 1: extending")


def test_a_vague_date_is_kept_as_typed_and_shown_back(bench):
    answer = bench.does(
        "look", "Elm 1", "hardened", "--date", "about 4 July", "--who", "me", "--leaves", "5,6 5"
    )
    assert answer.words.startswith('Elm 1: hardened, came about 30 Jun-8 Jul ("about 4 July").')
    (look,) = looks(bench)
    assert (look.date_text, look.kind, look.who, look.leaves) == ("about 4 July", "happened", "me", "5,6,5")
    listed = bench.does("look", "--list").out
    assert "came about 4 July" in " ".join(listed.split())


def test_a_date_that_may_be_seen_or_happened_says_how_it_was_taken(bench):
    answer = bench.does("look", "Elm 1", "firm", "--date", "mid July")
    assert "Taken as seen by then; add --kind happened" in answer.words
    assert [k.kind for k in looks(bench)] == ["seen"]
    bench.does("look", "Hornbeam 1", "firm", "--date", "mid July", "--kind", "happened")
    assert "happened" in {k.kind for k in looks(bench)}


@pytest.mark.parametrize("day, listed", [("10/6/2024", "then"), ("mid June 2024", "mid June 2024")])
def test_a_date_of_long_ago_that_stands_alone_is_when_it_came_about(bench, day, listed):
    bench.does("settings", "date-order", "day-first")
    answer = bench.does("look", "Elm 1", "hardened", "--date", day)
    assert "came about" in answer.words and "--kind seen" in answer.words
    assert "came about" not in bench.does("look", "Elm 1", "turning", "--date", "20 Oct 2024").words
    assert [look.kind for look in looks(bench)] == ["happened", "seen"]
    assert f"came about {listed}" in bench.does("look", "--list").out


def test_one_of_several_looks_shows_what_stood_then(bench):
    for day, stage in (("1 June 2024", "extending"), ("10 June 2024", "extended")):
        bench.does("look", "Elm 1", stage, "--date", day)
    assert [look.kind for look in looks(bench)] == ["seen", "seen"]


def test_grown_leaves_days_after_the_cut_are_the_old_ones_and_early_shoots_are_doubted(bench):
    june = bench.on("2026-06-14")
    june.does("look", "Elm 1", "hardened")
    june.does("work", "Elm 1", "cutback", "--yes")
    later = bench.on("2026-06-19")
    assert "Taken for the old leaves" in later.does("look", "Elm 1", "firm").words


def test_an_earlier_stage_after_a_later_one_asks_and_new_flush_answers(bench):
    bench.does("look", "Elm 1", "firm", "--date", "1 July")
    told = bench.refuses("look", "Elm 1", "breaking")
    assert "Elm 1: budbreak (25 Jul 2026) comes after hardened (1 Jul 2026)" in told
    assert "A new flush, or a wrong look?" in told
    assert len(looks(bench)) == 1
    answer = bench.does("look", "Elm 1", "breaking", "--new-flush", "--cause", "rain after drought")
    assert "This opens flush 2." in answer.words
    second = next(f for f in flushes(bench) if f.started_by == "seen")
    assert second.cause == "rain after drought"


def test_the_question_names_an_id_that_corrects_the_other_look(bench):
    bench.does("look", "Elm 1", "firm", "--date", "1 July")
    told = bench.refuses("look", "Elm 1", "soft")
    id = told.split("--correct ")[1][:8]
    bench.does("look", "--correct", id, "soft")
    bench.does("look", "Elm 1", "soft")
    assert {k.stage for k in looks(bench)} == {"extending"}


def test_the_same_look_again_is_known(bench):
    bench.does("look", "Elm 1", "soft")
    assert "written down already" in bench.does("look", "Elm 1", "soft").words
    assert len(looks(bench)) == 1


def test_another_stage_of_the_same_day_stands_and_is_named_with_the_way_out(bench):
    bench.does("look", "Elm 1", "firm")
    told = bench.does("look", "Elm 1", "soft").words
    assert "Elm 1: hardened is on record of that day too; if it was a slip: flushcast look --remove" in told
    bench.does("look", "--remove", told.partition("--remove ")[2].split(".")[0])
    assert [look.stage for look in looks(bench)] == ["extending"]


@pytest.mark.parametrize(
    "args, sentence",
    [
        (["Elm 1", "soft", "--date", "2026-07-26"], "is in the future"),
        (["Elm 1", "soft", "--date", "29 Feb 2025"], "February 2025 has 28 days"),
        (["Ulm 1", "soft"], "no tree, species or place called 'Ulm 1'. Did you mean Elm 1"),
        (["soft", "elm"], "the trees come first: elm soft"),
        (["Elm 1", "sofd"], "no stage called 'sofd'. Did you mean soft (extending)"),
        (["Elm 1", "exten"], "'exten' may be extending or extended"),
        (["Elm 1", "soft", "--mark", "burnt"], "no mark called 'burnt'"),
        (["Elm 1", "soft", "--leaves", "many"], "--leaves takes counts such as 5,6,5"),
    ],
)
def test_what_cannot_be_used_gets_one_sentence_and_changes_nothing(bench, args, sentence):
    told = bench.refuses("look", *args)
    assert sentence in told
    assert len(told.splitlines()) == 1
    assert looks(bench) == []


def test_one_tree_that_cannot_stand_refuses_all(bench):
    bench.does("look", "Hornbeam 2", "firm", "--date", "1 July")
    assert "Hornbeam 2: extending" in bench.refuses("look", "hornbeams", "soft")
    assert len(looks(bench)) == 1


def test_looks_are_listed_corrected_and_taken_out(bench):
    bench.does("look", "Elm 1", "soft", "--date", "1 July", "--note", "after the hail", "--mark", "checked")
    listed = bench.does("look", "--list").out
    assert "Wed 1 Jul" in listed and "checked; after the hail" in listed
    id = listed.splitlines()[1].split()[0]
    answer = bench.does("look", "--correct", id, "--date", "3 July", "--mark", "none", "--note", "")
    assert "(was extending (checked), Wed 1 Jul)" in answer.words
    (look,) = looks(bench)
    assert (look.latest.day, look.checked, look.note) == (3, False, None)
    assert "nothing to correct" in bench.refuses("look", "--correct", id)
    bench.does("look", "--remove", id)
    assert looks(bench) == [] and flushes(bench) == []
    assert "there is no look with the id" in bench.refuses("look", "--remove", id)
    bench.does("undo")
    assert len(looks(bench)) == 1


def test_lists_keep_to_eighty_columns(bench):
    bench.does("look", "all", "soft", "--note", "a long note about how the leaves felt " * 4)
    bench.does("work", "all", "cutback", "--note", "with the small shears, on a dry day, in the shade " * 3)
    for command in (["look", "--list"], ["work", "--list"], ["history"], ["tree", "list"], ["settings"]):
        answer = bench.does(*command)
        assert max(len(line) for line in answer.out.splitlines()) <= 80


def test_lists_lose_nothing_on_a_narrow_terminal(bench, monkeypatch):
    bench.does("work", "Elm 1", "partial", "--date", "25 June 2025")
    wide = [bench.does(*words).out.split() for words in (["work", "--list"], ["tree", "list"], ["settings"])]
    monkeypatch.setenv("COLUMNS", "40")
    for words, known in zip((["work", "--list"], ["tree", "list"], ["settings"]), wide, strict=True):
        told = bench.does(*words).out
        assert max(map(len, told.splitlines())) <= 40
        assert sorted("".join(told.split())) == sorted("".join(known))


def test_a_lost_flush_is_over_and_the_next_growth_opens_another(bench):
    bench.does("look", "Elm 1", "soft", "--date", "1 June", "--mark", "frosted")
    assert "This opens flush 2." in bench.does("look", "Elm 1", "breaking", "--date", "1 July").words
    first, second = flushes(bench)
    assert (first.ended_why, second.started_by) == ("lost", "seen")


def test_a_season_runs_across_new_year_in_the_south(tmp_path):
    south = new_bench(tmp_path / "south", lat="37.8 S", lon="145").on("2027-01-20")
    south.does("look", "Elm 1", "breaking", "--date", "20 Sep 2026")
    south.does("look", "Elm 1", "firm", "--date", "10 January")
    assert [f.season for f in flushes(south)] == [2026]
    told = south.refuses("look", "Elm 1", "soft")
    assert "comes after hardened (10 Jan 2027)" in told


def test_usage_errors_are_usage_errors(bench):
    assert bench("look", "Elm 1").code == 2
    assert bench("look", "--list", "--remove", "x").code == 2


def test_without_a_garden_one_sentence_says_what_to_do(bench):
    gone = bench.__class__(bench.folder / "nowhere")
    assert "run 'flushcast init'" in gone.refuses("look", "Elm 1", "soft")


def test_a_garden_that_lost_its_settings_is_known_where_it_stands(bench, monkeypatch):
    (bench.folder / "garden.toml").unlink()
    monkeypatch.chdir(bench.folder)
    with pytest.raises(StoreError, match=r"has lost its garden\.toml"):
        OpenGarden(garden_folder(None)).trees  # noqa: B018


def test_a_flush_may_end_unfinished_with_why(bench):
    bench.does("look", "Elm 1", "soft", "--date", "1 July")
    answer = bench.does("look", "Elm 1", "soft", "--ended", "dried out")
    assert "The flush ends here: dried out." in answer.words
    (flush,) = flushes(bench)
    assert (str(flush.ended_on), flush.ended_why) == ("2026-07-25", "dried out")
    assert "ended Sat 25 Jul: dried out" in bench.does("tree", "list", "Elm 1").out
    again = bench.refuses("look", "Elm 1", "soft", "--ended", "eaten", "--date", "24 July")
    assert "this flush ended already on 25 Jul 2026: dried out" in again


def test_the_end_of_a_flush_goes_and_moves_with_the_look_that_told_it(bench):
    bench.does("look", "Elm 1", "soft", "--date", "1 July")
    bench.does("look", "Elm 1", "soft", "--ended", "dried out")
    newest = max(looks(bench), key=lambda k: k.latest).id
    bench.does("look", "--correct", newest, "--date", "20 July")
    (flush,) = flushes(bench)
    assert (str(flush.ended_on), flush.ended_why) == ("2026-07-20", "dried out")
    bench.does("look", "--remove", newest)
    (flush,) = flushes(bench)
    assert flush.ended_on is None and flush.ended_why is None


def test_of_two_flushes_side_by_side_the_answer_names_the_one_meant(bench):
    bench.does("look", "Elm 1", "stopped", "--date", "1 July")
    bench.does("work", "Elm 1", "partial defoliation", "--date", "4 July")
    outer = bench.does("look", "Elm 1", "breaking", "--date", "20 July")
    assert "Taken for flush 2; --part inside is for the older one" in outer.words
    inner = bench.does("look", "Elm 1", "firm", "--part", "inside")
    assert "Taken for flush 1, which goes on beside a newer one." in inner.words
    assert len({k.flush_id for k in looks(bench)}) == 2


def test_a_date_that_may_be_two_days_says_how_to_settle_it_once(bench):
    bench.does("settings", "date-order", "--reset")
    told = bench.refuses("look", "Elm 1", "soft", "--date", "4/7/2026")
    assert "may be 4 July or 7 April" in told and "flushcast settings date-order day-first" in told
    assert looks(bench) == []
    bench.does("settings", "date-order", "day-first")
    assert "Sat 4 Jul" in bench.does("look", "Elm 1", "soft", "--date", "4/7/2026").words
