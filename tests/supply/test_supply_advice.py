"""What to change on a line: every list is enough, none holds a change too many, nothing shorter was missed, ratings are kept."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from toolbench.errors import AnalysisError
from toolbench.supply.advice import Advice, Candidates, ChangeList, find_changes
from toolbench.supply.elements import Element, Regulator, Restriction, from_flow_coefficient
from toolbench.supply.hose import Hose
from toolbench.supply.line import Demand, Line, find_operating_point
from toolbench.supply.longest import longest_hoses

AMBIENT, BAR = 101325.0, 1e5
PAIR = Restriction(sonic_conductance=4.5e-8, critical_pressure_ratio=0.3)
HOSE = Hose(bore_m=0.0095, length_m=30.0, roughness_m=2e-6, rated_pa_abs=15 * BAR + AMBIENT)
TOOL = Demand(conductance=2e-8)
LINE = Line(
    regulator=Regulator(set_pa_abs=6.9 * BAR + AMBIENT, droop_pa_s_m3=2e6),
    elements=(PAIR, HOSE, PAIR),
    ambient_pa_abs=AMBIENT,
)
SHORTER = Candidates(lengths_m=(15.0, 7.5))


def touched(one: ChangeList) -> list[tuple[int, str]]:
    return sorted((change.part, change.kind) for change in one.changes)


def brute_force(line: Line, wanted: float, candidates: Candidates) -> set[frozenset[tuple[int, str]]]:
    """Oracle: every combination of at most three changes tried alone by the operating point; the sets that no smaller set makes."""
    high_flow = candidates.high_flow
    assert high_flow is not None
    per_part: list[list[tuple[frozenset[tuple[int, str]], Element | None]]] = []
    for part, element in enumerate(line.elements, start=1):
        options: list[tuple[frozenset[tuple[int, str]], Element | None]] = []
        if isinstance(element, Hose):
            lengths = [element.length_m, *(x for x in candidates.lengths_m if x < element.length_m)]
            bores = [element.bore_m, *(x for x in candidates.bores_m if x > element.bore_m)]
            coils = [element.coil_diameter_m, None] if element.coil_diameter_m is not None else [None]
            for length, bore, coil in product(lengths, bores, coils):
                names = {
                    "length": length != element.length_m,
                    "bore": bore != element.bore_m,
                    "straight": coil != element.coil_diameter_m,
                }
                keys = frozenset((part, name) for name, changed in names.items() if changed)
                options.append((keys, replace(element, length_m=length, bore_m=bore, coil_diameter_m=coil)))
        else:
            options = [(frozenset(), element)]
            if element.kind == "coupler":
                options += [(frozenset([(part, "removed")]), None), (frozenset([(part, "high-flow")]), high_flow)]
        per_part.append(options)
    enough = set()
    for combination in product(*per_part):
        keys = frozenset().union(*(key for key, _ in combination))
        if len(keys) <= 3:
            elements = tuple(element for _, element in combination if element is not None)
            if float(find_operating_point(replace(line, elements=elements), TOOL).inlet_pa_abs) >= wanted:
                enough.add(keys)
    return {keys for keys in enough if not any(other < keys for other in enough)}


@pytest.mark.parametrize("wanted_bar", [5.0, 5.5, 6.0, 6.2, 6.4])
@pytest.mark.parametrize("coil", [None, 0.15])
def test_the_same_sets_as_by_trying_everything(wanted_bar: float, coil: float | None) -> None:
    line = LINE.with_element(2, replace(HOSE, coil_diameter_m=coil, length_m=16.0))
    candidates = replace(SHORTER, raise_regulator=False)
    found = find_changes(line, TOOL, wanted_bar * BAR, candidates)
    expected = brute_force(line, wanted_bar * BAR + AMBIENT, candidates)
    if found.enough_now:
        assert expected == {frozenset()}
        assert found.lists == ()
    else:
        assert {frozenset(touched(one)) for one in found.lists} == expected
        assert (found.closest is None) == bool(expected)


def without(advice: Advice, one: ChangeList, left_out: int) -> float:
    """Inlet pressure with one change of a list undone."""
    change = one.changes[left_out]
    line = one.line
    if change.kind == "regulator":
        return float(find_operating_point(replace(line, regulator=LINE.regulator), TOOL).inlet_pa_abs)
    kept = [c for c in one.changes if c is not change]
    elements: list[Element | None] = list(LINE.elements)
    for c in kept:
        old = elements[c.part - 1]
        if isinstance(old, Hose):
            new: Element | None = replace(old, **{"length_m" if c.kind == "length" else "bore_m": c.after})
        else:
            new = None if c.kind == "removed" else Restriction(sonic_conductance=c.after, critical_pressure_ratio=0.35)  # type: ignore[arg-type]
        if c.part:
            elements[c.part - 1] = new
    undone = replace(line, elements=tuple(e for e in elements if e is not None))
    return float(find_operating_point(undone, TOOL).inlet_pa_abs)


@pytest.mark.parametrize("wanted_bar", [5.5, 6.0, 6.3])
def test_every_list_is_enough_and_needs_each_of_its_changes(wanted_bar: float) -> None:
    found = find_changes(LINE, TOOL, wanted_bar * BAR, SHORTER)
    assert not found.enough_now
    assert found.lists
    ranks = [(len(one.changes), one.size) for one in found.lists]
    assert ranks == sorted(ranks)
    for one in found.lists:
        assert one.spare_pa >= -1e-3
        assert float(one.point.inlet_pa_abs) - found.wanted_pa_abs == pytest.approx(one.spare_pa)
        assert float(one.point.flow_m3_s) == pytest.approx(TOOL.conductance * float(one.point.inlet_pa_abs))
        for left_out in range(len(one.changes)):
            assert without(found, one, left_out) < found.wanted_pa_abs


def test_the_smallest_step_that_is_enough_is_given() -> None:
    """Of the wider bores the first that does it, of the settings the next tenth of a bar."""
    found = find_changes(LINE, TOOL, 5.7 * BAR)
    single = {change.kind: change for one in found.lists if len(one.changes) == 1 for change in one.changes}
    assert single["bore"].before == 0.0095
    bore = single["bore"].after
    narrower = max(b for b in Candidates().bores_m if b < bore)
    with_narrower = find_operating_point(LINE.with_element(2, replace(HOSE, bore_m=narrower)), TOOL)
    assert float(with_narrower.inlet_pa_abs) < found.wanted_pa_abs
    setting = single["regulator"].after
    assert (setting - AMBIENT) / 1e4 == pytest.approx(round((setting - AMBIENT) / 1e4))
    lower = replace(LINE, regulator=replace(LINE.regulator, set_pa_abs=setting - 1e4))
    assert float(find_operating_point(lower, TOOL).inlet_pa_abs) < found.wanted_pa_abs


def test_the_regulator_is_never_raised_above_the_lowest_rating() -> None:
    for rated_bar in (7.0, 7.4, 8.0, 12.0):
        tool = replace(TOOL, rated_pa_abs=rated_bar * BAR + AMBIENT, label="wrench")
        found = find_changes(LINE, tool, 6.0 * BAR, SHORTER)
        assert found.ceiling == (rated_bar * BAR + AMBIENT, "wrench")
        settings = [c.after for one in found.lists for c in one.changes if c.kind == "regulator"]
        assert all(setting <= rated_bar * BAR + AMBIENT for setting in settings)
    assert settings  # with 12 bar it is one of the answers


def test_without_any_rating_the_regulator_stays() -> None:
    line = LINE.with_element(2, replace(HOSE, rated_pa_abs=None))
    found = find_changes(line, TOOL, 5.7 * BAR)
    assert found.ceiling is None
    assert found.unrated == ("coupler", "hose", "coupler", "tool")
    assert found.lists
    assert not any(change.kind == "regulator" for one in found.lists for change in one.changes)


def test_where_nothing_is_enough_the_closest_is_said() -> None:
    """6.89 bar flowing from a regulator at 6.9 with droop: no line does that, and three changes come closest."""
    found = find_changes(LINE, TOOL, 6.89 * BAR, replace(SHORTER, raise_regulator=False))
    assert found.lists == ()
    assert found.closest is not None
    assert found.closest.spare_pa < 0
    assert float(found.closest.point.inlet_pa_abs) > float(found.now.inlet_pa_abs)
    others = [
        find_changes(LINE, TOOL, float(p), replace(SHORTER, raise_regulator=False)).lists
        for p in np.linspace(float(found.closest.point.inlet_pa_abs) - AMBIENT + 1e-3, 6.9 * BAR, 3)
    ]
    assert not any(others)


def test_a_fitting_is_neither_changed_nor_left_out() -> None:
    line = replace(LINE, elements=(*LINE.elements, from_flow_coefficient(1.0)))
    found = find_changes(line, TOOL, 5.6 * BAR, SHORTER)
    assert found.lists
    assert not any(change.part == 4 for one in found.lists for change in one.changes)


def test_a_line_that_is_good_already_needs_nothing() -> None:
    found = find_changes(LINE, TOOL, 4.0 * BAR)
    assert found.enough_now
    assert found.lists == ()
    assert found.closest is None


def test_a_wanted_pressure_above_a_rating_is_refused() -> None:
    with pytest.raises(AnalysisError, match=r"the wanted 7.00.bar is above the 6.90.bar that tool is rated for"):
        find_changes(LINE, replace(TOOL, rated_pa_abs=6.9 * BAR + AMBIENT), 7.0 * BAR)
    with pytest.raises(AnalysisError, match="at rest tool stands"):
        find_changes(LINE, replace(TOOL, rated_pa_abs=6.3 * BAR + AMBIENT), 6.0 * BAR)


@pytest.mark.parametrize("percent", [15.0, 20.0, 30.0])
def test_the_longest_hose_has_the_loss_that_was_asked_for(percent: float) -> None:
    """Put into the line and worked out by the operating point."""
    found = longest_hoses(LINE, TOOL, percent, hose=2, bores_m=(0.008, 0.0095, 0.013, 0.019))
    for one in found:
        if one.length_m is None:
            continue
        hose = replace(HOSE, bore_m=one.bore_m, length_m=one.length_m)
        point = find_operating_point(LINE.with_element(2, hose), TOOL)
        before = float(point.pressures_pa_abs[0])
        assert 100 * (before - float(point.inlet_pa_abs)) / (before - AMBIENT) == pytest.approx(percent, rel=1e-9)
        assert float(point.flow_m3_s) == pytest.approx(one.flow_m3_s, rel=1e-9)
        assert float(point.inlet_pa_abs) == pytest.approx(one.inlet_pa_abs, rel=1e-9)
    lengths = [one.length_m or 0.0 for one in found]
    assert lengths == sorted(lengths)
    assert lengths[-1] > 0


def test_no_hose_where_the_couplers_lose_more_already() -> None:
    found = longest_hoses(LINE, TOOL, 5.0, hose=2, bores_m=(0.013, 0.025))
    assert [one.length_m for one in found] == [None, None]


def test_impossible_questions_about_the_longest_hose() -> None:
    with pytest.raises(ValueError, match="loss_percent"):
        longest_hoses(LINE, TOOL, 0.0, hose=2, bores_m=(0.013,))
    with pytest.raises(ValueError, match="loss_left"):
        longest_hoses(LINE, TOOL, 100.0, hose=2, bores_m=(0.013,))
    with pytest.raises(ValueError, match="not a hose"):
        longest_hoses(LINE, TOOL, 10.0, hose=1, bores_m=(0.013,))


def test_of_a_long_line_only_what_helps_most_is_joined_to_lists_and_that_is_told() -> None:
    """Sixty hoses of 2 m, 9.5 mm would make 276 760 triples of changes; a wide one has nothing to give."""
    short = replace(HOSE, length_m=2.0)
    line = replace(LINE, elements=(*(replace(short, label=f"hose {k}") for k in range(60)),))
    found = find_changes(line, TOOL, 5.5 * BAR, replace(SHORTER, lengths_m=(1.0,)))
    assert found.passed_over == 120 - 10
    assert found.lists or found.closest is not None


def test_of_many_lengths_the_ends_are_tried() -> None:
    lengths = tuple(float(x) for x in range(1, 30))
    found = find_changes(LINE, TOOL, 6.0 * BAR, replace(SHORTER, lengths_m=lengths))
    values = {change.after for one in found.lists for change in one.changes if change.kind == "length"}
    assert found.passed_over == 0
    assert values <= set(lengths)
