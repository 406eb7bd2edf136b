"""The page as laid out by our template through nbconvert: closed, escaped, in order, and readable by a machine."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import re
from html.parser import HTMLParser
from itertools import pairwise

import jinja2
import pytest
import view_pages
import view_records
from nbconvert.exporters import HTMLExporter, TemplateExporter
from nbformat.v4 import new_code_cell, new_markdown_cell, new_output
from view_records import Compared

from toolbench import view
from toolbench.records.comparison import ComparisonRecord
from toolbench.records.settings import Hold
from toolbench.view import page

VOID = {"meta", "link", "br", "img", "hr", "input", "path", "use", "rect"}


class Reader(HTMLParser):
    """Tags with their attributes in order, and the text between the tags."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {k: v or "" for k, v in attrs}))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def count(self, tag: str) -> int:
        return sum(found == tag for found, _ in self.tags)


def test_the_page_has_language_title_landmarks_and_one_first_heading(any_comparison: Compared) -> None:
    html = view_pages.page_of(any_comparison)
    read = Reader(html)
    assert html.startswith("<!doctype html>")
    assert read.tags[0] == ("html", {"lang": "en"})
    assert [read.count(tag) for tag in ("h1", "main", "header", "footer")] == [1, 1, 1, 1]
    title = re.search(r"<title>(.*?)</title>", html)
    assert title
    assert title[1].startswith("The far end of the bay: Quernel on")
    assert ("a", {"class": "tb-skip", "href": "#content"}) in read.tags


def test_no_heading_level_is_skipped(any_comparison: Compared) -> None:
    levels = [int(tag[1]) for tag, _ in Reader(view_pages.page_of(any_comparison)).tags if re.fullmatch(r"h\d", tag)]
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_the_sections_stand_in_their_order(three: Compared) -> None:
    ids = [a["id"] for tag, a in Reader(view_pages.page_of(three)).tags if tag == "section"]
    assert ids == [
        "conditions", "result", "figures", "caveats", "numbers", "runs", "budget", "cautions", "origin",
    ]  # fmt: skip


def test_result_and_caveats_are_never_folded(three: Compared) -> None:
    html = view_pages.page_of(three)
    for name in ("show_conditions", "show_result", "show_caveats", "show_table"):
        assert "<details" not in getattr(view, name)(three).html
    assert html.count("<details>") == 4  # runs, budget, cautions, origin; the figure's data has a class


def test_ids_are_unique_and_every_reference_is_there(any_comparison: Compared) -> None:
    tags = Reader(view_pages.page_of(any_comparison)).tags
    ids = [a["id"] for _, a in tags if "id" in a]
    assert len(ids) == len(set(ids))
    for _, attributes in tags:
        for name in attributes.get("aria-labelledby", "").split():
            assert name in ids
        if attributes.get("href", "").startswith("#"):
            assert attributes["href"][1:] in ids


def test_what_came_from_a_file_is_escaped() -> None:
    named = view_records.make(6, long_names=True)
    html = view_pages.page_of(named)
    read = Reader(html)
    assert read.count("script") == 0
    assert read.count("b") == 0
    assert "&lt;script&gt;" in html


def test_nothing_on_the_page_asks_for_anything(any_comparison: Compared) -> None:
    html = view_pages.page_of(any_comparison)
    addresses = re.findall(r'(?:src|href|action)="([^"]*)"', html)
    assert not [a for a in addresses if "//" in a]
    assert "@import" not in html
    assert "style=" not in html
    assert not re.search(r"\bon[a-z]+=", re.sub(r"<svg.*?</svg>", "", html, flags=re.DOTALL))


def test_the_policy_lets_through_this_style_and_nothing_else(three: Compared) -> None:
    html = view_pages.page_of(three)
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', html)
    style = re.search(r"<style>(.*?)</style>", html, re.DOTALL)
    assert policy
    assert style
    shown = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    allowed = policy[1].replace("&#39;", "'").replace("&#34;", '"')
    assert allowed.startswith(f"default-src 'none'; style-src 'sha256-{shown}'; img-src data:")
    assert "script-src" not in allowed
    assert html.count("<style") == 1
    assert style[1] == page.style_text()


def test_a_script_has_a_hash_of_its_own() -> None:
    policy = page.content_policy("a {}", "let a = 1;")
    # oracle: printf 'let a = 1;' | openssl dgst -sha256 -binary | base64, through hashlib here
    shown = base64.b64encode(hashlib.sha256(b"let a = 1;").digest()).decode()
    assert f"script-src 'sha256-{shown}'" in policy


def _rows(html: str, table: str) -> list[str]:
    found = re.search(rf'<table class="{table}">(.*?)</table>', html, re.DOTALL)
    return re.findall(r'<th scope="row">', found[1]) if found else []


def test_there_is_a_row_for_every_difference_and_level(any_comparison: Compared) -> None:
    record: ComparisonRecord = any_comparison.record
    html = view.show_table(any_comparison).html
    assert len(_rows(html, "tb-differences")) == len(record.differences)
    assert len(_rows(html, "tb-levels")) == len(record.levels)


def test_tables_have_captions_and_scopes(three: Compared) -> None:
    html = view_pages.page_of(three)
    read = Reader(html)
    assert read.count("table") == read.count("caption") > 0
    assert all(a.get("scope") in ("col", "row", "rowgroup") for tag, a in read.tags if tag == "th")


def test_the_page_is_the_same_each_time_and_says_no_time_path_or_user(three: Compared) -> None:
    html = view_pages.page_of(three)
    moved = Compared(three.record, dataclasses.replace(three.settings, folder=three.settings.folder / "elsewhere"))
    assert view_pages.page_of(moved) == html
    assert not re.search(r"(?<!\d)\d\d:\d\d(?!\d)", re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL))
    assert "/home/" not in html
    assert "elsewhere" not in html


def test_a_report_stays_under_300_kb_beside_its_pictures(any_comparison: Compared) -> None:
    html = view_pages.page_of(any_comparison)
    assert len(re.sub(r"<svg.*?</svg>", "", html, flags=re.DOTALL).encode()) < 300_000


def test_the_compensated_loss_is_said_only_where_pressure_is_held(three: Compared) -> None:
    said = "the line's steady loss is compensated"
    assert said in view.show_conditions(three).text
    assert said not in view.show_conditions(view_records.make(3, compensated=False)).text


def test_the_budget_is_sorted_and_its_largest_row_said_in_words(three: Compared) -> None:
    text = view.show_budget(three).text.replace("\u2009", " ")
    # by hand: contributions 0.8 u and 0.6 u, so 64 % and 36 % of the variance
    assert "Scatter of the item's runs dominates: 64 % of the variance." in text
    html = view.show_budget(three).html
    first = html.index("Scatter of the item")
    assert first < html.index("Scatter of the baseline") < html.index("Zero of the cell") < html.index("in the scatter")


def test_where_it_comes_from_holds_every_digest(three: Compared) -> None:
    text = view.show_origin(three).text
    for path, digest in {**three.settings.digests, **three.record.digests}.items():
        assert f"{digest}  {path}" in text
    assert "toolbench report SEASON --episode far-end --tool quernel-1 --protocol held" in text


def test_a_run_left_out_is_listed_with_its_reason(three: Compared) -> None:
    assert "far far-r06: left out: socket slip" in view.show_runs(three).text


def test_the_template_also_works_unprepared_and_with_the_html_exporter(three: Compared) -> None:
    folder = str(page.templates_folder())
    for kind in (TemplateExporter, HTMLExporter):
        made = kind(template_name=page.REPORT_TEMPLATE, extra_template_basedirs=[folder], template_file="index.html.j2")
        html = str(made.from_notebook_node(view_pages.notebook_of(three))[0])
        assert "<h1" in html
        assert "<script>" not in html
        assert "Content-Security-Policy" not in html  # the filter that makes the hash is not there


def test_a_missing_name_is_an_error() -> None:
    with pytest.raises(jinja2.UndefinedError):
        view_pages.exporter().environment.from_string("{{ nothing.here }}").render()
    with pytest.raises(jinja2.UndefinedError):
        page.environment().from_string("{{ nothing }}").render()


def test_a_cell_that_somebody_adds_stands_on_the_page_escaped(three: Compared) -> None:
    notebook = view_pages.notebook_of(three)
    notebook.cells.append(new_markdown_cell("## My own *remark* <script>alert(1)</script>"))
    notebook.cells.append(new_code_cell("1 + 1", outputs=[new_output("execute_result", data={"text/plain": "<2>"})]))
    html = str(view_pages.exporter().from_notebook_node(notebook)[0])
    assert "<em>remark</em>" in html
    assert "<script" not in html
    assert "&lt;2&gt;" in html
    assert "1 + 1" not in html  # code stays in the notebook


def test_shown_pieces_are_also_text(any_comparison: Compared) -> None:
    for name in view_pages.ORDER:
        shown = getattr(view, name)(any_comparison)
        assert str(shown).strip()
        assert shown._repr_html_().startswith("<section")


def test_no_line_of_a_page_ends_between_a_number_and_its_unit(three: Compared) -> None:
    html = view.show_result(three).html
    assert "95\u202f% confidence" in html
    assert "\u2009" not in html


def test_the_mend_of_a_caveat_is_a_sentence(three: Compared) -> None:
    mends = re.findall(r'<span class="tb-mend">([^<]+)</span>', view.show_caveats(three).html)
    assert all(mend[0].isupper() and mend.endswith(".") for mend in mends)
    assert mends


def test_what_is_set_at_rest_is_told_as_held_and_runs_go_by_their_items_names() -> None:
    drawn = view_records.make(3, compensated=False, long_names=True)
    assert "Held: nothing but the setup as it stands" in view.show_conditions(drawn).text
    rest = Hold(channel="inlet_pressure", at=690000.0, within=10000.0)
    items = (dataclasses.replace(drawn.record.items[0], runs=()), *drawn.record.items[1:])
    protocol = dataclasses.replace(drawn.record.protocol, rest=rest)
    record = dataclasses.replace(drawn.record, protocol=protocol, items=items)
    text = view.show_conditions(Compared(record, drawn.settings)).text.replace("\u2009", " ")
    assert "Held: Inlet pressure (gauge), 6.90 ± 0.10 bar, at rest, before the start" in text
    assert f"Runs used: {items[0].label}: 0; {items[1].label}: 5;" in text
