"""Several hands at one garden: each runs real commands in a process of its own, all at the same time."""

from __future__ import annotations

import multiprocessing
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from reports.cli.setup import settings_command, species_command, tree_command  # noqa: F401  loaded before the fork
from reports.cli.writing import entry_commands, import_command  # noqa: F401
from tests.reports.bench import Answer, Bench

Command = Sequence[object]


def _run(folder: Path, today: str, commands: list[Command], gate: Any, answers: Any) -> None:
    bench = Bench(folder, today)
    gate.wait()
    for command in commands:
        try:
            answer = bench(*command)
        except Exception as error:  # a traceback for the grower
            answer = Answer("", repr(error), -1)
        answers.put((command, answer))


def at_once(bench: Bench, *hands: Sequence[Command]) -> list[tuple[Command, Answer]]:
    """Every hand runs its commands one after the other, all hands at once; what each command answered."""
    fork = multiprocessing.get_context("fork")
    gate, answers = fork.Barrier(len(hands)), fork.Queue()
    workers = [
        fork.Process(target=_run, args=(bench.folder, bench.today, list(commands), gate, answers))
        for commands in hands
    ]
    for worker in workers:
        worker.start()
    found = [answers.get(timeout=300) for commands in hands for _ in commands]
    for worker in workers:
        worker.join()
    return found
