"""The page for Python users: its blocks run in their order and print what is shown."""

from __future__ import annotations

import ast
import contextlib
import io
import re
from pathlib import Path

import pandas as pd
import pytest

PAGE = (Path(__file__).resolve().parent.parent / "docs" / "python.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```python\n(.*?)^```\n(?:```text\n(.*?)^```\n)?", PAGE, flags=re.MULTILINE | re.DOTALL)


@pytest.fixture
def usual_width():
    """The page sets how wide frames are printed; others want it as it was."""
    usual = [(name, pd.get_option(name)) for name in ("display.width", "display.max_columns")]
    with pd.option_context(*(part for pair in usual for part in pair)):
        yield


def test_the_page_runs_from_top_to_bottom_as_printed(tmp_path, monkeypatch, usual_width) -> None:
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    for code, shown in BLOCKS:
        assert plain(printed(code, names, value_too=bool(shown))) == plain(shown), code
    assert (tmp_path / "garden.svg").is_file() and (tmp_path / "beech.png").is_file()
    assert len([shown for _, shown in BLOCKS if shown]) >= 15


def printed(code: str, names: dict[str, object], *, value_too: bool) -> str:
    """What a cell of a notebook shows: what it prints, and the value of its last line."""
    tree = ast.parse(code)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) and value_too else None
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        exec(compile(tree, "docs/python.md", "exec"), names)
        if last is not None:
            print(repr(eval(ast.unparse(last), names)))
    return out.getvalue()


def plain(text: str) -> list[str]:
    """Lines without blanks at their ends."""
    return [line.rstrip() for line in text.rstrip().splitlines()]


@pytest.mark.parametrize("code", [code for code, _ in BLOCKS])
def test_code_fits_a_screen(code) -> None:
    assert max(map(len, code.splitlines())) <= 110
