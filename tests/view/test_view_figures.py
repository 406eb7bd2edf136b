"""Figures: honest axes, labels that do not meet, colours that can be seen, the same bytes each time, closed SVG."""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import matplotlib as mpl
import numpy as np
import pytest
import view_records
from matplotlib.figure import Figure
from view_records import Compared

from toolbench import view
from toolbench.view.figures.canvas import (
    DARK_GROUND,
    LIGHT_GROUND,
    SERIES,
    honest_limits,
    repel,
    shortened,
    style,
    thin,
    wrapped,
)
from toolbench.view.figures.svg import raw_svg


def _luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2."""
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_on_white_is_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2, definition of contrast ratio


@pytest.mark.parametrize("look", SERIES)
def test_every_line_has_3_to_1_on_both_grounds(look: object) -> None:
    assert contrast(look.light, LIGHT_GROUND) >= 3  # type: ignore[attr-defined]
    assert contrast(look.dark, DARK_GROUND) >= 3  # type: ignore[attr-defined]


def test_every_item_has_a_dash_and_a_marker_of_its_own() -> None:
    assert len({str(look.dash) for look in SERIES}) == len({look.marker for look in SERIES}) == len(SERIES)


def test_labels_are_pushed_apart_and_keep_their_order() -> None:
    placed = repel([5.0, 5.1, 5.2, 9.9], 1.0, 0.0, 10.0)
    assert np.diff(sorted(placed)).min() >= 1.0 - 1e-12
    assert placed == sorted(placed)
    assert min(placed) >= 0
    assert max(placed) <= 10
    assert repel([2.0, 8.0], 1.0, 0.0, 10.0) == [2.0, 8.0]  # by hand: nothing to push


def test_thinning_keeps_peaks_and_gaps() -> None:
    x = np.arange(20000.0)
    y = np.sin(x / 500)
    y[12345] = 9.0
    y[4000:4500] = np.nan
    kept_x, kept_y = thin(x, y, 300)
    assert len(kept_x) <= 600
    assert np.nanmax(kept_y) == 9.0
    assert np.isnan(kept_y).any()
    assert (np.diff(kept_x) > 0).all()


@pytest.mark.parametrize(
    ("low", "high", "start", "cut"),
    [(0.0, 900.0, 0.0, False), (-20.0, 900.0, -75.2, False), (610.0, 680.0, 605.8, True), (300.0, 900.0, 0.0, False)],
)
def test_an_axis_starts_at_zero_or_says_that_it_does_not(low: float, high: float, start: float, cut: bool) -> None:
    bottom, _, found = honest_limits(low, high)  # by hand: 6 % room; cut only where all lies above 0.6 of the highest
    assert bottom == pytest.approx(start)
    assert found is cut


def test_long_names_keep_both_ends() -> None:
    assert shortened("abcdefghij", 7) == "abc…hij"
    assert wrapped(view_records.LONG + " (far)", 17).endswith("(far)")
    assert wrapped(view_records.LONG, 17).count("\n") == 1
    assert wrapped("near") == "near"


def _svgs(html: str) -> list[str]:
    return re.findall(r"<svg.*?</svg>", html, re.DOTALL)


def test_inline_svg_is_closed_and_described(any_comparison: Compared) -> None:
    found = _svgs(view.plot_report(any_comparison).html)
    assert len(found) == 2
    for svg in found:
        tree = ElementTree.fromstring(svg)
        assert tree.get("role") == "img"
        assert "style=" not in svg
        assert "<style" not in svg
        assert "<metadata" not in svg
        names = tree.get("aria-labelledby", "").split()
        ids = [element.get("id") for element in tree.iter() if element.get("id")]
        assert set(names) <= set(ids)
        assert len(ids) == len(set(ids))
        for used in re.findall(r'(?:url\(#|href="#)([^")]+)', svg):
            assert used in ids


def test_ids_of_two_figures_of_a_page_do_not_meet(three: Compared) -> None:
    one, two = (set(re.findall(r' id="([^"]+)"', svg)) for svg in _svgs(view.plot_report(three).html))
    assert one
    assert not one & two


def test_the_text_alternative_is_made_from_the_numbers(three: Compared) -> None:
    intervals, curves = (ElementTree.fromstring(svg) for svg in _svgs(view.plot_report(three).html))
    space = "{http://www.w3.org/2000/svg}desc"
    said = (intervals.findtext(space) or "").replace("\u202f", " ")
    assert "far against near: at 3 s −6.9 % ± 1.9 %, lower" in said
    # by hand: 900 * (1 - exp(-3 / 0.9)) = 867.9; the nearest point of the grid lies at 3.0000 ± 0.012 s
    assert re.search(r"near: 86[78]\.\d N·m at 3 s", (curves.findtext(space) or "").replace("\u202f", " "))


def test_colours_follow_the_page_and_fall_back(three: Compared) -> None:
    html = view.plot_report(three).html
    assert "var(--tb-1, #0072b2)" in html
    assert '="#0072b2"' not in html


def test_no_line_has_more_than_600_points(any_comparison: Compared) -> None:
    for path in re.findall(r' d="([^"]+)"', view.plot_report(any_comparison).html):
        assert path.count("L") <= 600


def _digests(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.glob("figures/*"))}


def test_files_are_the_same_bytes_each_time_and_carry_no_date(three: Compared, tmp_path: Path) -> None:
    view.save_figures(three, tmp_path / "one")
    view.plot_report(view_records.make(2))  # something else in between
    view.save_figures(three, tmp_path / "two")
    one = _digests(tmp_path / "one")
    assert sorted(one) == ["curves.png", "curves.svg", "intervals.png", "intervals.svg"]
    assert one == _digests(tmp_path / "two")
    for path in (tmp_path / "one" / "figures").iterdir():
        content = path.read_bytes()
        assert b"matplotlib" not in content.lower()
        assert b"tEXt" not in content
        assert b"var(--" not in content


def test_an_empty_folder_name_writes_nothing(three: Compared, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    view.save_figures(three, "")
    view.write_notes(three, "")
    assert list(tmp_path.iterdir()) == []


def test_names_from_files_are_escaped_in_figures() -> None:
    html = view.plot_report(view_records.make(6, long_names=True)).html
    assert "<b>" not in html


@pytest.mark.parametrize("name", ["plot_bands", "plot_intervals", "plot_runs", "plot_supply"])
def test_plots_return_the_axes_they_were_given(any_comparison: Compared, name: str) -> None:
    before = dict(mpl.rcParams)
    ax = Figure().add_subplot()
    assert getattr(view, name)(any_comparison, ax) is ax
    assert getattr(view, name)(any_comparison).figure is not ax.figure
    assert dict(mpl.rcParams) == before


def test_a_cut_axis_says_so(three: Compared) -> None:
    ax = view.plot_supply(three)
    assert ax.get_ylim()[0] > 0
    assert any("does not start at zero" in text.get_text() for text in ax.texts)


def test_more_than_five_items_become_small_multiples() -> None:
    from toolbench.view.figures.report import pictures

    def panels(count: int) -> int:
        return len(next(p for p in pictures(view_records.make(count)) if p.name == "curves").draw().axes)

    assert panels(5) == 2  # levels and percent
    assert panels(6) == 5  # one for each item but the baseline


def test_pyplot_stays_out() -> None:
    code = "import sys, toolbench.view.figures; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_name_in_letters_that_the_font_lacks_stays_text_without_a_warning() -> None:
    # Warnings are errors in these tests.
    with style("tb-test"):
        figure = Figure()
        figure.text(0.5, 0.5, "工具")
        assert "工具" in raw_svg(figure)
