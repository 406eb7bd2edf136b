"""The link of two epochs by hand and by simulation: how often the interval of a linked difference holds."""

import math

import numpy as np
import pytest
from scipy import stats

from toolbench.metrology import ItemRuns, Row, Source, compare_items
from toolbench.metrology.links import link_uncertainty, side_level
from toolbench.records.runs import Link, LinkPart

ROW = Row(response="torque", metric="sustained", at=None, unit="N*m")
NOMINAL, DRAWS = 0.95, 2_000


def _parts(near: list[float] | np.ndarray, far: list[float] | np.ndarray) -> tuple[float, tuple[LinkPart, ...]]:
    sides = [(side_level(near), "near", 1.0), (side_level(far), "far", -1.0)]
    factor = sides[0][0].mean / sides[1][0].mean
    return factor, tuple(
        LinkPart(source=name, label=name, relative=sign * side.relative_uncertainty, degrees_of_freedom=side.degrees_of_freedom)
        for side, name, sign in sides
    )  # fmt: skip


def test_a_link_by_hand() -> None:
    # By hand: means 100 and 104; sd 2 and 1; u 2/sqrt(4) = 1 % and 1/sqrt(3)/104 = 0.5552 %.
    near = [100 - math.sqrt(6), 100.0, 100.0, 100 + math.sqrt(6)]
    factor, parts = _parts(near, [103.0, 104.0, 105.0])
    u, dof = link_uncertainty(Link(factor=factor, parts=parts))
    assert factor == pytest.approx(100 / 104)
    assert u == pytest.approx(math.hypot(0.01, 0.005552), rel=1e-4)
    # Welch-Satterthwaite by hand: u^4 / (0.01^4/3 + 0.005552^4/2).
    assert dof == pytest.approx(u**4 / (0.01**4 / 3 + 0.0055518**4 / 2), rel=1e-4)
    # Against Welch's test on the logarithms' linear form in scipy: the same degrees of freedom for values over their mean.
    over_mean = [np.array(near) / 100, np.array([103.0, 104.0, 105.0]) / 104]
    assert dof == pytest.approx(stats.ttest_ind(*over_mean, equal_var=False).df, rel=1e-9)


@pytest.mark.parametrize(
    "values",
    [
        pytest.param([300.0], id="one block has no scatter"),
        pytest.param([300.0, math.nan], id="one block with a value"),
        pytest.param([0.0, 0.0], id="a level of zero"),
        pytest.param([80.0, 120.0], id="known to 20 % only"),
    ],
)
def test_what_carries_no_link(values: list[float]) -> None:
    assert side_level(values) is None


@pytest.mark.parametrize(
    ("near", "far"), [pytest.param(5, 5, id="5 and 5 blocks"), pytest.param(8, 4, id="8 and 4 blocks")]
)
def test_linked_intervals_cover(near: int, far: int) -> None:
    """Simulated: the rig steps by 4 % between the items, scatter is 1 %, five runs an item; the true difference is -3 %."""
    random = np.random.default_rng(20260302)
    held = plain = 0
    for _ in range(DRAWS):
        factor, parts = _parts(
            300 * (1 + 0.01 * random.standard_normal(near)), 312 * (1 + 0.01 * random.standard_normal(far))
        )
        sources = tuple(
            Source(source=p.source, label=p.label, relative=p.relative, degrees_of_freedom=p.degrees_of_freedom) for p in parts
        )  # fmt: skip
        base = ItemRuns(id="base", values=500 * (1 + 0.01 * random.standard_normal((5, 1))))
        values = factor * 1.04 * 485 * (1 + 0.01 * random.standard_normal((5, 1)))
        for shared in (sources, ()):
            item = ItemRuns(id="item", values=values, sources=(shared,))
            found = compare_items([base, item], [ROW], [("item", "base")], confidence=NOMINAL).differences[0].interval
            if shared:
                held += found.lower <= -3.0 <= found.upper
            else:
                plain += found.lower <= -3.0 <= found.upper
    low, high = stats.binom.ppf([0.0005, 0.9995], DRAWS, NOMINAL)
    assert low <= held <= high
    # Without the link's part the interval holds far less often, so the test can tell.
    assert plain < 0.9 * DRAWS
