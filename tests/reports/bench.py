"""A garden of three trees, and flushcast run in this process, for tests of the commands that write."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from click.testing import CliRunner

from phenology.model.errors import FlushcastError
from reports.cli.main import cli

TODAY = "2026-07-25"  # a Saturday
TREES = ("Hornbeam 1=Carpinus laxiflora", "Hornbeam 2=Carpinus laxiflora", "Elm 1=Ulmus parvifolia")


@dataclass(frozen=True)
class Answer:
    """What a command said: data, words, exit code."""

    out: str
    err: str
    code: int

    @property
    def words(self) -> str:
        """Words on one line, as if the terminal were wide."""
        return " ".join(self.err.split())


@dataclass(frozen=True)
class Bench:
    """A garden's folder and a day; calling it runs a command there."""

    folder: Path
    today: str = TODAY

    def __call__(self, *args: object, input: str | None = None) -> Answer:
        env = {"FLUSHCAST_GARDEN": str(self.folder), "FLUSHCAST_TODAY": self.today}
        result = CliRunner().invoke(cli, [str(a) for a in args], input=input, env=env)
        if isinstance(result.exception, FlushcastError):
            return Answer(result.stdout, f"flushcast: {result.exception}", 1)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return Answer(result.stdout, result.stderr, result.exit_code)

    def does(self, *args: object) -> Answer:
        """Run a command that must succeed."""
        answer = self(*args)
        assert answer.code == 0, answer.err
        return answer

    def refuses(self, *args: object) -> str:
        """Run a command that must fail with one sentence; returns it."""
        answer = self(*args)
        assert answer.code == 1, (answer.code, answer.out, answer.err)
        assert answer.err.startswith("flushcast: ")
        return answer.err

    def on(self, today: str) -> Bench:
        """The same garden on another day."""
        return Bench(self.folder, today)


def new_bench(folder: Path, *more: object, lat: str = "47.2", lon: str = "8.3") -> Bench:
    """A fresh garden."""
    bench = Bench(folder)
    trees = [part for tree in TREES for part in ("--tree", tree)]
    bench.does("init", folder, "--lat", lat, "--lon", lon, "--elevation", "410", *trees, *more)
    return bench
