"""Columns of any type as the three that a recording has: numbers (float64, int64), text, stamps. No value is altered."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from toolbench.logs.cells import NUMBER, common_unit, is_missing, is_stamp, to_float
from toolbench.logs.names import Kind
from toolbench.quantities.units import is_unit

SAMPLE = 60
_EXACT = 2**53
_NULLABLE: tuple[type, ...] = (
    *(pd.Int8Dtype, pd.Int16Dtype, pd.Int32Dtype, pd.Int64Dtype),
    *(pd.UInt8Dtype, pd.UInt16Dtype, pd.UInt32Dtype, pd.UInt64Dtype),
    *(pd.Float32Dtype, pd.Float64Dtype, pd.BooleanDtype),
)


class UnfitError(ValueError):
    """A column cannot be kept without altering it; the message says what it holds."""


@dataclass(frozen=True, slots=True)
class Plain:
    """A column of a recording: an array of float64 or int64, or a Series of text or of stamps, never the caller's own."""

    values: Any
    kind: Kind
    unit: str = ""
    """Unit that comes with the type or with every cell: of a duration, of numbers with their unit glued on."""
    unreadable: tuple[tuple[int, str], ...] = ()
    """(row from 0, cell) of every cell that holds something else than a number."""
    remark: str = ""
    duration: bool = False
    """Whether the type itself gives the unit, so that no name and no key can say another."""

    @property
    def sample(self) -> tuple[str, ...]:
        """The first cells as text."""
        return tuple(_text(cell) for cell in self.values[:SAMPLE])


def plain(values: Any, *, mark: str = ".", missing: Sequence[str] = ()) -> Plain:
    """The column as numbers, text or stamps.

    Parameters
    ----------
    values : array or Series, shape (rows,)
        Of any type: numbers, nullable or Arrow's, decimals, categories, objects, booleans, stamps, durations.
    mark : str
        Decimal mark of numbers that are written as text.
    missing : sequence of str
        More spellings of "no value" in cells of text.

    Raises
    ------
    UnfitError
        The values have no place in a column of numbers, text or stamps, or would lose digits there.
    """
    series = pd.Series(values).reset_index(drop=True)
    dtype: Any = series.dtype
    if missing and dtype.kind == "O":  # text, objects and categories; numbers are looked at later, as in text
        series = series.mask(series.isin(list(missing)))
    if isinstance(dtype, pd.ArrowDtype):
        from toolbench.logs.doors.columnar import to_series

        array: Any = series.array
        return plain(to_series(array.__arrow_array__()), mark=mark)
    if isinstance(dtype, pd.CategoricalDtype):
        return _of_categories(series, mark)
    if isinstance(dtype, pd.StringDtype) or (dtype.kind == "O" and isinstance(dtype, np.dtype)):
        return _of_objects(series, mark)
    if isinstance(dtype, _NULLABLE):
        return _of_nullable(series)
    if not isinstance(dtype, (np.dtype, pd.DatetimeTZDtype)):
        raise UnfitError(f"values of the type {dtype}")
    match dtype.kind:
        case "f":
            return _of_floats(series.to_numpy())
        case "i" | "u":
            return Plain(_whole(series.to_numpy()), "number")
        case "b":
            return Plain(series.to_numpy().astype(np.int64), "number", remark="true and false stand as 1 and 0")
        case "M":
            return Plain(series.copy(), "stamp" if series.notna().any() else "empty")
        case "m":
            return _of_durations(series)
    raise UnfitError(f"values of the type {dtype}")


def _of_floats(array: Any) -> Plain:
    values = array.astype(np.float64)
    if array.dtype.itemsize > 8 and not np.array_equal(values.astype(array.dtype), array, equal_nan=True):
        raise UnfitError(f"numbers of the type {array.dtype} with more digits than a double holds")
    infinite = np.flatnonzero(np.isinf(values))
    bad = tuple((int(row), str(values[row])) for row in infinite)
    values[infinite] = np.nan
    return Plain(values, "empty" if np.isnan(values).all() and not bad else "number", unreadable=bad)


def _whole(array: Any) -> Any:
    if (
        array.dtype.kind == "u"
        and array.dtype.itemsize == 8
        and len(array)
        and int(array.max()) > np.iinfo(np.int64).max
    ):
        raise UnfitError(f"whole numbers up to {array.max()}, beyond 64 bits with a sign")
    return array.astype(np.int64)


def _of_nullable(series: Any) -> Plain:
    gaps = series.isna().to_numpy()
    if series.dtype.kind == "f":
        return _of_floats(series.to_numpy(dtype=np.float64, na_value=np.nan))
    remark = "true and false stand as 1 and 0" if series.dtype.kind == "b" else ""
    kind = np.uint64 if series.dtype.kind == "u" else np.int64
    whole = _whole(series.to_numpy(dtype=kind, na_value=0))
    return Plain(_with_gaps(whole, gaps), "empty" if gaps.all() and len(gaps) else "number", remark=remark)


def _with_gaps(whole: Any, gaps: Any) -> Any:
    """Whole numbers, as float64 where some are missing and none would lose a digit."""
    if not gaps.any():
        return whole
    if np.abs(whole[~gaps]).max(initial=0) > _EXACT:
        raise UnfitError("whole numbers beyond 2^53 beside missing ones, which cannot both be kept exactly")
    values = whole.astype(np.float64)
    values[gaps] = np.nan
    return values


def _of_durations(series: Any) -> Plain:
    """Durations as whole numbers of the unit they are counted in, so that none loses a digit."""
    unit = np.datetime_data(series.dtype)[0]
    gaps = series.isna().to_numpy()
    counts = series.to_numpy().astype(np.int64)
    return Plain(_with_gaps(np.where(gaps, 0, counts), gaps), "number", unit=str(unit), duration=True)


def _of_categories(series: Any, mark: str) -> Plain:
    words = plain(pd.Series(series.cat.categories), mark=mark)
    codes = series.cat.codes.to_numpy()
    if words.kind == "number" and len(words.values):
        gaps = codes < 0
        values = words.values[np.where(gaps, 0, codes)]
        if values.dtype.kind == "i":
            return Plain(_with_gaps(values, gaps), "number", words.unit)
        bad = dict(words.unreadable)
        values[gaps] = np.nan
        return Plain(values, "number", words.unit, tuple((r, bad[c]) for r, c in enumerate(codes) if c in bad))
    return _of_objects(series.astype("object"), mark)


def _of_objects(series: Any, mark: str) -> Plain:
    """Cells of any kind: a column of numbers where most of them are, stamps where all of them are, else text."""
    cells = [_decoded(cell) if isinstance(cell, bytes) else cell for cell in series]
    values: list[Any] = [_number(cell, mark) for cell in cells]
    filled = [cell for cell in cells if not _is_gap(cell)]
    words = [(row, cells[row]) for row, value in enumerate(values) if value is None]
    if not filled:
        return Plain(np.full(len(cells), np.nan), "empty")
    if len(words) * 2 < len(filled) and not any(isinstance(cell, (dt.date, dt.time)) for _, cell in words):
        bad = tuple((row, _text(cell)) for row, cell in words)
        return Plain(_packed([math.nan if value is None else value for value in values]), "number", unreadable=bad)
    text = [_text(cell) for cell in cells]
    if any(not cell.isascii() and cell != cell.encode(errors="ignore").decode() for cell in text):
        raise UnfitError("text with lone surrogates, which no encoding has")
    glued = common_unit(text[:SAMPLE], mark)
    if glued and is_unit(glued):
        return _of_glued(text, glued, mark)
    stamps = all(is_stamp(cell) for cell in text[:SAMPLE] if not is_missing(cell))
    remark = _comma_remark(text, mark)
    return Plain(pd.Series(text, dtype="str"), "stamp" if stamps else "text", remark=remark)


def _of_glued(text: list[str], unit: str, mark: str) -> Plain:
    values = [to_float(cell.strip().removesuffix(unit), mark) for cell in text]
    bad = tuple((row, text[row]) for row, value in enumerate(values) if value is None)
    return Plain(np.array([math.nan if v is None else v for v in values]), "number", unit=unit, unreadable=bad)


def _comma_remark(text: list[str], mark: str) -> str:
    head = [cell for cell in text[:SAMPLE] if not is_missing(cell)]
    if mark == "," or not head or not all(NUMBER[","].match(cell.strip()) for cell in head):
        return ""
    return f'its cells are text with a decimal comma ({head[0]!r}); they are numbers once `decimal = ","` is stated'


def _packed(values: list[Any]) -> Any:
    """Whole numbers stay whole; otherwise the nearest double of each."""
    whole = [value for value in values if isinstance(value, int)]
    if len(whole) == len(values):
        if all(-(2**63) <= value < 2**63 for value in values):
            return np.array(values, dtype=np.int64)
        raise UnfitError("whole numbers beyond 64 bits with a sign")
    if any(abs(value) > _EXACT for value in whole):
        raise UnfitError("whole numbers beyond 2^53 beside others, which cannot both be kept exactly")
    return np.array([float(value) for value in values], dtype=np.float64)


def _number(cell: Any, mark: str) -> Any:
    """The number in a cell, nan where it is missing, None where it is no number. A decimal becomes the nearest double."""
    if isinstance(cell, str):
        text = cell.strip()
        if text.lstrip("+-").isdecimal() and text.isascii():
            return int(text) if len(text) < 20 else float(text)
        return to_float(text, mark)
    if _is_gap(cell):
        return math.nan
    if isinstance(cell, (bool, np.bool_, int, np.integer)):
        return int(cell)
    if isinstance(cell, (float, np.floating, Decimal)):
        value = float(cell)
        return value if math.isfinite(value) else None
    if isinstance(cell, (dt.date, dt.time)):
        return None
    raise UnfitError(f"cells of the type {type(cell).__name__}")


def _is_gap(cell: Any) -> bool:
    if cell is None or cell is pd.NA or cell is pd.NaT:
        return True
    if isinstance(cell, str):
        return is_missing(cell)
    return isinstance(cell, (float, np.floating, Decimal)) and math.isnan(cell)


def _text(cell: Any) -> str:
    if isinstance(cell, str):
        return cell.strip()
    if _is_gap(cell):
        return ""
    if isinstance(cell, (dt.date, dt.time)):
        return cell.isoformat()
    return repr(float(cell)) if isinstance(cell, (float, np.floating)) else str(cell)


def _decoded(cell: Any) -> str:
    raw = bytes(cell).rstrip(b"\0")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")
