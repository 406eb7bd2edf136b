"""Sentences on a narrow terminal are broken at words; what stands between the words is kept where it fits."""

from __future__ import annotations

import pytest

from toolbench.cli.wrapping import told, wrapped


def test_a_long_line_is_broken_at_words_and_its_rest_indented() -> None:
    # by hand, at most 20 characters a line
    assert wrapped("note: no sensor is stated\n  state the sensor in it", 20) == (
        "note: no sensor is\n  stated\n  state the sensor\n    in it"
    )


def test_a_line_that_fits_keeps_its_columns() -> None:
    assert wrapped("rows      3, 2 s", 40) == "rows      3, 2 s"


def test_a_path_is_never_broken() -> None:
    path = "recordings/wrench-a/near/held-1.csv:"
    assert path in wrapped(f"wrong: {path} does not exist", 24).split("\n")[1]


def test_a_pipe_gets_whole_lines(capsys: pytest.CaptureFixture[str]) -> None:
    told("word " * 60)
    assert capsys.readouterr().out == "word " * 60 + "\n"
