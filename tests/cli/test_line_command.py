"""The command `line` in this process: what it prints, its JSON and page, what it refuses, and its exit status."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from toolbench.cli.main import toolbench
from toolbench.cli.running import run

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
QUESTION = ("--length", "30 m", "--want", "6 bar", "--loss", "10 %")


def line(*options: object, setup: str = "near", tool: str = "quernel-1") -> int:
    return run(toolbench, ["line", str(DEMO), "--setup", setup, "--tool", tool, *map(str, options)])


def printed(capsys: pytest.CaptureFixture[str]) -> str:
    return capsys.readouterr().out.replace("\u2009", " ")


def test_it_tells_the_answer_the_losses_the_advice_and_the_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    assert line(*QUESTION) == 0
    out = printed(capsys)
    for words in (
        "Quernel (quernel-1) on 13 mm × 12 m (near)",
        "Measured in 4 runs under static: flowing inlet pressure 5.779",
        "With hose 13 mm × 30 m for hose 13 mm × 12 m: sustained torque −4.9 % ± 2.8 % modelled against",
        "Most is lost in hose 13 mm × 30 m.",
        "For 6.00 bar (87.0 psi) at the inlet, any one of these is enough (modelled",
        "Longest hose of each bore with which the whole line loses no more than 10 % of the flowing pressure behind the regulator",
        "friction in hoses a factor of 1.3",
        "Reminders only. Follow the makers' instructions",
        "29 CFR 1926.302(b)(7)",
        "no line is built on them alone",
    ):
        assert words in out
    # The answer comes before what it was worked out from, the cautions last.
    assert out.index("With hose") < out.index("As tested") < out.index("Longest hose") < out.index("Reminders only")


def test_every_paragraph_with_a_number_of_the_model_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert line(*QUESTION) == 0
    paragraphs = [text for text in printed(capsys).split("\n\n") if re.search(r"\d", text)]
    modelled = [text for text in paragraphs if "Measured in" not in text and "Reminders" not in text]
    assert len(modelled) == 7
    for text in modelled:
        assert "odelled" in text or "learned from" in text


def test_the_second_unit_system_stands_beside_the_first(capsys: pytest.CaptureFixture[str]) -> None:
    assert line("--pressure", "90 psi") == 0
    # By hand: 90 psi is 6.205 bar.
    assert "With regulator at 6.21 bar (90.0 psi)" in printed(capsys)


@pytest.mark.parametrize("width", [80, 40])
def test_a_terminal_gets_no_line_wider_than_itself(
    width: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    assert line(*QUESTION) == 0
    lines = printed(capsys).splitlines()
    assert len(lines) > 40
    assert max(len(text) for text in lines) <= width


def test_packs_stand_one_under_the_other(capsys: pytest.CaptureFixture[str]) -> None:
    assert line(setup="one-string", tool="ostrel") == 0
    out = printed(capsys)
    assert "two strings, 20 °C, modelled: 17.37 ± 0.55 V at the tool" in out
    assert re.search(r"torque \+8\.\d % ± 2\.\d %", out)
    assert "Measured: 17.241 ± 0.035 V." in out
    assert "Packs: none damaged or modified" in out
    assert "29 CFR" not in out


def test_the_numbers_for_other_programs(capsys: pytest.CaptureFixture[str]) -> None:
    assert line(*QUESTION, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["format"] == 1
    assert found["asked"] == {
        "length_m": 30.0, "bore_m": None, "pressure_pa": None, "want_pa": 600000.0, "loss_percent": 10.0,
    }  # fmt: skip
    assert found["air"]["percent"]["lower"] < found["air"]["percent"]["value"] < found["air"]["percent"]["upper"]
    assert str(DEMO) not in json.dumps(found)


def test_too_little_pressure_is_1_and_pressures_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert line("--length", "50 m", setup="at-4") == 1
    out = printed(capsys)
    assert "No torque is modelled: the line asked for: 2.81 bar is left at the inlet" in out
    assert "sustained torque −" not in out
    assert "Asked for, hose 13 mm × 50 m" in out


@pytest.mark.parametrize(
    ("options", "status", "words"),
    [
        (("--length", "30"), 2, '--length: "30" has no unit'),
        (("--length", "-3 m"), 2, '--length: "-3 m" is not above zero'),
        (("--pressure", "8.5 bar"), 1, "--pressure: at rest Quernel stands at 8.50 bar, above its rated 8.00 bar"),
        (("--want", "9 bar"), 1, "--want: the wanted 9.00 bar is above"),
        (("--loss", "0 %"), 2, '--loss: "0 %" is not above zero'),
        (("-o", "line.csv"), 2, "line.csv: the page is an HTML file"),
    ],
)
def test_refusals_name_the_option(
    options: tuple[str, ...], status: int, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert line(*options) == status
    found = capsys.readouterr()
    assert words in found.err.replace("\u2009", " ")
    assert found.out == ""
    assert len(found.err.splitlines()) <= 3


def test_the_nearest_name_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert line(setup="nera") == 2
    assert "did you mean 'near'?" in capsys.readouterr().err


def test_the_page_is_written_again_and_nobody_elses_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "line.html"
    assert line("--length", "30 m", "-o", out) == 0
    assert str(out) in capsys.readouterr().out
    first = out.read_bytes()
    assert line("--length", "30 m", "-o", out) == 0
    assert out.read_bytes() == first
    out.write_text("mine", encoding="utf-8")
    assert line("-o", out) == 2
    assert "was not written by line" in capsys.readouterr().err
    assert out.read_text("utf-8") == "mine"
    assert line("-o", out, "--force") == 0
    assert out.read_bytes() != first
