"""Season files that no person writes on purpose: each is refused in a sentence, soon, and never by a fault of ours.

Every file and expected sentence is constructed.
"""

import os
import time
from pathlib import Path

import pytest
from season_folder import BENCH, RUNS, TOOLS, write

from toolbench.errors import SettingsError
from toolbench.settings import read_settings


def said(folder: Path) -> str:
    started = time.monotonic()
    with pytest.raises(SettingsError) as caught:
        read_settings(folder)
    assert time.monotonic() - started < 10  # before the mend some of these went on for ever
    return str(caught.value)


@pytest.mark.parametrize("name", ["bench.toml", "tools.csv", "runs.csv"])
def test_a_pipe_or_a_device_in_place_of_a_file_is_not_waited_for(name: str, tmp_path: Path) -> None:
    path = write(tmp_path) / name
    path.unlink()
    os.mkfifo(path)
    assert f"{name}: cannot be read: it is a pipe or a device, not a file" in said(tmp_path)
    path.unlink()
    path.symlink_to("/dev/zero")
    assert "it is a pipe or a device" in said(tmp_path)


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, "a = " + "[" * 500 + "]" * 500, ".".join(["a"] * 5000) + " = 1"])
def test_brackets_without_end_are_refused(text: str, tmp_path: Path) -> None:
    assert "bench.toml: its brackets or dotted keys are nested too deep" in said(write(tmp_path, bench=text))


@pytest.mark.parametrize("number", ["1e999", "1e99999999", "1e-99999999", "9" * 5000])
def test_a_number_beyond_the_range_of_a_float_is_refused_at_once(number: str, tmp_path: Path) -> None:
    assert "is not a finite number" in said(write(tmp_path, bench=BENCH.replace('"5 s"', f'"{number} s"')))


@pytest.mark.parametrize("number", ["1e999", "1e99999999", "9" * 5000])
def test_so_is_one_in_a_table(number: str, tmp_path: Path) -> None:
    found = said(write(tmp_path, tools=TOOLS.replace("3.2", number)))
    assert found.startswith("tools.csv:2: mass:")
    assert found.endswith("is not a number")


@pytest.mark.parametrize("order", ["nan", "inf", "1e999"])
def test_the_order_of_a_run_is_a_finite_number(order: str, tmp_path: Path) -> None:
    head, row = RUNS.splitlines()
    runs = f"{head},order\n{row},{order}\n"
    assert said(write(tmp_path, runs=runs)) == f'runs.csv:2: order: "{order}" is not a number'


def test_an_infinite_coverage_factor_would_make_an_uncertainty_nothing(tmp_path: Path) -> None:
    assert "a coverage factor is positive" in said(write(tmp_path, bench=BENCH.replace("k = 2", "k = inf")))


@pytest.mark.parametrize("name", ["idna", "undefined", "base64", "a\\u0000b", "zork"])
def test_an_encoding_that_gives_no_text_is_refused(name: str, tmp_path: Path) -> None:
    bench = BENCH.replace("[loggers.rig]\n", f'[loggers.rig]\nencoding = "{name}"\n')
    assert "is no encoding" in said(write(tmp_path, bench=bench))


@pytest.mark.parametrize("sign", ["\\n", "\\r", '\\"', "."])
def test_a_delimiter_that_cannot_part_cells_is_refused(sign: str, tmp_path: Path) -> None:
    bench = BENCH.replace("[loggers.rig]\n", f'[loggers.rig]\ndelimiter = "{sign}"\n')
    assert "is not one sign that can part cells" in said(write(tmp_path, bench=bench))


def test_a_quotation_mark_left_open_does_not_swallow_the_rows_after_it(tmp_path: Path) -> None:
    head, row = RUNS.splitlines()
    runs = f'{head},note\n{row},"too loud\nrecordings/r2.csv,wrench-a,far,held,,,\n'
    assert said(write(tmp_path, runs=runs)) == "runs.csv:2: a quotation mark is opened on this line and never closed"


def test_a_control_character_in_a_path_is_refused(tmp_path: Path) -> None:
    assert "holds the control character U+0000" in said(write(tmp_path, runs=RUNS.replace("r1.csv", "r\x001.csv")))
