"""Files large enough for the parser's parallel way: the same values, the same lines, the same findings as a small one."""

from __future__ import annotations

import numpy as np
import pytest

from toolbench.logs import read_log

ROWS = 100_000  # more than 5 MB, from which on the parser works in parallel


@pytest.fixture(scope="module")
def rows() -> list[str]:
    noise = np.random.default_rng(11).normal(500.0, 40.0, ROWS)
    return [f"{n / 1000:.3f},{value:.17g},{n * 1.1:.25f}" for n, value in enumerate(noise.tolist())]


def as_file(rows: list[str]) -> str:
    return "Bench: two\nt [s],Torque [N*m],p [bar]\n" + "\n".join(rows) + "\n"


def test_every_value_is_exact_both_ways(write, rows):
    assert len(as_file(rows)) > 5 * 1024 * 1024
    expected = [float(row.split(",")[1]) for row in rows]  # Python's float as oracle
    fast = read_log(write(as_file(rows)))
    careful = read_log(write(as_file([*rows, "end of record"]), name="footer.csv"))
    wide = read_log(write(as_file(rows), encoding="utf-16", name="wide.csv"))
    for log in (fast, careful, wide):
        assert log.data["Torque"].tolist() == expected
        assert log.data.index[-1] == (ROWS - 1) / 1000
    assert fast.findings == ()
    assert [(f.code, f.line) for f in careful.findings] == [("footer", ROWS + 3)]


def test_trouble_deep_inside_is_found_with_its_line(write, rows):
    at = 70_001
    line = at + 3  # two lines above the rows, and lines count from 1
    cells = rows[at].split(",")

    def codes(row: str) -> list[tuple[str, int | None]]:
        return [(f.code, f.line) for f in read_log(write(as_file([*rows[:at], row, *rows[at + 1 :]]))).findings]

    assert codes(f"{cells[0]},oops,{cells[2]}") == [("cells-unreadable", line)]
    assert codes(f"{cells[0]},,{cells[2]}") == [("cells-missing", line)]
    assert codes(f"{cells[0]},{cells[1]},") == [("cells-missing", line)]
    assert codes(f"{cells[0]},inf,{cells[2]}") == [("cells-unreadable", line)]
    assert codes(f"{cells[0]},{cells[1]}") == [("rows-dropped", line), ("time-gaps", line + 1)]
    assert codes(f"{cells[0]},{cells[1]},{cells[2]},9") == [("rows-dropped", line), ("time-gaps", line + 1)]
    assert codes("") == [("blank-lines", line), ("time-gaps", line + 1)]
    assert codes(f"{rows[at - 1].split(',')[0]},1,1") == [("time-repeats", line), ("time-gaps", line + 1)][::-1]


def test_iso_stamps_by_the_parser_and_one_by_one_agree(write, rows):
    stamps = np.datetime_as_string(np.datetime64("2026-03-01T10:00:00.000") + np.arange(ROWS), unit="ms").tolist()
    text = "time,F [N]\n" + "".join(f"{stamp},{n}\n" for n, stamp in enumerate(stamps))
    plain = read_log(write(text))
    with_comma = read_log(write(text.replace(",", ";").replace(".", ","), name="comma.csv"))
    for log in (plain, with_comma):
        assert log.data.index.tolist() == [n / 1000 for n in range(ROWS)]
        assert log.time.start == "2026-03-01T10:00:00"
        assert log.findings == ()


def test_stray_bad_stamp_is_dropped_with_its_line(write, rows):
    stamps = np.datetime_as_string(np.datetime64("2026-03-01T10:00:00.000") + np.arange(ROWS), unit="ms").tolist()
    stamps[90_000] = "no clock"
    log = read_log(write("time,F [N]\n" + "".join(f"{stamp},{n}\n" for n, stamp in enumerate(stamps))))
    assert len(log.data) == ROWS - 1
    assert [(f.code, f.line) for f in log.findings] == [("rows-dropped", 90_002), ("time-gaps", 90_003)]
