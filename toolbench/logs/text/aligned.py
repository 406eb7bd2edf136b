"""Names over the columns they belong to, where a line of names and a row differ in their number of cells."""

from __future__ import annotations

from dataclasses import replace

from toolbench.logs.source import refusal
from toolbench.logs.text.header import (
    decimal_commas_part_cells,
    first_is_certain,
    is_remark_name,
    one_name_for_two_stamps,
    two_names_for_one_stamp,
)
from toolbench.logs.text.shape import Layout
from toolbench.records.findings import Finding

_MEND = "state `header_line`, or mend the line of names in a copy of the file"


def aligned(layout: Layout, file: str) -> Layout:
    """The layout with names that certainly belong to their columns; refused where none is certain."""
    names = layout.names
    filled = len(names) - next((i for i, name in enumerate(reversed(names)) if name), len(names))
    if not names or (filled <= layout.width and len(names) >= layout.used):
        return layout  # an empty cell above a column is a column without a name
    samples, kinds = layout.samples[: layout.used], layout.kinds[: layout.used]
    message = f"names {filled} columns, but its rows (from line {layout.first_data_line}) hold {layout.used} cells"
    if layout.delimiter == "," and decimal_commas_part_cells(samples, filled):
        raise refusal(
            file,
            f"{message}: a comma seems to part the cells and the decimals of a number",
            line=layout.header_line,
            key="delimiter",
            mend="export it again with a decimal point, or with another delimiter",
        )
    if filled > layout.width:
        return _with_names_left_over(layout, filled, message, file)
    parted = one_name_for_two_stamps(names, samples)
    if parted:
        found = _note(layout, f"{message}: {names[parted.index('') - 1]!r} stands above a date and a clock")
        return replace(layout, names=parted, findings=(*layout.findings, found))
    if not first_is_certain(names, samples, kinds):
        raise refusal(file, message, line=layout.header_line, key="header_line", mend=_MEND)
    said = _note(layout, f"{message}; only {names[0]!r} is certain, the others are called by position")
    return replace(
        layout,
        names=names[:1],
        unit_row=layout.unit_row[:1],
        uncertain=tuple(name for name in names[1:] if name),
        findings=(*layout.findings, replace(said, severity="doubtful", mend=_MEND)),
    )


def _with_names_left_over(layout: Layout, filled: int, message: str, file: str) -> Layout:
    """Names from the left where there are more than cells, as long as the last ones can be a column that was never filled.

    Two names over one stamp, "Date" and "Time", are its one name.
    """
    names, samples = layout.names[:filled], layout.samples[: layout.used]
    joined = two_names_for_one_stamp(names, samples)
    if joined:
        units = ("", *layout.unit_row[2:])
        found = _note(layout, f"{message}; {joined[0]!r} stand above one stamp")
        return replace(layout, names=joined, unit_row=units, findings=(*layout.findings, found))
    left = names[layout.width :]
    remarks = all(is_remark_name(name) for name in left)
    if not remarks and not first_is_certain(names, samples, layout.kinds[: layout.used]):
        raise refusal(file, message, line=layout.header_line, key="header_line", mend=_MEND)
    listed = ", ".join(map(repr, left))
    found = replace(
        _note(layout, f"{message}; taken from the left, nothing is under {listed}"),
        severity="doubtful",
        mend="look whether every name stands above its own column; else mend the line of names in a copy of the file",
    )
    return replace(layout, names=names[: layout.width], findings=(*layout.findings, found))


def _note(layout: Layout, message: str) -> Finding:
    return Finding(code="header-misaligned", severity="note", kind="data", message=message, line=layout.header_line)
