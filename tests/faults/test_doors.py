"""A bounded part of the long runs: mutated files and texts through every door, kills at random calls."""

from __future__ import annotations

import shutil

import pytest

from tests.faults import proof

pytestmark = pytest.mark.slow


def test_mutated_inputs_are_answered_in_a_sentence() -> None:
    assert proof.inputs(800, seed=20261129) == []


@pytest.mark.skipif(shutil.which("strace") is None, reason="needs strace, to kill at a system call")
def test_killed_commands_leave_all_or_nothing() -> None:
    assert proof.kills(60, seed=20261129) == []
