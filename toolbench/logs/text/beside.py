"""What stands beside the rows: settings in the columns next to the first samples, runs side by side, rows that run across."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from toolbench.logs.cells import cell_code, split_line
from toolbench.logs.clocks.timenames import is_time_name
from toolbench.logs.names import Column, is_time_unit, split_unit
from toolbench.logs.source import refusal
from toolbench.logs.text.one_row import Row

_MOST_SETTINGS = 60
_ACROSS = 100  # cells in a line, from which on a file of a few lines is looked at as one whose rows run across


def settings_beside(rows: Sequence[Row], width: int) -> range:
    """Columns that hold settings beside the first samples: filled in the first rows only, with a word for each.

    They are the first columns or the last ones; an empty range where there are none.
    """
    filled = [
        [number for number, row in enumerate(rows) if index < len(row.cells) and row.cells[index]]
        for index in range(width)
    ]
    brief = [_is_brief(places, len(rows)) for places in filled]
    for columns in (_leading(brief), range(width - len(_leading(brief[::-1])), width)):
        used = [index for index in columns if filled[index]]
        if not len(used) >= 2 or len(columns) >= width:
            continue
        keys = [rows[number].cells[used[0]] for number in filled[used[0]]]
        rest = [index for index in range(width) if index not in columns]
        samples = any(rows[-1].kinds[index] == "number" for index in rest if index < len(rows[-1].kinds))
        words = sum(cell_code(key) == "t" for key in keys)
        if len(keys) > 1 and len(set(keys)) == len(keys) and 2 * words > len(keys) and samples:
            return columns
    return range(0)


def _is_brief(places: Sequence[int], rows: int) -> bool:
    """Whether a column is filled at the beginning only, or never."""
    return not places or (places[-1] < min(_MOST_SETTINGS, rows // 2) and places[-1] < 2 * len(places))


def _leading(brief: Sequence[bool]) -> range:
    return range(next((index for index, yes in enumerate(brief) if not yes), len(brief)))


def facts_beside(lines: Sequence[str], rows: Sequence[Row], columns: range, delimiter: str) -> tuple[str, ...]:
    """The settings beside the samples as lines of a preamble, "key<delimiter>value"."""
    facts = []
    for line in lines[rows[0].line - 1 : rows[0].line - 1 + 2 * _MOST_SETTINGS]:
        cells = split_line(line, delimiter)
        filled = [cells[index] for index in columns if index < len(cells) and cells[index]]
        if filled:
            facts.append(delimiter.join(filled))
    return tuple(facts)


def refuse_rows_across(rows: Sequence[Row], lines: Sequence[str], has_names: bool, file: str) -> None:
    """Refuse a file of a few lines with many cells each, a name in front of them: its rows are columns."""
    filled = sum(bool(line.strip(" \0")) for line in lines)
    width = min(len(row.cells) for row in rows)
    named = {row.cells[0] for row in rows if row.kinds[0] == "text" and "text" not in row.kinds[1:]}
    headed = len(named) == len(rows) and width > 2 * len(rows) and width > 10 and filled <= 2 * len(rows) + 20
    if not has_names and (headed or (width >= _ACROSS and filled * 10 <= width and 2 * len(rows) >= filled)):
        raise refusal(
            file,
            f"holds {len(rows)} rows of {width} cells: its samples seem to run across, one channel in each line (transposed)",
            line=rows[0].line,
            mend="export it with one sample in each line, or turn rows into columns in a copy of the file",
        )


def refuse_side_by_side(columns: Sequence[Column], file: str) -> None:
    """Refuse runs that stand beside each other, each with a clock of its own.

    The names repeat in blocks that begin with a time; which block is the recording cannot be told. The clocks may well show
    the same times: every run begins at zero.
    """
    names = [_stem(column) for column in columns if column.written]
    placed = [column for column in columns if column.written]
    starts = [index for index, name in enumerate(names) if name == names[0]]
    if len(starts) < 2 or not _is_clock(placed[0]):
        return
    size = starts[1]
    if size < 2 or len(names) != size * len(starts) or any(names[at : at + size] != names[:size] for at in starts):
        return
    clocks = [placed[at] for at in starts]
    shown = ", ".join(f"{clock.name!r} (column {clock.index + 1})" for clock in clocks[:4])
    raise refusal(
        file,
        f"holds {len(clocks)} runs side by side, each with a time of its own: {shown}",
        key="time",
        mend="export one run per file, or state the `time` column of the one that is meant and name its channels",
    )


def refuse_unequal_ends(clocks: Sequence[tuple[Column, int]], file: str) -> None:
    """Refuse when columns of time with like names end in different rows: (column, rows with a value) each."""
    ends = {rows for _, rows in clocks}
    if len(clocks) > 1 and len(ends) > 1:
        shown = ", ".join(f"{column.name!r} ends after {rows} rows" for column, rows in clocks[:4])
        raise refusal(
            file,
            f"holds {len(clocks)} runs of different length side by side: {shown}",
            key="time",
            mend="export one run per file, or state the `time` column of the one that is meant and name its channels",
        )


def like_clocks(columns: Sequence[Column]) -> list[Column]:
    """Columns of time that go by one name, as in runs beside each other."""
    clocks = [column for column in columns if column.written and _is_clock(column) and column.kind != "empty"]
    stems = [_stem(column) for column in clocks]
    often = Counter(stems)
    return [column for column, stem in zip(clocks, stems, strict=True) if often[stem] > 1]


def _is_clock(column: Column) -> bool:
    return is_time_unit(column.unit) or (is_time_name(column.name) and not column.unit)  # T [N*m] is no time


def _stem(column: Column) -> str:
    """A name without its unit and the number of the run."""
    name = split_unit(column.written)[0]
    # Only the end is searched: from every digit of a very long name the pattern would run to the last.
    return (name[:-24] + re.sub(r"[\s_.#-]*\(?\d+\)?$", "", name[-24:])).casefold() or column.written
