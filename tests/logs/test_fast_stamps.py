"""Stamps weighed all at once, held against pandas and against the careful way."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from toolbench.logs.clocks.fast_stamps import iso_nanoseconds

ROWS = 20_000  # more than two blocks


@pytest.mark.oracle
@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize("mark", ["", "Z"])
@pytest.mark.parametrize("between", ["T", " "])
def test_agrees_with_pandas_over_midnights(unit, mark, between):
    steps = np.random.default_rng(20260301).integers(0, 40 * 10**9, ROWS).cumsum()  # nine days
    stamps = (np.datetime64("2024-02-27T23:59:58", "ns") + steps.astype("timedelta64[ns]")).astype(
        f"datetime64[{unit}]"
    )
    text = pd.Series(np.datetime_as_string(stamps, unit=unit), dtype="str").str.replace("T", between) + mark
    expected = stamps.astype("datetime64[ns]").astype(np.int64)
    assert np.array_equal(iso_nanoseconds(text), expected)


@pytest.mark.parametrize(
    "odd",
    [
        "2026-03-01T10:00:60",
        "2026-03-01T24:00:00",
        "2026-02-29T10:00:00",
        "2026-13-01T10:00:00",
        "2026-03-01 10:00:00",
        "2026-03-01T10:0a:00",
        "2026-03-01T10:00",
        "2026-03-01T10:00:00Z",
        "1500-03-01T10:00:00",
        "",
    ],
)
@pytest.mark.parametrize("row", [1, 9_000, ROWS - 1])
def test_one_stamp_that_deviates_leaves_all_to_the_careful_way(odd, row):
    text = ["2026-03-01T10:00:00"] * ROWS
    text[row] = odd
    assert iso_nanoseconds(pd.Series(text, dtype="str")) is None


def test_four_decimals_are_left_to_the_whole_column():
    assert iso_nanoseconds(pd.Series(["2026-03-01T10:00:00.0999"] * 3, dtype="str")) is None
