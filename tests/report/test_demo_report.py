"""One real report of the demo season, from two places: the same bytes, and an honest kept notebook.

Which files are to be the same is the contract's, section 2.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from toolbench.cli.main import toolbench
from toolbench.cli.running import run
from toolbench.view.markup import unbroken

pytestmark = pytest.mark.slow

REPORT = ["--episode", "mains-lead", "--tool", "pelmoor"]


def _render(season: Path, out: Path) -> Path:
    assert run(toolbench, ["report", str(season), *REPORT, "-o", str(out)]) == 0
    return next(out.glob("mains-lead/tool-pelmoor--*"))


@pytest.fixture(scope="module")
def twice(tmp_path_factory: pytest.TempPathFactory, demo: Path) -> tuple[Path, Path]:
    root = tmp_path_factory.mktemp("demo")
    copy = root / "Saison mit Ümlaut" / "copy of the season"
    shutil.copytree(demo, copy)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "Pacific/Auckland")
        patch.setenv("LC_ALL", "C")
        first = _render(demo, root / "out")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "America/Lima")
        second = _render(copy, root / "another place" / "pages")
    return first, second


def test_the_same_bytes_from_two_places_zones_and_locales(twice: tuple[Path, Path]) -> None:
    first, second = (
        {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()} for folder in twice
    )
    assert set(first) == set(second)
    assert [name for name in first if first[name] != second[name]] == ["report.ipynb"]


def test_every_file_of_the_contract_is_there_and_no_difference_is_missing_on_the_page(twice: tuple[Path, Path]) -> None:
    folder = twice[0]
    wanted = {"report.html", "report.ipynb", "results.json", "levels.csv", "differences.csv", "curves.csv", "notes.md"}
    assert wanted <= {path.name for path in folder.iterdir()}
    assert list((folder / "figures").glob("*.svg"))
    assert list((folder / "figures").glob("*.png"))
    html = (folder / "report.html").read_text(encoding="utf-8")
    results = json.loads((folder / "results.json").read_text(encoding="utf-8"))
    assert results["sentences"]
    for sentence in results["sentences"]:
        assert unbroken(sentence["text"]) in html


def test_the_pages_over_it_repeat_its_sentences_word_for_word(twice: tuple[Path, Path]) -> None:
    results = json.loads((twice[0] / "results.json").read_text(encoding="utf-8"))
    page = (twice[0].parent / "index.html").read_text(encoding="utf-8")
    for sentence in results["sentences"]:
        assert unbroken(sentence["text"]) in page


def test_no_path_of_the_machine_on_a_page(twice: tuple[Path, Path], demo: Path) -> None:
    out = twice[1].parents[1]
    for path in [*out.rglob("*.html"), *out.rglob("*.md"), *out.rglob("*.csv"), *out.rglob("*.json")]:
        text = path.read_text(encoding="utf-8")
        assert "copy of the season" not in text, path
        assert str(Path.home()) + "/" not in text or str(Path.home()) == "/", path


def test_a_report_weighs_less_than_300_kb(twice: tuple[Path, Path]) -> None:
    assert (twice[0] / "report.html").stat().st_size < 300_000
