"""What a reader of a file that is no text hands over: columns with their units, before the time base is found.

A reader of somebody else's files is a function in the entry point group ``toolbench.readers``, under the suffix of those
files without the dot. In the pyproject.toml of its package::

    [project.entry-points."toolbench.readers"]
    rec = "my_package.reading:read_rec"

It takes the path and gives a `Recorded`; where it finds that the file is none of its own it gives None, and the file is
read as text. Formats that toolbench knows by itself are never asked of a plug-in::

    def read_rec(path: Path) -> Recorded | None:
        torque, pressure = decode(path)                        # arrays of one length
        return Recorded(
            container="Rec 2",
            columns=(
                RecordedColumn(name="Torque", values=torque, unit="N*m"),
                RecordedColumn(name="Inlet pressure", values=pressure, unit="bar"),
            ),
            rate_hz=1000.0,
        )
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RecordedColumn:
    """One column of a recording.

    Attributes
    ----------
    name : str
        As in the file; a unit in the last bracket is found there.
    values : array or Series, shape (rows,)
        Numbers in `unit`, or text, stamps or durations. They are copied, never changed.
    unit : str
        Where the file states it apart from the name, else "".
    """

    name: str
    values: Any
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recorded:
    """One table of a recording: columns of one length.

    Attributes
    ----------
    container : str
        What the file is, for people: "Parquet", "TDMS".
    columns : tuple of RecordedColumn
        In file order; a column of time is one of them.
    rate_hz : float, optional
        Rows per second [Hz], where the file states the time as a rate and no column holds it.
    start : str
        When the first row was recorded, ISO 8601, or "".
    clock : int, optional
        Position of the column that the file itself calls its time.
    metadata : tuple of str
        What else the file says, one ``"key: value"`` each.
    remarks : tuple of str
        Sentences about what was found on the way, each told as a note.
    doubts : tuple of str
        The same for what makes the file doubtful: it ends early, or a part of it could not be read.
    """

    container: str
    columns: tuple[RecordedColumn, ...]
    rate_hz: float | None = None
    start: str = ""
    clock: int | None = None
    metadata: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """One table of a file that may hold several, not read yet."""

    label: str
    names: tuple[str, ...]
    load: Callable[[], Recorded]
