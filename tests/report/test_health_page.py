"""The page on the bench: from the notebook's calls, linked from the index, made again only when something changed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from small_season import BENCH, write

import toolbench as tb
from toolbench.errors import AnalysisError, OutputError
from toolbench.report import health
from toolbench.report.health import PAGE, health_page, health_state, wants_health, write_health
from toolbench.report.index import write_pages
from toolbench.report.keys import Inputs
from toolbench.report.ledger import Ledger
from toolbench.report.notebook import run_notebook
from toolbench.report.processes import Starting
from toolbench.report.shipped import find_notebook, find_shipped
from toolbench.season.opening import Season

TOOLS = "tool,name,role\nwrench-a,First,check standard\nwrench-b,Second <b>,\n"


@pytest.fixture
def season(tmp_path: Path) -> Season:
    return tb.open_season(write(tmp_path / "season", tools=TOOLS))


def _write(season: Season, out: Path) -> Ledger:
    ledger = Ledger(out)
    write_health(season, ledger, find_shipped("templates"), Inputs(season.folder), "program")
    ledger.save()
    return ledger


def test_it_is_made_once_and_again_when_a_recording_changed(season: Season, tmp_path: Path) -> None:
    out = tmp_path / "out"
    ledger = _write(season, out)
    page = out / PAGE
    first = page.stat().st_mtime_ns
    assert health_state(ledger) == "made"
    _write(season, out)
    assert page.stat().st_mtime_ns == first
    recording = season.folder / "recordings/wrench-a-near-held-1.csv"
    recording.write_text(recording.read_text("utf-8").replace("\n600,", "\n600.0,"), encoding="utf-8")
    _write(season, out)
    assert page.stat().st_mtime_ns != first


def test_one_that_was_edited_is_made_again_and_the_edit_is_kept(season: Season, tmp_path: Path) -> None:
    out = tmp_path / "out"
    _write(season, out)
    (out / PAGE).write_text("mine", encoding="utf-8")
    _write(season, out)
    assert "Bench health" in (out / PAGE).read_text("utf-8")
    assert (out / f"{PAGE}.edited").read_text("utf-8") == "mine"


def test_a_page_that_cannot_be_made_again_stays_and_the_index_says_so(
    season: Season, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    before = _write(season, out)
    assert health_state(before) == "made"
    old = (out / PAGE).read_bytes()

    def fail(*_: object) -> str:
        raise AnalysisError("spoilt")

    monkeypatch.setattr(health, "health_page", fail)
    ledger = Ledger(out)
    write_health(season, ledger, find_shipped("templates"), Inputs(season.folder), "another program")
    assert (out / PAGE).read_bytes() == old
    write_pages(season, ledger, find_shipped("templates"), health=health_state(ledger))
    assert "the page is from an earlier run" in (out / "index.html").read_text("utf-8")


def test_a_season_with_neither_sensor_nor_standard_has_no_such_page(tmp_path: Path) -> None:
    plain = tb.open_season(write(tmp_path / "plain", bench=BENCH))
    assert not wants_health(plain)
    ledger = _write(plain, tmp_path / "out")
    assert not (tmp_path / "out" / PAGE).exists()
    assert health_state(ledger) == ""
    write_pages(plain, ledger, find_shipped("templates"), health=health_state(ledger))
    assert PAGE not in (tmp_path / "out" / "index.html").read_text("utf-8")


def test_it_is_no_link_to_nothing_and_its_ids_are_its_own(season: Season) -> None:
    page = health_page(season, find_shipped("templates"))
    assert page.count("<h1>") == 1
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert 'href="index.html"' in page
    assert page == health_page(season, find_shipped("templates"))


def test_a_second_unit_system_stands_beside_every_number(tmp_path: Path) -> None:
    """By hand: 1 N·m is 0.7376 ft·lbf, so the blocks' means of some 500 N·m are some 369 ft·lbf."""
    bench = f'[display]\nalso = "US"\n\n{BENCH}'
    page = health_page(tb.open_season(write(tmp_path / "season", bench=bench, tools=TOOLS)), find_shipped("templates"))
    told = re.sub(r"<svg.*?</svg>", "", page, flags=re.DOTALL).replace("\u202f", " ")
    newtons = re.findall(r"(−?[\d.]+) N·m(?: \((−?[\d.]+) ft·lbf\))?", told)
    assert len(newtons) > 6
    for first, second in newtons:
        exact = float(first.replace("−", "-")) * 0.737562
        assert float(second.replace("−", "-")) == pytest.approx(exact, rel=0.006)


def test_the_notebook_runs_and_shows_what_the_page_shows(season: Season, tmp_path: Path) -> None:
    notebook = run_notebook(
        find_notebook("bench-health.ipynb"),
        {"season": str(season.folder)},
        folder=tmp_path,
        cell_timeout_s=120,
        starting=Starting(lambda _: None),
    )
    shown = ["".join(o["data"]["text/html"]) for c in notebook.cells if c.cell_type == "code" for o in c.outputs]
    page = health_page(season, find_shipped("templates"))
    assert len(shown) == 3
    for piece in shown:
        assert piece.strip() in page


def test_a_page_of_somebody_else_is_not_overwritten(season: Season, tmp_path: Path) -> None:
    from toolbench.report.season_run import run_season

    out = tmp_path / "out"
    out.mkdir()
    (out / PAGE).write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="not from toolbench"):
        run_season(season, out)
    assert (out / PAGE).read_text("utf-8") == "mine"
