"""The season's index and the episode page: what stands on them, escaped, closed, and one set of caveats.

Expected texts are constructed in fake_season.py; the order of rows is the one the contract and ux ask for.
"""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from fake_season import make_options, make_season

from toolbench.report.headlines import heads_of, merged_caveats, sentences_of
from toolbench.report.index import _caveat_notes
from toolbench.report.page import close_page
from toolbench.report.season_run import run_season


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("pages")
    season = make_season(root, {"a": "ok -3.5", "b": "raise", "c": "ok 2.0"})
    run_season(season, root / "out", make_options(root))
    return root / "out"


class Outline(HTMLParser):
    """Heading levels, links, and attributes a closed page must not have."""

    def __init__(self) -> None:
        super().__init__()
        self.levels: list[int] = []
        self.links: list[str] = []
        self.styled: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if re.fullmatch(r"h[1-6]", tag):
            self.levels.append(int(tag[1]))
        for name, value in attrs:
            if name == "href":
                self.links.append(value or "")
            if name == "style" or name.startswith("on"):
                self.styled.append(tag)


@pytest.mark.parametrize("name", ["index.html", "one/index.html"])
def test_a_page_is_closed_escaped_and_in_order(out: Path, name: str) -> None:
    html = (out / name).read_text(encoding="utf-8")
    outline = Outline()
    outline.feed(html)
    assert outline.levels.count(1) == 1
    assert all(b - a <= 1 for a, b in zip(outline.levels, outline.levels[1:], strict=False))
    assert outline.styled == []
    assert all(not link.startswith(("http", "/", "file")) for link in outline.links)
    assert "<fake>" not in html
    assert "<far>" not in html
    for link in outline.links:
        assert link.startswith("#") or ((out / name).parent / link).exists(), link


def test_a_report_page_shows_its_outputs_whole_and_escaped(out: Path) -> None:
    html = (out / "one" / "tool-a--held" / "report.html").read_text(encoding="utf-8")
    assert "<pre>&lt;read&gt;\nsecond line\n</pre>" in html


def test_failures_come_first_and_every_report_has_a_row(out: Path) -> None:
    html = (out / "index.html").read_text(encoding="utf-8")
    states = re.findall(r'<tr class="tb-state-(\w+)">', html)
    assert states == ["failed", "rendered", "rendered"]
    assert "b cannot be read" in html
    # constructed: −3.5 with bounds one percent away; on a page no line may end between a number and its unit
    assert "−3.5\u202f% ± 1.0\u202f%" in html
    assert "\u2009" not in html


def test_the_episode_page_tells_an_identical_caveat_once(out: Path) -> None:
    html = (out / "one" / "index.html").read_text(encoding="utf-8")
    assert html.count("Few runs &amp; little else.") == 1
    assert "Touches a, c." in html
    notes = (out / "one" / "notes.md").read_text(encoding="utf-8")
    assert notes.count("Few runs") == 1
    assert "far: -3.5 % less than near." in notes


def test_the_content_policy_lets_through_the_page_s_own_blocks_only() -> None:
    page = close_page(
        '<html><head><meta charset="utf-8"><style>a{}</style></head><body><script>1</script></body></html>'
    )
    for block in ("a{}", "1"):
        assert base64.b64encode(hashlib.sha256(block.encode()).digest()).decode() in page
    assert page.index("Content-Security-Policy") < page.index("<style>")
    assert "default-src 'none'" in page
    assert close_page(page) == page


def test_the_headline_is_the_sustained_row_else_the_last_mark() -> None:
    def row(metric: str, at: float | None, percent: float) -> dict[str, object]:
        return {"item": "b", "baseline": "a", "response": "torque", "metric": metric, "at": at, "percent": percent,
                "lower": percent - 1, "upper": percent + 1, "verdict_family": "higher"}  # fmt: skip

    marks = [row("at_mark", 2.0, 2), row("at_mark", 6.0, 6), row("rise_time", None, 9)]
    assert [h.number for h in heads_of({"differences": marks})] == ["+6.0\u2009% ± 1.0\u2009%"]
    assert [h.number for h in heads_of({"differences": [*marks, row("sustained", None, 5)]})] == [
        "+5.0\u2009% ± 1.0\u2009%"
    ]
    assert heads_of({}) == []


def test_sentences_are_those_of_the_page() -> None:
    results = {"sentences": [{"text": "far: 3 % less.", "verdict": "lower"}, {"text": ""}]}
    assert [(s.text, s.verdict) for s in sentences_of(results)] == [("far: 3 % less.", "lower")]
    assert sentences_of({}) == []


def test_caveats_are_merged_worst_first() -> None:
    def finding(code: str, severity: str, message: str, subject: str) -> dict[str, object]:
        return {"code": code, "severity": severity, "message": message, "subjects": [subject]}

    caveats = merged_caveats(
        {
            "one/x": {"findings": [finding("n", "note", "N.", "r1"), finding("w", "wrong", "W.", "r1")]},
            "one/y": {"findings": [finding("n", "note", "N.", "r2")],
                      "items": [{"id": "far", "label": "", "excluded": [{"run": "r9", "reason": "valve stuck"}]}]},
        }
    )  # fmt: skip
    assert [(c.severity, c.touches, c.reports) for c in caveats] == [
        ("wrong", ("r1",), ("one/x",)),
        ("doubtful", (), ("one/y",)),
        ("note", ("r1", "r2"), ("one/x", "one/y")),
    ]
    assert "r9 left out: valve stuck" in caveats[1].text


def test_an_episode_without_a_page_claims_no_clean_bill() -> None:
    values = {"caveats": [], "disclosure": "", "compensated": [], "entries": [{"has_page": False}]}
    assert _caveat_notes(values) == ["- No report could be made, so nothing was looked at."]
    assert _caveat_notes({**values, "entries": [{"has_page": True}]}) == ["- None found."]
