"""A large file read piece by piece gives what it gives as a whole. Small sizes stand for large ones here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from toolbench.errors import RecordingError
from toolbench.logs import Log, describe, read_log
from toolbench.logs.doors import columnar
from toolbench.logs.doors import through as doors
from toolbench.logs.large import blocks, pieces
from toolbench.logs.large.pieces import count_lines, read_pieces
from toolbench.logs.large.thinning import Collected, in_groups
from toolbench.logs.source import open_source
from toolbench.logs.text.encoding import Encoding
from toolbench.records.settings import DialectOverrides, Logger, TimeColumn

ROWS = 4000


def numbers(rows: int = ROWS) -> list[tuple[float, float, float]]:
    random = np.random.default_rng(7)
    noise = random.normal(100.0, 10.0, size=(rows, 2)).round(4)
    return [(k / 1000, a, b) for k, (a, b) in enumerate(noise)]


def plain(rows: int = ROWS) -> list[str]:
    return ["t [s],Torque [N*m],Pressure [bar]", *(f"{t:.3f},{a:.4f},{b:.4f}" for t, a, b in numbers(rows))]


def stamps() -> list[str]:
    start = np.datetime64("2026-03-01T23:59:58.500")
    return [
        "time,Torque [N*m],Pressure [bar]",
        *(f"{start + np.timedelta64(k, 'ms')},{a:.4f},{b:.4f}" for k, (_, a, b) in enumerate(numbers())),
    ]


def with_gaps(lines: list[str]) -> list[str]:
    return [*lines[:1000], *lines[1010:2500], *lines[2501:]]


def spoilt(lines: list[str]) -> list[str]:
    """Cells missing and unreadable, lines that are no rows, blank lines, a footer, all over the file."""
    lines = list(lines)
    for at in (900, 2100, 3300):
        lines[at] = lines[at].rpartition(",")[0] + ","
        lines[at + 1] = lines[at + 1].rpartition(",")[0] + ",broken"
        lines[at + 2] = "# a remark"
        lines[at + 3] = ""
    return [*lines, "", "end of recording"]


FILES: dict[str, tuple[Callable[[], list[str]], str, str]] = {
    # name: lines, line end, encoding
    "plain": (plain, "\n", "utf-8"),
    "CR LF": (plain, "\r\n", "utf-8"),
    "CR": (plain, "\r", "utf-8"),
    "CR CR LF": (plain, "\r\r\n", "utf-8"),
    "a mark": (plain, "\n", "utf-8-sig"),
    "latin-1": (lambda: ["t [s];Druck [µbar];T [°C]", *(f"{t:.3f};{a:.4f};{b:.4f}" for t, a, b in numbers())], "\n", "latin-1"),
    "UTF-16": (plain, "\r\n", "utf-16"),
    "UTF-16 without a mark": (plain, "\n", "utf-16-be"),
    "decimal comma": (lambda: [line.replace(",", ";").replace(".", ",") for line in plain()], "\n", "utf-8"),
    "blanks": (lambda: [line.replace(" ", "").replace(",", "   ") for line in plain()], "\n", "utf-8"),
    "quoted": (lambda: [",".join(f'"{cell}"' for cell in line.split(",")) for line in plain()], "\n", "utf-8"),
    "preamble": (lambda: ["Logger 7", "Made: yesterday", "", *plain()], "\n", "utf-8"),
    "no names": (lambda: stamps()[1:], "\n", "utf-8"),
    "whole numbers": (lambda: ["t [ms],Torque [N*m]", *(f"{k},{k % 97}" for k in range(ROWS))], "\n", "utf-8"),
    "epoch in ns": (lambda: ["t [ns],Torque [N*m]", *(f"{1772000000123456789 + 1000003 * k},{k % 97}" for k in range(ROWS))], "\n", "utf-8"),
    "whole numbers that get decimals": (
        lambda: ["t [s],Torque [N*m]", *(f"{k},{k}" for k in range(2000)), *(f"{k},{k}.5" for k in range(2000, ROWS))], "\n", "utf-8"),
    "stamps": (stamps, "\n", "utf-8"),
    "gaps": (lambda: with_gaps(plain()), "\n", "utf-8"),
    "gaps in stamps": (lambda: with_gaps(stamps()), "\n", "utf-8"),
    "time stands still": (lambda: [*plain()[:1500], *plain()[1499:3000], *plain()[2990:]], "\n", "utf-8"),
    "spoilt": (lambda: spoilt(plain()), "\n", "utf-8"),
    "spoilt with CR LF": (lambda: spoilt(plain()), "\r\n", "utf-8"),
    "names again": (lambda: [*plain()[:2000], plain()[0], *plain()[2000:]], "\n", "utf-8"),
    "text beside": (lambda: [plain()[0] + ",Note", *(f"{line},{'ab'[k % 2]}" for k, line in enumerate(plain()[1:]))], "\n", "utf-8"),
    "a clock without a date, over midnight": (
        lambda: ["Time,Torque [N*m]", *(f"{t // 3600 % 24:02d}:{t // 60 % 60:02d}:{t % 60:02d},{t % 97}" for t in range(84_000, 88_000))], "\n", "utf-8"),
    "date and clock": (
        lambda: ["Date;Time;Torque [N*m]", *(f"{13 + t // 86400}.03.2026;{t // 3600 % 24:02d}:{t // 60 % 60:02d}:{t % 60:02d};{t % 97}" for t in range(84_000, 88_000))], "\n", "utf-8"),
    "no value": (
        lambda: ["t [ms],Torque [N*m]", *(f"{k},{-999.9 if k in (5, 1700, 3999) else k % 97 / 10}" for k in range(ROWS))], "\n", "utf-8"),
    "units glued on": (lambda: ["t [s],Torque", *(f"{t:.3f},{a:.4f} N*m" for t, a, _ in numbers())], "\n", "utf-8"),
    "cut last row": (lambda: [*plain()[:-1], plain()[-1][:-3]], "\n", "utf-8"),
}  # fmt: skip


def write(path: Path, name: str) -> Path:
    lines, end, encoding = FILES[name]
    text = end.join(lines()) + ("" if name == "cut last row" else end)
    path.write_bytes(text.encode(encoding))
    return path


def in_pieces(monkeypatch: pytest.MonkeyPatch, size: int, large: int = 1000) -> None:
    monkeypatch.setattr(pieces, "PIECE_BYTES", size)
    monkeypatch.setattr(blocks, "LARGE_BYTES", large)


def same(one: Log, other: Log) -> None:
    pd.testing.assert_frame_equal(one.data.reset_index(drop=True), other.data.reset_index(drop=True), check_exact=True)
    # Stamps are counted from the row before a piece: one addition more, and its rounding.
    np.testing.assert_allclose(
        one.data.index, other.data.index, rtol=1e-14, atol=0 if "t [" in str(other.time.source) else 1e-12
    )
    assert list(one.data.dtypes) == list(other.data.dtypes)
    assert (one.units, one.names, one.dialect, one.digest) == (other.units, other.names, other.dialect, other.digest)
    # The median step is that of the first piece where the steps differ; they do by rounding alone.
    assert one.time.median_interval_s == pytest.approx(other.time.median_interval_s, rel=1e-9)
    assert replace(one.time, median_interval_s=0.0, rate_hz=0.0, gaps=()) == replace(
        other.time, median_interval_s=0.0, rate_hz=0.0, gaps=()
    )
    assert [line for line, _ in one.time.gaps] == [line for line, _ in other.time.gaps]
    assert [length for _, length in one.time.gaps] == pytest.approx([length for _, length in other.time.gaps])
    assert set(one.findings) == set(other.findings)


@pytest.mark.parametrize("size", [3000, 20_011, 70_000])
@pytest.mark.parametrize("name", FILES)
def test_pieces_give_what_the_whole_gives(
    tmp_path: Path, name: str, size: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path / "a.csv", name)
    whole = read_log(path)
    in_pieces(monkeypatch, size)
    same(read_log(path), whole)


@pytest.mark.parametrize("name", ["plain", "CR LF", "CR", "UTF-16", "spoilt"])
def test_lines_left_out_are_counted_in_the_file(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "a.csv", name)
    logger = Logger(id="rig", time=TimeColumn(), dialect=DialectOverrides(skip_lines=(2, 1500, 3000)))
    whole = read_log(path, logger=logger)
    in_pieces(monkeypatch, 20_000)
    same(read_log(path, logger=logger), whole)


def test_a_rate_goes_on_from_piece_to_piece(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Torque [N*m],p [bar]\n" + "".join(f"{a},{b}\n" for _, a, b in numbers()), encoding="utf-8")
    logger = Logger(id="rig", time=TimeColumn(rate_hz=1000.0))
    whole = read_log(path, logger=logger)
    in_pieces(monkeypatch, 10_000)
    same(read_log(path, logger=logger), whole)


def test_only_the_columns_wanted_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "a.csv", "spoilt")
    whole = read_log(path, columns=["Pressure"])
    in_pieces(monkeypatch, 20_000)
    same(read_log(path, columns=["Pressure"]), whole)


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r", b"\r\r\n"])
@pytest.mark.parametrize("size", [7, 50, 333])
def test_pieces_are_the_file(tmp_path: Path, end: bytes, size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pieces, "PIECE_BYTES", size)
    lines = [b"%d,%d" % (k, k * k) if k % 5 else b"" for k in range(200)]
    path = tmp_path / "a.csv"
    path.write_bytes(end.join(lines))
    got = [piece for piece, _ in read_pieces(open_source(path), Encoding("utf-8"))]
    assert b"".join(piece.data for piece in got) == path.read_bytes()
    assert [piece.is_last for piece in got] == [False] * (len(got) - 1) + [True]
    for piece in got:
        assert lines[piece.first_line - 1 :][0] == piece.data.partition(end[:1])[0]
    assert count_lines(path.read_bytes()) == 199


# ---- averaged in groups


def test_groups_by_hand() -> None:
    values = np.array([1.0, 2.0, 6.0, np.nan, 4.0, 8.0, np.nan, np.nan, np.nan])
    mean, low, high = in_groups(values, 3)
    np.testing.assert_array_equal(mean, [3.0, 6.0, np.nan])
    np.testing.assert_array_equal(low, [1.0, 4.0, np.nan])
    np.testing.assert_array_equal(high, [6.0, 8.0, np.nan])


@pytest.mark.parametrize("cuts", [(), (1, 2, 3), (500,), (7, 311, 900)])
def test_groups_do_not_depend_on_how_the_rows_came(cuts: tuple[int, ...]) -> None:
    values = np.random.default_rng(1).normal(size=1003)
    collected = Collected(every=7)
    for part in np.split(values, cuts):
        collected.add({-1: np.arange(len(part), dtype=float), 0: part})
    found, low, high = collected.finish()
    # By hand: 143 whole groups and one of the two rows left over.
    expected = [*values[:1001].reshape(143, 7).mean(axis=1), values[1001:].mean()]
    np.testing.assert_allclose(found[0], expected, rtol=1e-13)
    assert (low[0].min(), high[0].max()) == (values.min(), values.max())


def test_a_budget_is_kept_and_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "a.csv", "plain")
    whole = read_log(path)
    in_pieces(monkeypatch, 20_000)
    log = read_log(path, budget=20_000)
    assert log.thinned is not None
    held = [log.data, log.thinned.low, log.thinned.high]
    assert 10_000 < sum(frame.to_numpy().nbytes for frame in held) + log.data.index.to_numpy().nbytes <= 21_000
    assert log.thinned.rows == ROWS
    assert len(log.data) == -(-ROWS // log.thinned.every)
    for column in whole.data:
        assert log.thinned.low[column].min() == whole.data[column].min()
        assert log.thinned.high[column].max() == whole.data[column].max()
        assert log.data[column].mean() == pytest.approx(whole.data[column].mean(), rel=1e-3)
    assert log.time == whole.time  # of the rows, not of the groups
    assert np.all(np.diff(log.data.index) > 0)


def test_what_inspect_tells_of_averages_is_told_of_the_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "a.csv", "spoilt")
    whole = describe(read_log(path))
    in_pieces(monkeypatch, 20_000)
    log = read_log(path, budget=20_000)
    assert log.thinned is not None
    told = describe(log)
    for fact in ("rows", "duration_s", "columns", "dialect", "digest"):
        assert told[fact] == whole[fact], fact
    (more,) = [finding for finding in told["findings"] if finding not in whole["findings"]]
    assert more["code"] == "rows-averaged"


def test_a_budget_that_holds_everything_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "a.csv", "plain")
    whole = read_log(path)
    in_pieces(monkeypatch, 20_000)
    log = read_log(path, budget=200_000)
    assert log.thinned is None
    same(log, whole)


def test_a_small_file_is_never_averaged(tmp_path: Path) -> None:
    path = write(tmp_path / "a.csv", "plain")
    assert read_log(path, budget=1).thinned is None


# ---- refused


def test_a_table_beyond_bounds_is_refused_with_a_way_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "a.csv", "plain")
    in_pieces(monkeypatch, 20_000)
    monkeypatch.setattr(blocks, "TABLE_BYTES", 80_000)
    with pytest.raises(RecordingError, match="million rows of 2 columns") as caught:
        read_log(path)
    assert "columns=[...]" in str(caught.value)
    assert len(read_log(path, columns=["Torque"]).data) == ROWS  # by hand: 64,000 bytes


@pytest.mark.parametrize("change", [lambda data: data + b"9.999,1,1\n", lambda data: data[:-2000]])
def test_a_file_that_changes_while_it_is_read_is_refused(
    tmp_path: Path, change: Callable[[bytes], bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path / "a.csv", "plain")
    in_pieces(monkeypatch, 20_000)
    read = pieces._read

    def changing(*arguments: object) -> bytes:
        if path.stat().st_size == size:
            path.write_bytes(change(path.read_bytes()))
        return read(*arguments)  # type: ignore[arg-type]

    size = path.stat().st_size
    monkeypatch.setattr(pieces, "_read", changing)
    with pytest.raises(RecordingError, match="while it was read"):
        read_log(path)


def test_a_number_that_means_no_value_in_one_place_and_may_be_one_in_another_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Constructed: 9999 stands far outside the first two thousand rows, and amid the others."""
    rows = [f"{k},{9999 if k in (700, 3000) else (k % 97 if k < 2000 else 9000 + k % 2000)}" for k in range(ROWS)]
    path = tmp_path / "a.csv"
    path.write_text("t [ms],Torque [N*m]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    assert read_log(path).data["Torque"].max() > 9999  # as a whole it is one of the numbers
    in_pieces(monkeypatch, 10_000)
    with pytest.raises(RecordingError, match="can be one among others") as caught:
        read_log(path)
    assert caught.value.faults[0].line == 702  # by hand: row 700 counted from 0, behind the names
    logger = Logger(id="rig", time=TimeColumn(), dialect=DialectOverrides(missing=()))
    assert read_log(path, logger=logger).data["Torque"].iloc[700] == 9999


@pytest.mark.parametrize("at", range(1990, 2010))
def test_a_second_table_is_refused_wherever_it_begins(tmp_path: Path, at: int, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [*plain()[:at], "", "t [s],Speed [rpm],Flow [L/s]", *plain()[1:at]]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    in_pieces(monkeypatch, 20_000)
    with pytest.raises(RecordingError, match="second table") as caught:
        read_log(path)
    assert caught.value.faults[0].line == at + 2


def test_lost_decimal_points_are_found_in_any_piece(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = plain()
    for at in range(3000, 3040, 4):
        time, _, rest = lines[at].partition(",")
        lines[at] = f"{time},{rest.partition(',')[0].replace('.', '')},{rest.partition(',')[2]}"
    path = tmp_path / "a.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(RecordingError, match="no decimal mark"):
        read_log(path)
    in_pieces(monkeypatch, 20_000)
    with pytest.raises(RecordingError, match="no decimal mark") as caught:
        read_log(path)
    assert caught.value.faults[0].line == 3001  # by hand: counted from 1


def test_spreading_is_refused_in_a_large_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path / "a.csv", "stamps")
    in_pieces(monkeypatch, 20_000)
    with pytest.raises(RecordingError, match="equal stamps are spread in files of up to"):
        read_log(path, logger=Logger(id="rig", time=TimeColumn(column="time", spread=True)))


def test_a_line_without_end_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes("\n".join(plain(200)).encode() + b"\n" + b"1," * 40_000)
    in_pieces(monkeypatch, 4000)
    with pytest.raises(RecordingError, match="no row"):
        read_log(path)


# ---- other doors, which are held whole


def parquet(folder: Path) -> Path:
    pd.DataFrame({"t [s]": np.arange(1000) / 100, "Torque [N*m]": np.zeros(1000)}).to_parquet(folder / "a.parquet")
    return folder / "a.parquet"


def test_a_large_file_that_is_no_text_is_refused_with_a_way_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = parquet(tmp_path)
    assert len(read_log(path).data) == 1000
    monkeypatch.setattr(doors, "WHOLE_BYTES", 1000)
    with pytest.raises(RecordingError, match="are read at once") as caught:
        read_log(path)
    assert "as CSV" in str(caught.value)


def test_a_small_file_that_holds_a_large_table_is_refused_before_it_is_unpacked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = parquet(tmp_path)
    monkeypatch.setattr(columnar, "TABLE_BYTES", 15_999)  # by hand: 1000 rows of 2 columns of 8 bytes, less one
    with pytest.raises(RecordingError, match="1000 rows of 2 columns"):
        read_log(path)


@pytest.mark.parametrize("kind", ["file", "stream"])
def test_an_arrow_file_too_large_for_a_table_is_refused_before_it_is_unpacked(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ipc = pytest.importorskip("pyarrow.ipc")
    pa = pytest.importorskip("pyarrow")
    table = pa.table({"t [s]": np.arange(1000) / 1000, "Torque [N*m]": np.zeros(1000)})
    path = tmp_path / "run.arrow"
    with (ipc.new_file if kind == "file" else ipc.new_stream)(path, table.schema) as writer:
        writer.write_table(table, max_chunksize=100)
    monkeypatch.setattr(columnar, "TABLE_BYTES", 16_000)  # by hand: 1000 rows of 2 columns of 8 bytes
    assert len(read_log(path).data) == 1000
    monkeypatch.setattr(columnar, "TABLE_BYTES", 15_999)
    with pytest.raises(RecordingError, match="1000 rows of 2 columns"):
        read_log(path)
