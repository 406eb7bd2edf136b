"""Parquet, Feather and Arrow IPC: a table with types, units in the fields' metadata, and pandas' own note of its index."""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from typing import Any

import pandas as pd

from toolbench.errors import RecordingError
from toolbench.logs.doors.recorded import Part, Recorded, RecordedColumn
from toolbench.logs.source import refusal
from toolbench.quantities.units import is_unit

UNIT_KEYS = ("unit", "units", "unit_string")
_UNNAMED = "__index_level_"
_QUIET = ("pandas", "ARROW:schema")


TABLE_BYTES = 4_000_000_000
"""A table that needs more memory than this is refused."""
TEXT_BYTES = 250_000_000
"""The same for columns of text, which take several times their length while they are read."""


def parquet_parts(path: Path) -> tuple[Part, ...]:
    """The one table of a Parquet file. Raises RecordingError where it cannot be opened."""
    file = str(path)
    pq = _arrow("pyarrow.parquet", file)
    try:
        said = pq.read_metadata(path)
        schema = said.schema.to_arrow_schema()
    except Exception as error:  # noqa: BLE001  (pyarrow's errors share no base but Exception)
        raise unreadable(file, "Parquet", error) from None
    _refuse_cells(file, said.num_rows, said.num_columns)  # a file may be a thousandth of what it holds

    def load() -> Recorded:
        try:
            return _recorded("Parquet", _read_bounded(pq, path, said, schema))
        except RecordingError:
            raise
        except Exception as error:  # noqa: BLE001
            raise unreadable(file, "Parquet", error) from None

    return (Part(label="", names=tuple(schema.names), load=load),)


def _read_bounded(pq: Any, path: Path, said: Any, schema: Any) -> Any:
    """The table; columns of text come with each word once, so that their length is known before it is unfolded.

    A text that repeats takes next to nothing in the file: 3 kB may hold a gigabyte.
    """
    import pyarrow as pa

    texts = [field.name for field in schema if _is_text(field.type)]
    if not texts:
        return pq.ParquetFile(path).read()
    groups = [said.row_group(at) for at in range(said.num_row_groups)]
    stored = [chunk for group in groups for chunk in map(group.column, range(group.num_columns))]
    plain = sum(chunk.total_uncompressed_size for chunk in stored if chunk.physical_type == "BYTE_ARRAY")
    _refuse_text(str(path), plain)
    table = pq.ParquetFile(path, read_dictionary=texts).read()
    folded = {place: table.column(place) for place in range(table.num_columns) if table.schema.names[place] in texts}
    _refuse_text(str(path), sum(_unfolded(chunk) for column in folded.values() for chunk in column.chunks))
    for place, column in folded.items():
        if pa.types.is_dictionary(column.type):
            own = schema.field(place)
            table = table.set_column(place, own, column.cast(own.type))
    return table


def _is_text(kind: Any) -> bool:
    import pyarrow as pa

    return pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_binary(kind)  # type: ignore[no-any-return]


def _unfolded(chunk: Any) -> int:
    """Bytes that a column of text takes when every cell holds its own."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if not pa.types.is_dictionary(chunk.type):
        return int(chunk.nbytes)
    lengths = pc.binary_length(chunk.dictionary).take(chunk.indices)
    return int(pc.sum(pc.cast(lengths, pa.int64())).as_py() or 0)


def _refuse_text(file: str, size: int) -> None:
    if size > TEXT_BYTES:
        raise refusal(
            file,
            f"holds {size / 1e9:.2f} GB of text in its columns of words",
            mend="write the columns of numbers to a file of their own",
        )


def arrow_parts(path: Path) -> tuple[Part, ...]:
    """The one table of a Feather or Arrow IPC file, or of an Arrow stream. Raises RecordingError as above."""
    file = str(path)
    feather, ipc = _arrow("pyarrow.feather", file), _arrow("pyarrow.ipc", file)
    with path.open("rb") as stream:
        head = stream.read(6)
    try:
        if not head.startswith(b"FEA1"):
            _refuse_large(path, ipc, file, is_stream=head.startswith(b"\xff"))
        if head.startswith(b"\xff\xff\xff\xff"):
            with path.open("rb") as stream:
                table = ipc.open_stream(stream).read_all()
        else:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", DeprecationWarning)  # Feather 1, while pyarrow still reads it
                table = feather.read_table(path, memory_map=False)
        container = "Feather 1" if head.startswith(b"FEA1") else "Arrow IPC"
        found = _recorded(container, table)
    except RecordingError:
        raise
    except Exception as error:  # noqa: BLE001
        raise unreadable(file, "Arrow", error) from None
    return (Part(label="", names=tuple(table.column_names), load=lambda: found),)


def _refuse_large(path: Path, ipc: Any, file: str, *, is_stream: bool) -> None:
    """Count the rows by the first column, and text, batch by batch: compressed, a file may be a thousandth of what it holds."""
    with path.open("rb") as again:
        schema = (ipc.open_stream(again) if is_stream else ipc.open_file(again)).schema
    texts = [place for place, field in enumerate(schema) if _is_text(field.type)]
    columns, size = len(schema), 0
    options = ipc.IpcReadOptions(included_fields=sorted({0, *texts}) if columns else [0])
    with path.open("rb") as stream:
        opened = ipc.open_stream(stream, options=options) if is_stream else ipc.open_file(stream, options=options)
        batches = opened if is_stream else (opened.get_batch(at) for at in range(opened.num_record_batches))
        rows = 0
        for batch in batches:
            rows += batch.num_rows
            _refuse_cells(file, rows, columns)
            size += sum(column.nbytes for column in batch.columns if _is_text(column.type))
            _refuse_text(file, size)


def _refuse_cells(file: str, rows: int, columns: int) -> None:
    if 8 * rows * columns > TABLE_BYTES:
        raise refusal(
            file,
            f"holds at least {rows} rows of {columns} columns, a table of {8 * rows * columns / 1e9:.1f} GB",
            mend="write the columns that are needed to a file of their own",
        )


def unreadable(file: str, what: str, error: BaseException) -> Exception:
    """The refusal of a damaged file, with the first line of what its reader said."""
    said = (str(error).strip().splitlines() or [type(error).__name__])[0]
    return refusal(file, f"is {what} by its first bytes, but cannot be read: {said}", mend="export or copy it again")


def _arrow(module: str, file: str) -> Any:
    from importlib import import_module

    try:
        return import_module(module)
    except ImportError:
        raise refusal(
            file, "is a Parquet or Arrow file; reading it needs pyarrow", mend="pip install pyarrow"
        ) from None


def _recorded(container: str, table: Any) -> Recorded:
    """The table with its index first, where pandas noted one that is more than a count of rows."""
    noted = _noted(table.schema)
    stated = noted.get("index_columns")
    levels = [name for name in stated if isinstance(name, str)] if isinstance(stated, list) else []
    if len(levels) > 1:
        levels = []  # each level is a column like any other
    attributes = noted.get("attributes") or {}
    units = attributes.get("units") if isinstance(attributes, dict) else None
    fields = list(zip(table.schema, table.columns, strict=True))
    fields.sort(key=lambda pair: pair[0].name not in levels)
    columns = tuple(_column(field, values, units) for field, values in fields)
    clock = 0 if levels and is_clock(columns[0]) else None
    if (
        levels
        and clock is None
        and columns[0].name in ("", "index")
        and pd.Series(columns[0].values).dtype.kind in "iu"
    ):
        columns = columns[1:]  # whole numbers without a name: labels of rows, not a measurement
    return Recorded(container=container, columns=columns, clock=clock, metadata=_metadata(table.schema))


def is_clock(column: RecordedColumn) -> bool:
    """Whether an index is the time by its type: stamps, durations, or floats."""
    return bool(pd.Series(column.values).dtype.kind in "Mmf")


def _column(field: Any, values: Any, units: Any) -> RecordedColumn:
    name = "index" if field.name.startswith(_UNNAMED) else field.name
    unit = _unit(field)
    if not unit and isinstance(units, dict):
        unit = str(units.get(name) or "")
    series = to_series(values)
    if name == "index" and not unit and getattr(series.dtype, "kind", "") == "f":
        unit = "s"
    return RecordedColumn(name=name, values=series, unit=unit)


def _unit(field: Any) -> str:
    said = {key.decode("utf-8", "replace").lower(): value for key, value in (field.metadata or {}).items()}
    for key in UNIT_KEYS:
        if key in said:
            return _unquoted(said[key].decode("utf-8", "replace"))
    return ""


def _unquoted(text: str) -> str:
    """Some writers store every value as JSON."""
    try:
        value = json.loads(text)
    except ValueError:
        return text.strip()
    return value.strip() if isinstance(value, str) and not is_unit(text) else text.strip()


def _noted(schema: Any) -> dict[str, Any]:
    try:
        found = schema.pandas_metadata
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _metadata(schema: Any) -> tuple[str, ...]:
    pairs = ((k.decode("utf-8", "replace"), v.decode("utf-8", "replace")) for k, v in (schema.metadata or {}).items())
    return tuple(f"{key}: {value}" for key, value in pairs if key not in _QUIET and len(value) < 1000)


def to_series(values: Any) -> pd.Series[Any]:
    """An Arrow array as a Series; whole numbers with gaps keep every digit, decimals stay decimals."""
    import pyarrow as pa

    nullable = {
        pa.int8(): pd.Int8Dtype(), pa.int16(): pd.Int16Dtype(), pa.int32(): pd.Int32Dtype(), pa.int64(): pd.Int64Dtype(),
        pa.uint8(): pd.UInt8Dtype(), pa.uint16(): pd.UInt16Dtype(), pa.uint32(): pd.UInt32Dtype(),
        pa.uint64(): pd.UInt64Dtype(), pa.bool_(): pd.BooleanDtype(),
    }  # fmt: skip
    series: pd.Series[Any] = values.to_pandas(types_mapper=nullable.get if values.null_count else None)
    return series
