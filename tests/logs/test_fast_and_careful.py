"""The fast way, the rows looked at one by one and the end read apart give what the careful way gives, line by line.

The oracle is the careful way itself, which looks at every line.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import toolbench.logs.columns.table as ways
from toolbench.logs import read_log
from toolbench.logs.columns.end_apart import ends_oddly, read_with_end_apart
from toolbench.logs.columns.fast_table import can_be_fast, read_fast
from toolbench.logs.columns.tables import Table
from toolbench.logs.reading import _found

ROWS = 12_000  # about 340 kB, enough for the end to be read apart


def lines(rows: int = ROWS) -> list[str]:
    values = np.random.default_rng(5).normal(50, 5, (rows, 2))
    return [f"{n / 1000:.3f},{a:.3f},RUN,{b:.6f}" for n, (a, b) in enumerate(values)]


def with_cell(made: list[str], row: int, place: int, cell: str) -> None:
    cells = made[row].split(",")
    cells[place] = cell
    made[row] = ",".join(cells)


def same(one: Table, other: Table) -> None:
    assert one.rows == other.rows
    assert [one.line(row) for row in range(0, one.rows, 7)] == [other.line(row) for row in range(0, other.rows, 7)]
    assert one.columns.keys() == other.columns.keys()
    for index, values in one.columns.items():
        if isinstance(values, np.ndarray):
            np.testing.assert_array_equal(values, other.columns[index])
        else:
            assert pd.Series(values).tolist() == pd.Series(other.columns[index]).tolist()
    for told in ("dropped", "footer", "blank", "cut", "zeros"):
        assert getattr(one, told) == getattr(other, told), told
    assert {i: bad for i, bad in one.unreadable.items() if bad} == {
        i: bad for i, bad in other.unreadable.items() if bad
    }


def both_ways(path) -> tuple[Table, Table]:
    found = _found(path, None, None)
    careful = ways.read_careful(found.source, found.encoding, found.layout, found.every, frozenset(), frozenset())
    if ends_oddly(found.source, found.layout):
        quick = read_with_end_apart(found.source, found.encoding, found.layout, found.every, (), frozenset())
    else:
        assert can_be_fast(found.source, found.encoding, found.layout, ())
        quick = read_fast(found.source, found.layout, found.every)
    assert quick is not None, "the careful way was taken"
    return quick, careful


@pytest.mark.parametrize(
    "cells",
    [
        [(3000, 1, "OVER")],
        [(0, 3, "OVER"), (ROWS - 1, 1, "UNDER")],
        [(3000, 1, ""), (3001, 3, ""), (9000, 3, "NA")],
        [(5000, 2, ""), (5001, 2, "NA"), (5002, 3, "***")],
        [(5000, 1, "+  21.5"), (5001, 1, "1'021.5"), (5002, 3, "1.5D+01")],
        [(100 * n, 1, "ERR") for n in range(100)],
    ],
)
def test_odd_cells(write, cells):
    made = lines()
    for row, place, cell in cells:
        with_cell(made, row, place, cell)
    same(*both_ways(write("t [s],M [Nm],state,p [bar]\n" + "\n".join(made) + "\n")))


@pytest.mark.parametrize(
    "end",
    [
        "\n12.000,50.1",
        "\n12.000,50.123,RUN,49.12",
        "",
        "\nEnd of record\n",
        "\nEnd of record",
        "\n\n\nmax,min\n1,2\n",
        "\n" + "\0" * 300,
        "\n12.000,50.1" + "\0" * 100_000,
        "\n12.000,OVER,RUN,50.125000",
    ],
)
def test_odd_ends(write, end):
    same(*both_ways(write("t [s],M [Nm],state,p [bar]\n" + "\n".join(lines()) + end)))


@pytest.mark.parametrize(
    "between", ["# a remark", "", "t [s],M [Nm],state,p [bar]", "5.5,50.1", "5.5,50.1,RUN,50.1,50.1"]
)
def test_lines_that_are_no_rows_are_left_to_the_careful_way(write, between):
    made = lines()
    made.insert(6000, between)
    path = write("t [s],M [Nm],state,p [bar]\n" + "\n".join(made) + "\n")
    found = _found(path, None, None)
    assert read_fast(found.source, found.layout, found.every) is None
    log = read_log(path)
    assert len(log.data) == ROWS
    [told] = [finding for finding in log.findings if finding.code in ("rows-dropped", "blank-lines")]
    assert told.line == 6002  # the header is line 1, the line between stands behind 6,000 rows
