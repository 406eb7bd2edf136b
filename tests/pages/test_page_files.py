"""Every page of the demo, and of a season whose every text is markup, as files: policy, rows, pictures, escaping, weight."""

from __future__ import annotations

import base64
import csv
import hashlib
import json
import re
from pathlib import Path

import pytest
from page_parts import Node, alternative_texts, difference_rows, parse, without_pictures
from shared_renders import HOSTILE, QUOTED

from toolbench.season.results import load

pytestmark = pytest.mark.slow

MOST_BYTES = 300_000
"""A report without its pictures at print size (the page's own rule)."""

PLACEHOLDER = re.compile(r"no description|placeholder|untitled|^(image|figure|picture|plot)\W*\d*$", re.IGNORECASE)


def _pages(out: Path) -> list[Path]:
    return sorted(out.rglob("*.html"))


def _read(path: Path) -> tuple[str, Node]:
    text = path.read_text(encoding="utf-8")
    return text, parse(text)


def test_the_demo_renders_every_report_with_0(reports: Path) -> None:
    status = reports.with_suffix(".status").read_text(encoding="utf-8")
    assert status.startswith("0\n"), status
    rows = json.loads((reports / "season.json").read_text(encoding="utf-8"))["reports"]
    # By hand from bench.toml: 20 reports in 8 episodes, one index, the page on the bench and the standings.
    assert [row["state"] for row in rows] == ["rendered"] * 20
    assert len(_pages(reports)) == 20 + 8 + 1 + 1 + 1
    for row in rows:
        assert (reports / row["path"] / "report.html").is_file()


def _all_pages(reports: Path, hostile: Path) -> list[Path]:
    return _pages(reports) + _pages(hostile)


def test_every_page_has_a_policy_that_fits_it_and_loads_nothing(reports: Path, hostile: Path) -> None:
    for path in _all_pages(reports, hostile):
        text, page = _read(path)
        (policy,) = [m for m in page.all("meta") if m.attributes.get("http-equiv") == "Content-Security-Policy"]
        told = policy.attributes["content"]
        assert told.startswith("default-src 'none'")
        assert "unsafe" not in told
        for tag, where in (("style", "style-src"), ("script", "script-src")):
            allowed = re.search(rf"{where} ([^;]*)", told)
            for node in page.all(tag):
                found = base64.b64encode(hashlib.sha256(node.text.encode("utf-8")).digest()).decode("ascii")
                assert allowed, path
                assert f"'sha256-{found}'" in allowed[1], path
        for node in page.all():
            assert "style" not in node.attributes, (path, node.tag)
            assert not [name for name in node.attributes if name.startswith("on")], (path, node.tag)
            for name in ("src", "srcset", "data", "poster", "action", "background"):
                assert node.attributes.get(name, "data:").startswith("data:"), (path, node.tag)
            if node.tag in ("link", "use", "image"):
                link = node.attributes.get("href") or node.attributes.get("xlink:href") or "#"
                assert link.startswith(("#", "data:")), (path, node.tag)
            if node.tag == "a":
                assert not re.match(r"(?i)\w+:|//", node.attributes.get("href", "#")), (path, node.attributes)
        assert not re.search(r"url\((?!#|['\"]?data:)|@import", text), path


def test_every_page_has_one_heading_a_language_and_unique_ids(reports: Path, hostile: Path) -> None:
    for path in _all_pages(reports, hostile):
        page = _read(path)[1]
        assert len(page.all("h1")) == 1, path
        assert page.all("h1")[0].text.strip()
        assert page.all("html")[0].attributes["lang"] == "en"
        assert page.all("title")[0].text.strip()
        ids = [node.attributes["id"] for node in page.all() if "id" in node.attributes]
        assert len(ids) == len(set(ids)), path
        for link in page.all("a"):
            target = link.attributes["href"]
            if target.startswith("#"):
                assert target[1:] in ids, (path, target)
            else:
                assert (path.parent / target.partition("#")[0]).is_file(), (path, target)


def test_no_page_shows_what_only_a_program_would_say(reports: Path, hostile: Path) -> None:
    for path in _all_pages(reports, hostile):
        body = _read(path)[1].all("body")[0]
        shown = "".join(part if isinstance(part, str) else part.text for part in body.parts if not _is_code(part))
        for word in (r"\n', '", "Undefined", "nan ", "Traceback", "object at 0x", "<Figure", "{{", "{%", "None None"):
            if word == "{{" and "{{ 7*7 }}" in shown:
                continue
            assert word not in shown, (path, word)


def _is_code(part: Node | str) -> bool:
    return isinstance(part, Node) and part.tag in ("script", "style")


def test_a_table_row_for_every_row_of_differences_csv(reports: Path) -> None:
    seen = 0
    for path in sorted(reports.rglob("report.html")):
        with (path.parent / "differences.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        shown = difference_rows(_read(path)[1])
        assert len(shown) == len(rows), path
        labels = {one["id"]: one["label"] for one in load(path.parent).results["items"]}
        for row in rows:
            same = [cells for cells in shown if _is_row(cells, row, labels)]
            assert same, (path, row)
            seen += 1
    assert seen > 200


def _is_row(cells: list[str], row: dict[str, str], labels: dict[str, str]) -> bool:
    """Names, both verdicts as words, and the number as printed."""
    if not cells[0].startswith(labels[row["item"]]) or not cells[1].startswith(labels[row["baseline"]]):
        return False
    if row["verdict"] not in cells[4] or row["verdict_family"] not in cells[5]:
        return False
    if not row["lower"]:
        return "no percentage" in cells[2] or "not assessed" in cells[2]
    number = re.match(r"[−+]?\d+(?:\.(\d+))?", cells[2].replace("\u2009", "").replace("\u202f", ""))
    if number is None:
        return False
    # Half a unit of the last place printed; where the interval is huge, whole tens or hundreds are printed.
    allowed = 0.51 * 10.0 ** -len(number[1] or "")
    if number[1] is None:
        allowed = max(allowed, 0.05 * (float(row["upper"]) - float(row["lower"])))
    return abs(float(number[0].replace("−", "-")) - float(row["percent"])) <= allowed


def test_every_picture_has_an_alternative_text_that_holds_its_numbers(reports: Path) -> None:
    for path in sorted(reports.rglob("report.html")):
        texts = alternative_texts(_read(path)[1])
        assert len(texts) >= 2, path
        assert len(set(texts)) == len(texts)
        for text in texts:
            assert len(text) > 40, (path, text)
            assert len(re.findall(r"\d+", text)) >= 3, (path, text)
            assert not PLACEHOLDER.search(text), (path, text)


def test_a_report_weighs_little_besides_its_pictures(reports: Path, hostile: Path) -> None:
    for path in _all_pages(reports, hostile):
        assert len(without_pictures(path.read_text(encoding="utf-8")).encode("utf-8")) < MOST_BYTES, path


def test_what_came_from_a_file_stays_text(hostile: Path) -> None:
    """The tool's name, a label, a title, a question and a file's name are markup; none of it may become an element."""
    status = hostile.with_suffix(".status").read_text(encoding="utf-8")
    assert status.startswith("1\n"), status  # the recording that cannot be read
    pages = _pages(hostile)
    assert len(pages) == 2 + 2 + 1
    shown = {path: _read(path) for path in pages}
    for path, (text, page) in shown.items():
        assert "<script>alert" not in text, path
        assert not page.all("img"), path
        scripts = [node.text for node in page.all("script")]
        assert not [script for script in scripts if "alert(1)" in script], path
        assert "49 &amp; Söhne" not in text, path
    report = hostile / "long-line" / "tool-wrench-a--held" / "report.html"
    body = shown[report][1].all("body")[0].text
    assert HOSTILE in body
    assert QUOTED in body
    assert "<img src=y onerror=alert(3)>.csv" in body or "odd-name" in body
    assert "{{ 7*7 }} & Söhne" in shown[hostile / "two-tools" / "setup-near--steady" / "report.html"][1].text
    assert HOSTILE in shown[hostile / "index.html"][1].text


def test_pictures_and_notes_of_markup_stay_text_too(hostile: Path) -> None:
    for path in hostile.rglob("*.svg"):
        picture = path.read_text(encoding="utf-8")
        assert "<script" not in picture
        assert "<img" not in picture
    for path in hostile.rglob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        assert not [cell for cell in cells if cell[:1] in ("=", "@", "+") or (cell[:1] == "-" and not _is_number(cell))]


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
