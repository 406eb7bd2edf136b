"""What inspect tells: facts as JSON, the table to paste, and the plot in text."""

from __future__ import annotations

import json
import tomllib

import numpy as np

from toolbench.logs import describe, guess_channels, read_log, sketch, suggest_table

TABLE = (
    "t [ms],Rear torque [N*m],p tool [bar],p wall [bar],Flow [L/s],n [rpm],Extra\n"
    "0,1,6.2,7,0,0,5\n1,2,6.1,7,12,6000,5\n2,3,6.0,7,12,6000,5\n5,4,6.0,7,12,6000,5\n"
)


def test_describe_is_json_and_complete(write):
    log = read_log(write(TABLE))
    facts = json.loads(json.dumps(describe(log), allow_nan=False))
    assert facts["rows"] == 4
    assert facts["duration_s"] == 0.005
    assert facts["time"]["gaps"] == [[5, 0.003]]
    assert facts["dialect"]["header_line"] == 1
    assert facts["findings"][0]["code"] == "time-gaps"
    assert {c["name"]: c["channel"] for c in facts["columns"]} == {
        "Rear torque": "torque",
        "p tool": "inlet_pressure",
        "p wall": "supply_pressure",
        "Flow": "air_flow",
        "n": "speed",
        "Extra": None,
    }
    assert (facts["columns"][0]["lowest"], facts["columns"][0]["highest"]) == (1.0, 4.0)


def test_one_row_has_no_interval_and_json_says_none(write):
    facts = describe(read_log(write("t [s],F [N]\n0,1\n")))
    assert facts["time"]["median_interval_s"] is None


def test_suggested_table_is_toml_that_names_the_columns(write):
    table = suggest_table(read_log(write(TABLE)), logger="rig")
    parsed = tomllib.loads(table)["loggers"]["rig"]
    assert parsed["time"] == "t [ms]"
    assert parsed["channels"] == {
        "torque": "Rear torque [N*m]",
        "inlet_pressure": "p tool [bar]",
        "supply_pressure": "p wall [bar]",
        "air_flow": "Flow [L/s]",
        "speed": "n [rpm]",
    }
    assert '# channels.NAME = "Extra"' in table


def test_channel_without_unit_is_offered_as_a_comment(write):
    table = suggest_table(read_log(write("t [s],Torque\n0,1\n1,2\n")))
    assert "channels" not in tomllib.loads(table)["loggers"]["rig"]
    assert '# channels.torque = { column = "Torque", unit = "..." }' in table


def test_awkward_names_are_escaped(write):
    table = suggest_table(read_log(write('t [s],"Torque ""rear"" \\ left [N*m]"\n0,1\n1,2\n')))
    assert tomllib.loads(table)["loggers"]["rig"]["channels"]["torque"] == 'Torque "rear" \\ left [N*m]'


def test_sketch_keeps_a_one_sample_peak():
    values = np.zeros(10_000)
    values[6_000] = 5.0
    lines = sketch(np.arange(10_000) / 1000, values, width=50, height=5, plain=True).splitlines()
    assert len(lines) == 6
    assert lines[0].startswith("5 |")
    assert lines[0].index("#") - lines[0].index("|") - 1 == 30  # by hand: 6,000 of 9,999 on 50 characters
    assert lines[-1].endswith("9.999 s")
    assert all(line.isascii() for line in lines)


def test_sketch_of_nothing_is_empty():
    assert sketch(np.arange(3.0), np.full(3, np.nan)) == ""


def test_log_shows_itself(write):
    log = read_log(write(TABLE.replace("Rear torque", "<b>torque")))
    assert "<b>" not in log._repr_html_()
    assert "&lt;b&gt;torque" in log._repr_html_()
    assert "names in line 1, rows from line 2" in repr(log)
    assert "before line 5" in repr(log)


def test_names_that_stand_twice_are_told_apart(write):
    path = write("t [s],p [bar],p [bar],Torque [N*m]\n0,1,2,3\n1,1,2,3\n")
    table = suggest_table(read_log(path))
    named = tomllib.loads(table)["loggers"]["rig"]["channels"]["inlet_pressure"]
    column = named["column"] if isinstance(named, dict) else named
    assert read_log(path, columns=[column]).data.iloc[:, 0].tolist() == [1, 1]


def test_a_german_supply_pressure_in_front_is_not_taken_for_the_one_at_the_tool(write):
    rows = "".join(f"{i / 100:.2f};8.0;{6 + i % 3};{i % 7}\n".replace(".", ",") for i in range(200))
    guessed = guess_channels(read_log(write("Zeit;Versorgungsdruck;Eingangsdruck;Drehmoment\ns;bar;bar;N*m\n" + rows)))
    assert guessed["supply_pressure"].startswith("Versorgungsdruck")
    assert guessed["inlet_pressure"].startswith("Eingangsdruck")
