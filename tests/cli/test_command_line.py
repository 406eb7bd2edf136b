"""The command line: help without heavy imports, exit statuses, error sentences. Statuses are the contract's, section 3."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import click
import pytest

from toolbench.cli.main import COMMANDS, toolbench
from toolbench.cli.running import run
from toolbench.errors import Fault, OutputError, RecordingError, SettingsError
from toolbench.report.progress import LineWatcher, row_line, say

HEAVY = {"pandas", "numpy", "matplotlib", "scipy", "pint", "papermill", "nbconvert", "pydantic", "rich", "jinja2"}


def test_help_imports_nothing_heavy(root: Path) -> None:
    code = "import sys; from toolbench.cli.running import run; from toolbench.cli import toolbench\n"
    code += "status = run(toolbench, ['--help']); print(); print(sorted(m for m in sys.modules if '.' not in m)); sys.exit(status)"
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert "season" in done.stdout
    assert not HEAVY & set(json.loads(done.stdout.splitlines()[-1].replace("'", '"')))


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_its_own_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(toolbench, [name, "--help"]) == 0
    assert "--debug" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["seasn", "x"], "did you mean 'season'"),
        (["season"], "Missing argument"),
        (["season", "/no/such/season"], "does not exist"),
        (["season", ".", "--jobs", "0"], "--jobs"),
        (["season", ".", "--only", "all"], "failed"),
        (["report", "."], "--episode"),
        (["report", ".", "--episode", "e", "--tool", "t", "--pairs"], "give one of them"),
        (["compare", "."], "two folders or more"),
        (["season", ".", "-o", ""], "the name is empty"),
        (["report", ".", "--episode", ""], "--episode is empty"),
    ],
)
def test_usage_is_2_with_a_short_sentence(arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(toolbench, arguments) == 2
    shown = capsys.readouterr()
    assert said in shown.err
    assert "Traceback" not in shown.err
    assert shown.out == ""


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (SettingsError([Fault("unknown key", file="bench.toml", line=3, key="x", mend="did you mean y?")]), 2),
        (RecordingError("bad"), 1),
        (OutputError("full"), 2),
        (KeyboardInterrupt(), 130),
        (ZeroDivisionError("x"), 2),
        (FileNotFoundError(2, "No such file", "a.csv"), 2),
    ],
)
def test_each_error_has_its_status_and_at_most_three_lines(
    error: BaseException, status: int, capsys: pytest.CaptureFixture[str]
) -> None:
    @click.command()
    def fails() -> None:
        raise error

    assert run(fails, []) == status
    shown = capsys.readouterr().err
    assert 1 <= len(shown.splitlines()) <= 3
    assert "Traceback" not in shown


def test_debug_shows_where() -> None:
    @click.command()
    @click.option("--debug", is_flag=True)
    def fails(debug: bool) -> None:
        raise RecordingError("bad")

    with pytest.raises(RecordingError):
        run(fails, ["--debug"])


def test_new_and_demo_refuse_a_folder_with_something_in_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    assert run(toolbench, ["demo", str(tmp_path)]) == 2
    assert run(toolbench, ["new", str(tmp_path)]) == 2
    assert "is not empty" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_a_line_per_report_where_there_is_no_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    row = {"state": "failed", "path": "one/x", "seconds": 1.26, "error": "cell 3: no\nmore"}
    assert row_line(row) == "FAILED    one/x (1.3 s): cell 3: no"
    with LineWatcher(sys.stderr) as watcher:
        watcher.ended(row)
        watcher.ended({**row, "state": "unchanged", "error": ""})
    assert capsys.readouterr().err.splitlines() == [row_line(row)]


def test_a_stream_of_cp1252_shows_what_it_can(tmp_path: Path) -> None:
    with (tmp_path / "said").open("w", encoding="cp1252") as stream:
        say(stream, "−3.4 % ± 1.2 %")
    assert (tmp_path / "said").read_bytes() == b"?3.4 % \xb1 1.2 %" + os.linesep.encode()


@pytest.mark.skipif(sys.platform == "win32", reason="a pseudo terminal")
@pytest.mark.parametrize("colour", ["", "1"])
def test_a_terminal_gets_a_live_table_and_no_colour_where_not_wanted(colour: str, root: Path) -> None:
    import pty

    code = (
        "import sys; from toolbench.report.progress import LiveWatcher, watch\n"
        "with watch(sys.stderr) as w:\n"
        "    assert isinstance(w, LiveWatcher)\n"
        "    w.planned([{'state': 'to render'}]); w.started('one/x'); w.live.refresh()\n"
        "    w.ended({'state': 'failed', 'path': 'one/x', 'seconds': 1.0, 'error': 'no'})\n"
    )
    parent, child = pty.openpty()
    environment = os.environ | {"NO_COLOR": colour, "TERM": "xterm-256color", "PYTHONUTF8": "1", "COLUMNS": "60"}
    subprocess.run([sys.executable, "-c", code], cwd=root, stderr=child, env=environment, check=True)
    os.close(child)
    shown = b""
    while True:
        try:
            part = os.read(parent, 4096)
        except OSError:
            break
        if not part:
            break
        shown += part
    os.close(parent)
    assert b"FAILED    one/x (1.0 s): no" in shown
    assert b"0 of 1 reports" in shown
    assert b"\x1b[3" not in shown  # no colour codes at all
