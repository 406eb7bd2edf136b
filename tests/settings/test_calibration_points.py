"""Files of calibration points: what is read from them, and the sentence for each way in which they can be no calibration."""

from pathlib import Path

import pytest
from season_folder import BENCH, write

from toolbench.errors import Fault, SettingsError
from toolbench.records.calibration import CalibrationLine
from toolbench.settings import read_settings

WITH_POINTS = BENCH.replace("[sensors.cell]\n", '[sensors.cell]\npoints = "calibration/cell.csv"\n')


def season(folder: Path, points: str) -> Path:
    write(folder, bench=WITH_POINTS)
    (folder / "calibration").mkdir()
    (folder / "calibration" / "cell.csv").write_text(points, encoding="utf-8")
    return folder


def line_of(folder: Path, points: str) -> CalibrationLine:
    line = read_settings(season(folder, points)).sensors["cell"].certificates[0].line
    assert line is not None
    return line


def test_points_in_other_units_and_as_a_spreadsheet_writes_them(tmp_path: Path) -> None:
    line = line_of(
        tmp_path, "Reference [kN*m];Indication [N*m];note\n0,5;499,0;\n1,0;1001,0;\n1,5;1497,0;\n2,0;2003,0;up\n"
    )
    # by hand: corrections +1, -1, +3, -3 N*m at 499, 1001, 1497, 2003: mean 0
    assert (line.lowest, line.highest, line.points, line.degrees_of_freedom) == (500.0, 2000.0, 4, 2)
    assert line.offset == pytest.approx(0.0, abs=1e-9)
    assert line.centre == pytest.approx(1250.0)


def test_uncertainty_of_the_reference_in_percent_is_one_of_scale(tmp_path: Path) -> None:
    text = "reference [N*m],indication [N*m],expanded [%],k\n" + "".join(f"{x},{x},0.2,2\n" for x in (500, 1000, 1500))
    line = line_of(tmp_path, text)
    # by hand: 0.1 % of the reading everywhere: 1 N*m at the centre of 1000 N*m, and 0.001 per N*m
    assert line.reference_offset == pytest.approx(1.0)
    assert line.reference_slope == pytest.approx(0.001)
    assert line.in_corrected(line.reference_offset, line.reference_slope) == pytest.approx((0.001, 0.0), abs=1e-12)


def test_rising_and_falling_series_are_one_calibration(tmp_path: Path) -> None:
    rows = [(0, 0), (500, 501), (1000, 1001), (1000, 1003), (500, 503), (0, 2)]
    line = line_of(tmp_path, "reference [N*m],indication [N*m]\n" + "".join(f"{a},{b}\n" for a, b in rows))
    assert (line.points, line.degrees_of_freedom) == (6, 4)
    assert line.residual_sd > 0.5


GOOD = ["reference [N*m],indication [N*m]", "0,0.2", "500,500.4", "1000,1000.3"]


@pytest.mark.parametrize(
    ("lines", "line", "words"),
    [
        (GOOD[:3], 3, "2 points at 2 references: a line with its uncertainty needs 3 different references"),
        ([*GOOD[:1], "500,500.1", "500,500.2", "500,500.3"], 4, "3 points at 1 reference:"),
        ([*GOOD, "1500,900"], 5, "the indication does not rise with the reference"),
        ([*GOOD[:2], "500,0.1", "1000,0.0"], 3, "the indication does not rise"),
        (["reference [bar],indication [N*m]", *GOOD[1:]], 1, "is a unit of pressure, but torque is wanted"),
        (["reference [N*m],indication [mV/V]", *GOOD[1:]], 1, "mV/V"),
        (["reference,indication [N*m]", *GOOD[1:]], 1, "the column names no unit"),
        (["load [N*m],indication [N*m]", *GOOD[1:]], 1, 'the column "reference" is needed'),
        ([*GOOD, "1500,"], 5, "the cell is empty"),
        ([*GOOD, "1500,x1"], 5, '"x1"'),
        (["reference [N*m],indication [N*m],expanded [%]", "0,0,1", "500,500,1", "1000,1000,1"], 2, "needs its coverage factor"),
        (["reference [N*m],indication [N*m],expanded [%],k", "0,0,1,0", "5,5,1,2", "9,9,1,2"], 2, "a coverage factor is positive"),
        (["reference [N*m],indication [N*m],expanded [%],k", "1,1,-1,2", "5,5,1,2", "9,9,1,2"], 2, "an uncertainty is not negative"),
        ([""], 1, "holds no header"),
        (["reference [N*m],indication [N*m]", "0,0", "1e-300,1e-300", "2e-300,2e-300"], 1, "lie so close together"),
    ],
)  # fmt: skip
def test_what_can_be_no_calibration_is_told_at_its_line(
    tmp_path: Path, lines: list[str], line: int, words: str
) -> None:
    with pytest.raises(SettingsError) as caught:
        read_settings(season(tmp_path, "\n".join(lines) + "\n"))
    first: Fault = caught.value.faults[0]
    assert (first.file, first.line) == ("calibration/cell.csv", line)
    assert words in first.message


def test_a_file_that_is_not_there_is_one_fault_at_its_key(tmp_path: Path) -> None:
    with pytest.raises(SettingsError) as caught:
        read_settings(write(tmp_path, bench=WITH_POINTS))
    assert [(f.file, f.key) for f in caught.value.faults] == [("bench.toml", "sensors.cell.points")]
