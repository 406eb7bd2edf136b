"""Any table written in any dialect is read back to its exact values, or not at all."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from toolbench.errors import ToolbenchError
from toolbench.logs import read_log
from toolbench.records.settings import DialectOverrides, Logger, TimeColumn

# Else -9999.0 among small numbers would be taken for "no value", with a finding.
EVERY_NUMBER_IS_A_VALUE = Logger(id="rig", time=TimeColumn(), dialect=DialectOverrides(missing=()))
NUMBERS = st.floats(allow_nan=False, allow_infinity=False, width=64)


@st.composite
def dialects(draw: st.DrawFn) -> tuple[str, str, str, str, str, str]:
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    decimal = draw(st.sampled_from([".", ","] if delimiter != "," else ["."]))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))
    ends = draw(st.sampled_from(["\n", "\r\n"]))
    above = draw(st.sampled_from(["", "Bench: two\n\n", "Room: 21 °C\nGain: 12\n"]))
    trailing = draw(st.sampled_from(["", delimiter]))
    return delimiter, decimal, encoding, ends, above, trailing


@settings(max_examples=150, deadline=None)
@given(values=st.lists(st.tuples(NUMBERS, NUMBERS), min_size=2, max_size=30), dialect=dialects())
def test_values_come_back_to_the_last_digit(values, dialect):
    delimiter, decimal, encoding, ends, above, trailing = dialect
    lines = [delimiter.join(["t [s]", "F [N]", "p [bar]"])]
    for row, pair in enumerate(values):
        # repr is the shortest text that reads back to the same double; "0.5" keeps thousands out of the question
        cells = [f"{row + 0.5!r}", *(repr(value) for value in pair)]
        lines.append(delimiter.join(cell.replace(".", decimal) for cell in cells) + trailing)
    text = above + "\n".join(lines) + "\n"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.csv"
        path.write_bytes(text.replace("\n", ends).encode(encoding))
        log = read_log(path, logger=EVERY_NUMBER_IS_A_VALUE)
    assert log.data.index.tolist() == [float(row) for row in range(len(values))]
    np.testing.assert_array_equal(log.data["F"].to_numpy(float), [pair[0] for pair in values])
    np.testing.assert_array_equal(log.data["p"].to_numpy(float), [pair[1] for pair in values])
    assert log.dialect.first_data_line == above.count("\n") + 2


GOOD = b"Room: 21 C\nt [s];Torque [N*m];p [bar]\n" + b"".join(
    f"{n / 100:.2f};{n * 1.25:.2f};{6.3 - n / 100:.3f}\n".encode() for n in range(40)
)


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_damaged_bytes_give_a_log_or_a_sentence(data):
    damaged = bytearray(GOOD)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(damaged) - 1))
        damaged[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=4))
        if not damaged:
            break
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "run.csv"
        path.write_bytes(bytes(damaged))
        try:
            log = read_log(path)
        except ToolbenchError as error:
            caught = error
        else:
            assert len(log.data.index) > 0
            assert log.data.index[0] == 0.0
            return
    assert str(path) in str(caught)
