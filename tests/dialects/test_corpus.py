"""Small files written by hand, each with a trait that real loggers show; `corpus/expected.json` says what must come of them.

Expected values are constructed: they stand in the files. All names and numbers are invented.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from toolbench.errors import RecordingError
from toolbench.logs import Log, read_log
from toolbench.records.settings import Logger, TimeColumn

CORPUS = Path(__file__).parent / "corpus"
EXPECTED: dict[str, dict[str, Any]] = json.loads((CORPUS / "expected.json").read_text(encoding="utf-8"))


def stated(keys: dict[str, str]) -> Logger:
    return Logger(id="rig", time=TimeColumn(**keys))  # type: ignore[arg-type]


def test_every_file_is_expected():
    assert {path.name for path in CORPUS.iterdir()} - {"expected.json"} == set(EXPECTED)
    assert all((CORPUS / name).stat().st_size <= 3000 for name in EXPECTED)


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_file(name):
    expected = EXPECTED[name]
    try:
        log = read_log(CORPUS / name)
    except RecordingError as error:
        right_refusal(error, expected, name)
        if "settled" in expected:
            right_values(read_log(CORPUS / name, logger=stated(expected["settled"])), expected)
        return
    assert "refusal" not in expected or expected.get("may_read"), f"read, though {expected['about']}"
    right_values(log, expected)
    right_findings(log, expected)
    if "stated" in expected:
        right_seconds(read_log(CORPUS / name, logger=stated(expected["stated"])), expected["stated_seconds"])


def right_refusal(error: RecordingError, expected: dict[str, Any], name: str) -> None:
    assert "refusal" in expected, f"{expected['about']}: {error}"
    refusal = expected["refusal"]
    assert error.faults[0].file == str(CORPUS / name)
    assert refusal["key"] in ("", error.faults[0].key)
    assert re.search(refusal["words"], str(error), re.IGNORECASE), str(error)


def right_values(log: Log, expected: dict[str, Any]) -> None:
    assert len(log.data) == expected["rows"]
    if "seconds" in expected:
        right_seconds(log, expected["seconds"])
    for name, column in expected["columns"].items():
        values = log.data[name]
        assert values.iloc[0] == float(column["first"]), name
        assert values.iloc[-1] == float(column["last"]), name
        assert values.isna().to_numpy().nonzero()[0].tolist() == column.get("missing", []), name
        if "unit" in column:
            assert log.units[name] == column["unit"], name
    for name, unit in expected.get("units", {}).items():
        [found] = [column for column in log.data.columns if column.startswith(name)]
        assert log.units[found] == unit
    if "header_line" in expected:
        assert log.dialect.header_line == expected["header_line"]
    for words in expected.get("preamble", []):
        assert words in "\n".join(log.dialect.preamble)


def right_seconds(log: Log, seconds: dict[str, str]) -> None:
    # A few roundings of the arithmetic on the printed numbers; the digits themselves are checked on the values.
    assert log.data.index[0] == 0.0
    assert log.data.index[1] == pytest.approx(float(seconds["second"]), rel=1e-12, abs=1e-15)
    assert log.data.index[-1] == pytest.approx(float(seconds["last"]), rel=1e-12, abs=1e-15)


def right_findings(log: Log, expected: dict[str, Any]) -> None:
    for words, line in expected.get("findings", []):
        fitting = [f for f in log.findings if re.search(words, f"{f.code} {f.message} {f.mend}", re.IGNORECASE)]
        assert fitting, f"no finding of {words!r} among {[(f.code, f.line) for f in log.findings]}"
        assert line is None or any(f.line == line for f in fitting), [(f.code, f.line) for f in fitting]
    due = "|".join(words for words, _ in expected.get("findings", []))
    for finding in log.findings:
        said = f"{finding.code} {finding.message} {finding.mend}"
        assert finding.severity == "note" or (due and re.search(due, said, re.IGNORECASE)), f"not due: {said}"
    assert not pd.isna(log.data.index).any()
