"""Calibration points: a CSV file with what was applied and what the sensor showed, made a line for its certificate.

Columns `reference [unit]` and `indication [unit]`, in any unit of the sensor's quantity; `expanded [unit]` or `expanded [%]`
(of the reference) with `k` where the reference's uncertainty is known. A line has to be seen to be straight: three different
references at least. What cannot be a calibration is a fault at its line, for its correction would be in every number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from toolbench.records.calibration import CalibrationLine
from toolbench.records.settings import Certificate, Sensor
from toolbench.settings.convert import DIFFERENCES, frozen
from toolbench.settings.faults import Faults
from toolbench.settings.recordings import path_fault
from toolbench.settings.spreadsheet import Row, Table, read_table

FEWEST_REFERENCES = 3

_Point = tuple[Row, float, float, float]
"""Row, reference, indication, standard uncertainty of the reference."""


def with_lines(folder: Path, sensors: Mapping[str, Sensor], faults: Faults) -> Mapping[str, Sensor]:
    """The sensors with the line of every certificate that names points. A file that is not there is noted elsewhere."""

    def with_line(sensor: Sensor, certificate: Certificate) -> Certificate:
        if not certificate.points or path_fault(certificate.points):
            return certificate
        return replace(certificate, line=read_points(folder, certificate.points, sensor.quantity, faults))

    return frozen(
        {
            id: replace(sensor, certificates=tuple(with_line(sensor, one) for one in sensor.certificates))
            for id, sensor in sensors.items()
        }
    )


def read_points(folder: Path, file: str, quantity: str, faults: Faults) -> CalibrationLine | None:
    """The line through a file of calibration points; None where it holds none (a fault with file and line).

    Parameters
    ----------
    folder, file
        The season folder, and the path below it.
    quantity
        What the sensor measures; empty where that is not known, then columns in one same unit are needed.
    faults
        Where is noted what is wrong.
    """
    name = file.replace("\\", "/")
    before = len(faults.found)
    table = read_table(folder, name, faults)
    if table is None or len(faults.found) > before:
        return None
    if not quantity:
        faults.add(
            "cannot be read: what the sensor measures is not known", file=name, mend="add quantity to the sensor"
        )
        return None
    for column in ("reference", "indication"):
        if column not in table.columns:
            there = ", ".join(one.written for one in table.columns.values())
            table.fault(None, column, f'the column "{column}" is needed; there are {there}')
    if len(faults.found) > before:
        return None
    points = [point for row in table.rows if (point := _point(table, row, quantity)) is not None]
    if len(faults.found) > before or not _is_calibration(table, points):
        return None
    # Only a season with points pays for loading the statistics.
    from toolbench.metrology.calibration import fit_calibration

    try:
        return fit_calibration([p[1] for p in points], [p[2] for p in points], [p[3] for p in points])
    except ValueError:
        table.fault(None, "reference", "the points lie so close together that no line can be laid through them")
        return None


def _point(table: Table, row: Row, quantity: str) -> _Point | None:
    for column in ("reference", "indication"):
        if not row.text(column):
            table.fault(row, column, "the cell is empty", "a point needs both; leave the whole row out")
    reference = table.quantity(row, "reference", quantity)
    indication = table.quantity(row, "indication", quantity)
    if reference is None or indication is None:
        return None
    return row, reference, indication, _uncertainty(table, row, quantity, reference)


def _uncertainty(table: Table, row: Row, quantity: str, reference: float) -> float:
    """Standard uncertainty of a reference, 0 where none is stated."""
    if "expanded" not in table.columns or not row.text("expanded"):
        return 0.0
    if table.columns["expanded"].unit.strip() == "%":
        share = table.number(row, "expanded")
        expanded = None if share is None else share / 100.0 * abs(reference)
    else:
        expanded = table.quantity(row, "expanded", DIFFERENCES.get(quantity, quantity))
    factor = table.number(row, "k") if "k" in table.columns else None
    if "k" not in table.columns or not row.text("k"):
        table.fault(row, "k", "an expanded uncertainty needs its coverage factor", 'add a column "k"')
        return 0.0
    if expanded is None or factor is None:
        return 0.0
    if expanded < 0:
        table.fault(row, "expanded", f'"{row.text("expanded")}": an uncertainty is not negative')
    if factor <= 0:
        table.fault(row, "k", f'"{row.text("k")}": a coverage factor is positive')
        return 0.0
    return max(expanded, 0.0) / factor


def _is_calibration(table: Table, points: list[_Point]) -> bool:
    """Whether a line can be laid through the points and be judged; else what is in the way is noted."""
    levels: dict[float, list[_Point]] = {}
    for point in points:
        levels.setdefault(point[1], []).append(point)
    last = points[-1][0] if points else None
    if len(levels) < FEWEST_REFERENCES:
        what = "1 reference" if len(levels) == 1 else f"{len(levels)} references"
        table.fault(
            last,
            "reference",
            f"{len(points)} {'point' if len(points) == 1 else 'points'} at {what}: a line with its uncertainty needs"
            f" {FEWEST_REFERENCES} different references",
            "enter every step of the calibration, or state scale and zero instead of points",
        )
        return False
    # Rising and falling series, and repeats, are one step each: hysteresis is scatter about the line.
    steps = [(level, sum(p[2] for p in levels[level]) / len(levels[level])) for level in sorted(levels)]
    for (_, below), (level, mean) in pairwise(steps):
        if mean <= below:
            row = levels[level][0][0]
            table.fault(
                row,
                "indication",
                f'the indication does not rise with the reference: "{row.text("indication")}" at'
                f' "{row.text("reference")}" is not above that of the step below',
                "look for swapped columns or a slip of the pen",
            )
            return False
    return True
