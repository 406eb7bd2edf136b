"""The pages of the standings: from the notebook's calls, made again only when something changed, earlier states kept."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from ranked_season import ALONE, TOOLS, TORQUE, runs_of, write

import toolbench as tb
from toolbench.errors import OutputError, UsageError
from toolbench.report.index import write_pages
from toolbench.report.keys import Inputs
from toolbench.report.ledger import Ledger
from toolbench.report.notebook import run_notebook
from toolbench.report.processes import Starting
from toolbench.report.shipped import find_notebook, find_shipped
from toolbench.report.standings import (
    FILES,
    PAGE,
    publish_standings,
    publish_what_if,
    standings_page,
    standings_state,
    wants_standings,
    write_standings,
)
from toolbench.season.opening import Season


@pytest.fixture
def season(tmp_path: Path) -> Season:
    return tb.open_season(write(tmp_path / "season", tools=TOOLS.replace("Second", "Second <b>")))


def _write(season: Season, out: Path) -> Ledger:
    ledger = Ledger(out)
    write_standings(season, ledger, find_shipped("templates"), Inputs(season.folder), "program")
    ledger.save()
    return ledger


def _page(season: Season) -> str:
    return standings_page(season, tb.rank_tools(season), find_shipped("templates"), earlier=[])


def test_it_is_made_once_and_the_same_bytes_each_time(season: Season, tmp_path: Path) -> None:
    ledger = _write(season, tmp_path / "out")
    assert standings_state(ledger) == "made"
    first = (tmp_path / "out" / PAGE).stat().st_mtime_ns
    _write(season, tmp_path / "out")
    assert (tmp_path / "out" / PAGE).stat().st_mtime_ns == first
    _write(season, tmp_path / "again")
    for name in FILES:
        assert (tmp_path / "again" / name).read_bytes() == (tmp_path / "out" / name).read_bytes()


def test_an_earlier_state_is_kept_and_what_moved_is_told(season: Season, tmp_path: Path) -> None:
    out = tmp_path / "out"
    _write(season, out)
    before = {name: (out / name).read_text("utf-8") for name in FILES}
    assert 'id="moves"' not in before[PAGE]
    runs = [*runs_of(), *runs_of({"wrench-a": (900.0, 901.0, 899.0)}, day="2026-03-10")]
    changed = tb.open_season(write(season.folder, runs))
    _write(changed, out)
    page = (out / PAGE).read_text("utf-8")
    assert 'href="standings-1.html"' in page
    moves = page[page.index('id="moves"') : page.index('id="caveats"')]
    assert "2 → 1" in moves
    assert "new runs, runs left out" in moves
    assert "beyond uncertainty" in moves
    assert (out / "standings-1.csv").read_text("utf-8") == before["standings.csv"]
    assert (out / "standings-1.json").read_text("utf-8") == before["standings.json"]
    kept = (out / "standings-1.html").read_text("utf-8")
    assert '<a href="standings.html">The present one</a>' in kept
    # once more with nothing changed: no further state, the same page
    _write(changed, out)
    assert not (out / "standings-2.html").exists()
    assert (out / PAGE).read_text("utf-8") == page
    _write(tb.open_season(write(season.folder)), out)
    assert (out / "standings-2.json").exists()


def test_a_page_that_cannot_be_made_again_stays_and_the_index_says_so(season: Season, tmp_path: Path) -> None:
    out = tmp_path / "out"
    _write(season, out)
    old = (out / PAGE).read_bytes()
    (season.folder / "runs.csv").write_text("file,tool,setup,protocol\n", encoding="utf-8")
    # without any run there are no standings of anybody, which is no failure
    ledger = _write(tb.open_season(season.folder), out)
    assert standings_state(ledger) == "made"
    assert (out / PAGE).read_bytes() != old
    assert "not run under Steady on near" in (out / PAGE).read_text("utf-8")


def test_a_season_without_scorecard_has_no_such_page(season: Season, tmp_path: Path) -> None:
    out = tmp_path / "out"
    _write(season, out)
    plain = tb.open_season(write(season.folder, card=""))
    assert not wants_standings(plain)
    ledger = _write(plain, out)
    assert not any((out / name).exists() for name in FILES)
    write_pages(plain, ledger, find_shipped("templates"), standings=standings_state(ledger))
    assert PAGE not in (out / "index.html").read_text("utf-8")


def test_the_page_is_whole_and_its_ids_are_its_own(season: Season) -> None:
    page = _page(season)
    assert page.count("<h1>") == 1
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert "Second <b>" not in page
    assert "Second &lt;b&gt;" in page
    assert "nan" not in re.sub(r"<svg.*?</svg>", "", page, flags=re.DOTALL)


def test_the_rest_beyond_the_first_is_behind_a_fold(tmp_path: Path) -> None:
    card = TORQUE.replace('title = "Wrenches"', "show = 1")
    page = _page(tb.open_season(write(tmp_path, card=card)))
    shown, _, folded = page.partition("<details")
    assert ">Second<" in shown
    assert ">First<" not in shown[shown.index("tb-filtered") :]
    assert "The other 1 ranked" in folded
    assert ">First<" in folded


def test_how_a_tool_was_obtained_stands_beside_its_name(season: Season) -> None:
    page = _page(season)
    assert re.search(r"Second &lt;b&gt;<span class=\"tb-beside-name\">lent</span>", page)


def test_what_values_are_divided_by_is_told_to_count_as_exact(season: Season, tmp_path: Path) -> None:
    told = "The mass that a value is divided by counts as exact"
    assert told in _page(season)
    assert "counts as exact" not in _page(tb.open_season(write(tmp_path / "alone", card=ALONE)))


def test_the_notebook_runs_and_shows_what_the_page_shows(season: Season, tmp_path: Path) -> None:
    notebook = run_notebook(
        find_notebook("standings.ipynb"),
        {"season": str(season.folder)},
        folder=tmp_path,
        cell_timeout_s=120,
        starting=Starting(lambda _: None),
    )
    shown = ["".join(o["data"]["text/html"]) for c in notebook.cells if c.cell_type == "code" for o in c.outputs]
    page = _page(season)
    assert len(shown) == 5
    for piece in shown:
        assert piece.strip() in page


def test_the_pages_alone_and_a_question_beside_them(season: Season, tmp_path: Path) -> None:
    standings = tb.rank_tools(season)
    page = publish_standings(season, standings, tmp_path / "out")
    before = page.read_bytes()
    assert 'href="standings.html"' in (tmp_path / "out/index.html").read_text("utf-8")
    asked = publish_what_if(season, standings, tb.rank_tools(season, weights={"torque": 0.1}), tmp_path / "out")
    assert asked.name == "standings-what-if-torque-with-a-weight-of-10.html"
    text = asked.read_text("utf-8")
    assert "torque with a weight of 10" in text
    assert page.read_bytes() == before


def test_a_page_of_somebody_else_is_not_overwritten(season: Season, tmp_path: Path) -> None:
    from toolbench.report.season_run import run_season

    (tmp_path / "out").mkdir()
    (tmp_path / "out" / PAGE).write_text("mine", encoding="utf-8")
    for run in (
        lambda: run_season(season, tmp_path / "out"),
        lambda: publish_standings(season, tb.rank_tools(season), tmp_path / "out"),
    ):
        with pytest.raises(OutputError, match="not from toolbench"):
            run()
    assert (tmp_path / "out" / PAGE).read_text("utf-8") == "mine"


def test_a_kept_state_that_is_broken_is_told_and_the_page_stays(season: Season, tmp_path: Path) -> None:
    out = tmp_path / "out"
    publish_standings(season, tb.rank_tools(season), out)
    changed = tb.open_season(write(season.folder, runs_of({"wrench-a": (900.0, 901.0, 899.0)})))
    page = publish_standings(changed, tb.rank_tools(changed), out)
    (out / "standings-1.json").write_text('{"format": 1}', encoding="utf-8")
    page.write_text("edited", encoding="utf-8")
    with pytest.raises(UsageError, match=r"standings-1\.json: is no state of standings(?s:.)*put it back"):
        publish_standings(changed, tb.rank_tools(changed), out)
    assert page.read_text("utf-8") == "edited"
    (out / "standings-1.json").unlink()
    publish_standings(changed, tb.rank_tools(changed), out)
    assert "</html>" in page.read_text("utf-8")
