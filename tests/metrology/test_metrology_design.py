"""Checks of the design: flawless reports are left alone, planted flaws are found (all constructed)."""

import numpy as np
import pytest

from toolbench.metrology import ItemRuns, Row, check_standard_findings, statistical_findings
from toolbench.metrology.charts import grubbs_p, step_p
from toolbench.metrology.design import ALARM, trend_p

ROW = Row(response="torque", metric="sustained", at=None, unit="N*m")


def report(
    random: np.random.Generator, items: int, n: int, *, blocks: bool = False
) -> tuple[list[ItemRuns], list[list[float]]]:
    """A flawless report: `n` runs of each item in random order, or each item once in every block in random order."""
    if blocks:
        order = (np.arange(n) * items + np.array([random.permutation(items) for _ in range(n)]).T).astype(float)
    else:
        order = random.permutation(items * n).reshape(items, n).astype(float)
    shift = 3 * random.standard_normal((n, 1)) if blocks else 0.0
    names = tuple(f"b{k}" for k in range(n)) if blocks else ()
    made = [
        ItemRuns(
            id=f"i{k}", values=(400 + 200 * k) * (1 + 0.01 * (random.standard_normal((n, 1)) + shift)), blocks=names
        )
        for k in range(items)
    ]
    return made, [list(mine) for mine in order]


@pytest.mark.slow
@pytest.mark.parametrize(("items", "n", "blocks"), [(2, 3, False), (3, 5, False), (6, 10, False), (3, 5, True)])
def test_flawless_reports_are_left_alone(items: int, n: int, blocks: bool) -> None:
    random = np.random.default_rng(20_260_401)
    alarms = sum(
        bool(statistical_findings(made, [ROW], orders))
        for made, orders in (report(random, items, n, blocks=blocks) for _ in range(1_000))
    )
    assert alarms / 1_000 <= ALARM + 0.015  # 4 %, with a standard error of 0.6 points


def test_several_rows_share_the_probability_of_an_alarm() -> None:
    random = np.random.default_rng(1)
    rows = [ROW] * 4
    alarms = 0
    for _ in range(1_000):
        items = [ItemRuns(id=f"i{k}", values=400 + random.standard_normal((5, 4))) for k in range(2)]
        alarms += bool(statistical_findings(items, rows, [range(0, 10, 2), range(1, 10, 2)]))
    assert alarms / 1_000 <= ALARM + 0.015


def test_a_trend_over_the_order_is_found() -> None:
    random = np.random.default_rng(2)
    items = [ItemRuns(id=name, values=400 + random.standard_normal((6, 1))) for name in ("near", "far")]
    orders = [[float(k) for k in range(start, 12, 2)] for start in (0, 1)]
    for item, order in zip(items, orders, strict=True):
        item.values[:, 0] += np.array(order)
    found = [f for f in statistical_findings(items, [ROW], orders) if f.code == "trend"]
    assert [f.subjects for f in found] == [("near", "far")]
    assert "N·m" in found[0].message


def test_a_step_between_blocks_is_no_trend() -> None:
    values = [np.array([1.0, 5.0, 9.1, 13.0]), np.array([1.1, 5.1, 9.0, 13.1])]
    orders = [np.array([0.0, 3.0, 4.0, 7.0]), np.array([1.0, 2.0, 5.0, 6.0])]
    blocks = [["v", "w", "x", "y"]] * 2
    assert trend_p(values, orders)[0] < 0.01
    assert trend_p(values, orders, blocks)[0] > 0.05


def test_order_unknown_or_fixed_by_blocks_is_no_trend() -> None:
    values = [np.array([1.0, 2.0, 3.0]), np.array([1.2, 2.1, 3.1])]
    same = [np.array([0.0, 2.0, 4.0]), np.array([1.0, 3.0, 5.0])]
    assert trend_p(values, same, [["v", "w", "x"]] * 2)[0] == 1.0  # nothing is left of the order within blocks
    items = [ItemRuns(id=str(k), values=v[:, None]) for k, v in enumerate(values)]
    assert statistical_findings(items, [ROW], [[None] * 3] * 2) == []


def test_unlike_scatter_is_found_and_named() -> None:
    random = np.random.default_rng(3)
    items = [ItemRuns(id=n, values=400 + s * random.standard_normal((8, 1))) for n, s in (("near", 1), ("far", 12))]
    found = [f for f in statistical_findings(items, [ROW], [[None] * 8] * 2) if f.code == "unlike-scatter"]
    assert [f.subjects for f in found] == [("far",)]


def test_as_many_percent_of_a_higher_level_is_like_scatter() -> None:
    steps = np.array([-1.0, 0.4, 1.1, -0.6, 0.1])[:, None]
    items = [ItemRuns(id=n, values=level * (1 + 0.01 * steps)) for n, level in (("small", 100.0), ("large", 2000.0))]
    assert statistical_findings(items, [ROW], [[None] * 5] * 2) == []


def test_a_value_that_stands_apart_is_named() -> None:
    values = np.array([400.0, 401.0, 399.5, 400.4, 437.0, 400.2])[:, None]
    found = statistical_findings([ItemRuns(id="far", values=values)], [ROW], [[None] * 6])
    assert [(f.code, f.severity, f.subjects) for f in found] == [("outlier", "doubtful", ("far",))]
    assert "Run 5 of 6 of far" in found[0].message


def test_two_runs_have_no_outlier() -> None:
    assert grubbs_p([1.0, 100.0]) == (1.0, 0)
    assert grubbs_p([2.0, 2.0, 2.0]) == (1.0, 0)


def test_check_standard_out_of_control_in_one_block() -> None:
    means = [300.2, 299.9, 300.1, 312.0, 300.0, 299.8]
    found = check_standard_findings(means, list("uvwxyz"), "Old Tasselby on near under held")
    assert [f.subjects for f in found] == [("x",)]
    assert "block x" in found[0].message
    assert "+4.0" in found[0].message  # by hand: 312 / 300 - 1


def test_check_standard_that_drifts() -> None:
    random = np.random.default_rng(4)
    means = 300 + np.arange(14) * 0.8 + 0.5 * random.standard_normal(14)
    assert step_p(means)[0] < 0.01
    assert [f.code for f in check_standard_findings(means, [str(k) for k in range(14)], "x")] == [
        "check-standard-out-of-control"
    ]


@pytest.mark.parametrize("blocks", [3, 4, 8, 20])
def test_check_standard_in_control_is_left_alone(blocks: int) -> None:
    random = np.random.default_rng(5)
    alarms = sum(
        bool(check_standard_findings(300 + random.standard_normal(blocks), [str(k) for k in range(blocks)], "x"))
        for _ in range(1_000)
    )
    assert alarms / 1_000 <= 0.055  # 4 %, with a standard error of 0.6 points
