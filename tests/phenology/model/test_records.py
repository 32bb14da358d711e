"""Names in records: one of a few, however they come in."""

from __future__ import annotations

import json
from datetime import date

import pytest

from phenology.model.errors import UnknownNameError
from phenology.model.operations import Operation
from phenology.model.records import Aim, Look, Work
from phenology.model.stages import Part, Stage, stage_rank

DAY = date(2026, 7, 4)


def test_a_record_spells_the_names_it_is_given():
    look = Look("k", "t", "f", "hardened", "4 July", DAY, DAY, part="inside")
    work = Work("w", "t", "cutback", "4 July", DAY, DAY)
    assert look.stage is Stage.HARDENED and look.part is Part.INSIDE
    assert work.operation is Operation.CUTBACK and work.operation.wakes and work.part is None


def test_a_name_that_is_none_is_refused_with_near_ones():
    with pytest.raises(UnknownNameError, match=r"no stage called 'hard'\. Did you mean hardened"):
        Look("k", "t", "f", "hard", "4 July", DAY, DAY)
    with pytest.raises(
        UnknownNameError, match=r"no growth aim called 'reform'\. Did you mean refining or rest"
    ):
        Aim("a", "t", "reform")


def test_names_are_text_where_they_are_kept():
    assert json.dumps({"stage": Stage.BUDBREAK}) == '{"stage": "budbreak"}'
    assert f"{Stage.BARE}, {Operation.BASAL_LEAF}" == "bare, basal-leaf"
    assert [stage.rank for stage in Stage] == list(range(8)) == [stage_rank(str(stage)) for stage in Stage]
