"""One test per sentence: a season with one thing wrong, and the file, line, key and words that tell it."""

from pathlib import Path

import pytest
from season_folder import BENCH, RUNS, TOOLS, line_of, write

from toolbench.errors import Fault, SettingsError
from toolbench.settings import read_settings


def faults(folder: Path) -> tuple[Fault, ...]:
    with pytest.raises(SettingsError) as caught:
        read_settings(folder)
    return caught.value.faults


HELD = "[protocols.held]\n"
NEAR = "[setups.near]\n"
CELL = "[sensors.cell]\n"
RIG = "[loggers.rig]\n"
EPISODE = 'id = "far-end"\n'

# (what is put in place of what, the key, words of the sentence, words of the mend); each constructed
BENCH_FAULTS = [
    # keys and values
    ('marks = ["2 s"]', 'mark = ["2 s"]', "protocols.held.mark", 'unknown key "mark"', 'did you mean "marks"?'),
    (RIG, "[logers.x]\n" + RIG, "logers", 'unknown key "logers"', 'did you mean "loggers"?'),
    (NEAR, NEAR + 'regulator = { sett = "6 bar" }\n', "setups.near.regulator.sett", "unknown key", 'did you mean "set"?'),
    (NEAR, NEAR + "regulator = {}\n", "setups.near.regulator", 'the key "set" is needed here', None),
    (EPISODE, EPISODE + 'compare = "neighbors"\n', "episodes.far-end.compare", '"neighbors" is not known here', "neighbours"),
    (HELD, HELD + 'min_runs = "3"\n', "protocols.held.min_runs", "a whole number is needed", None),
    (HELD, HELD + "min_runs = 0\n", "protocols.held.min_runs", "0: must be 1 or more", None),
    (HELD, HELD + "label = 3\n", "protocols.held.label", "a text in quotes is needed", None),
    (EPISODE, "", "episodes[1]", 'the key "id" is needed here', None),
    ("[[episodes]]", "[episodes]", "episodes", "a table stands where a list", "write [[episodes]], with two brackets"),
    # quantities
    ('"5 s"', '"5"', "protocols.held.duration", '"5" has no unit', None),
    ('"5 s"', "5", "protocols.held.duration", '"5" has no unit', None),
    ('"5 s"', '"5 bar"', "protocols.held.duration", "is a unit of pressure, but time is wanted", None),
    ('"5 s"', '"-5 s"', "protocols.held.duration", "must be greater than zero", None),
    (NEAR, NEAR + 'regulator = "6,9 bar"\n', "setups.near.regulator", "decimal point", None),
    (NEAR, NEAR + 'label = "\\u001b[31mred"\n', "setups.near.label", "the control character U+001B", "take it out"),
    (NEAR, NEAR + 'label = "a\\u0000b"\n', "setups.near.label", "the control character U+0000", "take it out"),
    # times
    ('["2 s"]', '["2 s", "6 s"]', "protocols.held.marks[2]", "the mark at 6 s lies outside 0 to 5 s", None),
    ('["2 s"]', '["-1 s"]', "protocols.held.marks[1]", "the mark at -1 s lies outside", None),
    ('["2 s"]', '["2 s", "2000 ms"]', "protocols.held.marks[2]", "stands twice", None),
    ('["2 s"]', "[]", "protocols.held.marks", "holds no time", None),
    (HELD, HELD + 'window = ["4 s", "6 s"]\n', "protocols.held.window", "does not lie in 0 to 5 s", None),
    (HELD, HELD + 'window = ["4 s", "3 s"]\n', "protocols.held.window", "does not lie in", None),
    (HELD, HELD + 'window = ["4 s"]\n', "protocols.held.window", "is two times, from and to", None),
    # protocols
    (HELD, HELD + 'confidence = "100 %"\n', "protocols.held.confidence", "must lie between 0 and 100 %", None),
    (HELD, HELD + "confidence = 0\n", "protocols.held.confidence", "must lie between 0 and 100 %", None),
    (HELD, HELD + 'response = "torqe"\n', "protocols.held.response", 'channel "torqe" is not known', '"torque"?'),
    (HELD, HELD + 'hold = { channel = "inlet_presure", at = "6 bar", within = "1 bar" }\n', "protocols.held.hold.channel",
     'channel "inlet_presure" is not known', 'did you mean "inlet_pressure"?'),
    (HELD, HELD + 'hold = { channel = "inlet_pressure", at = "6 V", within = "1 bar" }\n', "protocols.held.hold.at",
     "is a unit of voltage, but pressure is wanted", None),
    (HELD, HELD + 'hold = { channel = "inlet_pressure", at = "6 bar", within = "1 bar abs" }\n',
     "protocols.held.hold.within", "neither absolute nor gauge", None),
    (HELD, HELD + 'rest = { channel = "inlet_pressure", at = "6 bar", within = "0 bar" }\n', "protocols.held.rest.within",
     "must be greater than zero", None),
    (HELD, HELD + 'reach = ["4 bar"]\n', "protocols.held.reach[1]", "torque is wanted", None),
    (HELD, HELD + 'reach = ["0 N*m"]\n', "protocols.held.reach[1]", "must be greater than zero", None),
    (HELD, HELD + 'onset = { rule = "levels" }\n', "protocols.held.onset.rule", "not known", 'did you mean "level"?'),
    (HELD, HELD + 'repeatability = { value = "4 %" }\n', "protocols.held.repeatability", 'key "source" is needed', None),
    (HELD, HELD + "envelope = 1\n", "protocols.held.envelope", '"1" has no unit', None),
    (HELD, HELD + 'envelope = "5 ms"\n', "protocols.held.envelope", "spans at least two blow periods", None),
    (HELD, HELD + 'envelope = "130 ms"\nblow = "1 ms"\n', "protocols.held.envelope", "are both stated", "envelope = true"),
    # sensors
    ("k = 2", "k = 0", "sensors.cell.scale.k", "a coverage factor is positive", None),
    ("k = 2", "k = -1", "sensors.cell.scale.k", "a coverage factor is positive", None),
    (', k = 2', "", "sensors.cell.scale", 'the key "k" is needed here', None),
    ('"0.6 %"', '"-0.6 %"', "sensors.cell.scale.expanded", "an uncertainty is not negative", None),
    (CELL, CELL + 'zero = { expanded = "-1 N*m", k = 2 }\n', "sensors.cell.zero.expanded", "is not negative", None),
    (CELL, CELL + 'zero = { expanded = "1 bar", k = 2 }\n', "sensors.cell.zero.expanded", "torque is wanted", None),
    ('["0 N*m", "2000 N*m"]', '["2000 N*m", "0 N*m"]', "sensors.cell.range", "ends where it begins", None),
    ('["0 N*m", "2000 N*m"]', '["2000 N*m"]', "sensors.cell.range", "is two values", None),
    (CELL, CELL + 'quantity = "torqe"\n', "sensors.cell.quantity", "is not a quantity", 'did you mean "torque"?'),
    (CELL, CELL + "calibrated = 2026-02-01\ndue = 2026-01-01\n", "sensors.cell.due", "lies before calibrated", None),
    (CELL, CELL + 'due = "soon"\n', "sensors.cell.due", "is no date", None),
    (CELL, CELL + 'points = "no.csv"\n', "sensors.cell.points", "does not exist in the season folder", None),
    (CELL, CELL + 'points = "../p.csv"\n', "sensors.cell.points", "leads out of the season folder", None),
    # loggers
    ('channels.torque = "Torque [N*m]"', 'channels.torque = { column = "T", sensor = "cel" }',
     "loggers.rig.channels.torque.sensor", 'sensor "cel" is not known', 'did you mean "cell"?'),
    ('channels.torque = "Torque [N*m]"', 'channels.torque = { column = "T", unit = "bar" }',
     "loggers.rig.channels.torque.unit", "is a unit of pressure, but torque is wanted", None),
    ('channels.torque = "Torque [N*m]"', 'channels.torque = { column = "T", arm = { length = "1 m" } }',
     "loggers.rig.channels.torque.arm", 'an arm turns "force" into torque', None),
    ('time = "t [ms]"', 'time = { column = "t", rate = "1 kHz" }', "loggers.rig.time", 'both "column" and "rate"', None),
    ('time = "t [ms]"', 'time = { column = "t", unit = "bar" }', "loggers.rig.time.unit", "time is wanted", None),
    ('time = "t [ms]"', 'time = { column = "t", zone = "Moon/Crater" }', "loggers.rig.time.zone", "is no time zone", None),
    (RIG, RIG + "header_line = 0\n", "loggers.rig.header_line", "lines are counted from 1", None),
    (RIG, RIG + 'delimiter = ",,"\n', "loggers.rig.delimiter", "is not one sign", None),
    (RIG, RIG + 'encoding = "utf-88"\n', "loggers.rig.encoding", "is no encoding", None),
    # setups
    (NEAR, NEAR + 'supply = "battery"\nregulator = "6 bar"\n', "setups.near.regulator", "belongs to a supply of air", None),
    (NEAR, NEAR + 'regulator = "6 bar"\nvoltage = "230 V"\n', "setups.near", "holds keys of air and mains", "add supply"),
    (NEAR, NEAR + 'line = [{ part = "hoze" }]\n', "setups.near.line[1].part", "is not known", 'did you mean "hose"?'),
    (NEAR, NEAR + 'line = [{ part = "coupler", bore = "9 mm" }]\n', "setups.near.line[1].bore", "no place on a coupler", None),
    (NEAR, NEAR + 'line = [{ part = "coupler", critical_pressure_ratio = 1.2 }]\n',
     "setups.near.line[1].critical_pressure_ratio", "must lie in 0 to 1", None),
    (NEAR, NEAR + 'receiver = { cut_in = "9 bar", cut_out = "8 bar" }\n', "setups.near.receiver.cut_in", "below cut_out", None),
    # what physics does not allow
    (RIG, '[bench]\nambient_temperature = "-500 degC"\n' + RIG, "bench.ambient_temperature", "lies below absolute zero", None),
    (NEAR, NEAR + 'supply = "battery"\ntemperature = "-460 degF"\n', "setups.near.temperature", "below absolute zero", None),
    (NEAR, NEAR + 'regulator = "-1 bar"\n', "setups.near.regulator", "must be greater than zero", None),
    (NEAR, NEAR + 'receiver = { free_air = "0 L/s ANR" }\n', "setups.near.receiver.free_air", "greater than zero", None),
    (NEAR, NEAR + 'line = [{ part = "hose", bore = "10 mm", roughness = "5 mm" }]\n', "setups.near.line[1].roughness",
     "5 mm does not go with a bore of 10 mm", "below half the bore"),
    (NEAR, NEAR + 'line = [{ part = "hose", bore = "10 mm", coil_diameter = "10 mm" }]\n',
     "setups.near.line[1].coil_diameter", "10 mm does not go with a bore of 10 mm", "above the bore"),
    (CELL, CELL + "certificates = [{ from = 2026-01-01 }, { from = 2026-01-01 }]\n", "sensors.cell.certificates[2].from",
     "a certificate from 2026-01-01 stands already", None),
    # ids
    ("[setups.far]", '[setups."far end"]', "setups.far end", "is no id", None),
    ("[setups.far]", "[setups.far--end]", "setups.far--end", '"--" parts the names', None),
    ("[setups.far]", "[setups.far]\n[setups.Far]", "setups.Far", 'differs from "far" in case only', None),
    (EPISODE, EPISODE + 'protocols = ["held"]\n[[episodes]]\nid = "far-end"\ntools = ["wrench-a"]\nsetups = ["near"]\n'
     "[[episodes]]\nid = 'x'\ntools = ['wrench-a']\nsetups = ['near']\n[[episodes]]\nid = 'y'\n",
     "episodes.far-end.id", 'the id "far-end" stands already in episodes', None),
    # references
    ('["near", "far"]', '["near", "fahr"]', "episodes.far-end.setups[2]", 'setup "fahr" is not known', 'did you mean "far"?'),
    ('["near", "far"]', '["near", "near"]', "episodes.far-end.setups[2]", 'setup "near" stands twice', None),
    ('tools = ["wrench-a"]', 'tools = ["wrench-c"]', "episodes.far-end.tools[1]", 'tool "wrench-c" is not known', "wrench-"),
    ('protocols = ["held"]', 'protocols = ["hold"]', "episodes.far-end.protocols[1]", 'protocol "hold" is not known', '"held"?'),
    (EPISODE, EPISODE + 'baseline = "fr"\n', "episodes.far-end.baseline", "is none of the episode's setups", '"far"?'),
    (EPISODE, EPISODE + 'baseline_tool = "wrench-b"\n', "episodes.far-end.baseline_tool", "none of the episode's tools", None),
    (EPISODE, EPISODE + 'pairs = [["wrench-a", "nar"], ["wrench-b", "far"]]\n', "episodes.far-end.pairs[1]",
     'setup "nar" is not known', 'did you mean "near"?'),
    (EPISODE, EPISODE + 'pairs = [["wrench-a"]]\n', "episodes.far-end.pairs[1]", "is a pair", None),
    (EPISODE, EPISODE + 'pairs = [["wrench-a", "near"]]\n', "episodes.far-end.pairs", "one pair has nothing", None),
    (EPISODE, EPISODE + 'equivalent_within = "0 %"\n', "episodes.far-end.equivalent_within", "greater than zero", None),
    # top
    (RIG, 'format = 2\n' + RIG, "format", "format 2 is newer than this toolbench reads (1)", "update toolbench"),
    (RIG, 'recordings = "r/{tol}/{run}.csv"\n' + RIG, "recordings", '"{tol}" is not a place', 'did you mean "tool"?'),
    (RIG, 'recordings = "../{tool}/{run}.csv"\n' + RIG, "recordings", "leads out of the season folder", None),
    (RIG, '[display]\ntorqe = "N*m"\n' + RIG, "display.torqe", 'unknown key "torqe"', 'did you mean "torque"?'),
    (RIG, '[display]\ntorque = "bar"\n' + RIG, "display.torque", "but torque is wanted", None),
    (RIG, '[display]\nalso = "UK"\n' + RIG, "display.also", '"UK" is not known', None),
    (RIG, '[bench]\nlog = "log.csv"\n' + RIG, "bench.log", "does not exist in the season folder", None),
    (RIG, '[bench]\nambient_pressure = "0 barg"\n' + RIG, "bench.ambient_pressure", "is absolute", None),
    (RIG, '[[corrections]]\ndate = 2026-01-01\nnote = "x"\nruns = ["r2"]\n' + RIG, "corrections[1].runs[1]",
     'run "r2" is not known', "known: r1"),
    (RIG, '[scorecard]\ntitle = "x"\n' + RIG, "scorecard", "has no criteria", None),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key", "words", "mend"), BENCH_FAULTS, ids=lambda v: str(v)[:28])
def test_a_fault_of_bench_toml(tmp_path: Path, old: str, new: str, key: str, words: str, mend: str | None) -> None:
    assert BENCH.count(old) >= 1
    text = BENCH.replace(old, new, 1)
    found = [f for f in faults(write(tmp_path, bench=text)) if f.key == key and words in f.message]
    assert found, [str(f) for f in faults(tmp_path)]
    assert found[0].file == "bench.toml"
    assert mend is None or mend in (found[0].mend or "")
    # the line named lies in what was put in, or is the table's that lacks a key
    assert found[0].line is not None
    first = line_of(text, new) if new else BENCH[: BENCH.index(old)].count("\n")
    assert first <= found[0].line <= first + max(1, new.count("\n"))


SCORECARD = """
[scorecard]
setups = { air = "near" }
[[scorecard.criteria]]
id = "torque"
weight = "60 %"
protocol = "held"
metric = "sustained"
worst_at = "400 N*m"
best_at = "1400 N*m"
[[scorecard.criteria]]
id = "per-mass"
weight = "40 %"
protocol = "held"
metric = "at_mark"
at = "2 s"
per = "mass"
worst_at = "100 N*m/kg"
best_at = "400 N*m/kg"
"""


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('"60 %"', '"50 %"', "scorecard.criteria", "add up to 90 %, and must to 100 %"),
        ('air = "near"', 'air = "ner"', "scorecard.setups.air", 'setup "ner" is not known'),
        ('air = "near"', 'ar = "near"', "scorecard.setups.ar", 'unknown key "ar"'),
        ('"sustained"', '"sustaned"', "scorecard.criteria.torque.metric", 'metric "sustaned" is not known'),
        ('protocol = "held"', 'protocol = "hed"', "scorecard.criteria.torque.protocol", 'protocol "hed" is not known'),
        ('at = "2 s"\n', "", "scorecard.criteria.per-mass", 'needs the key "at"'),
        ('"mass"', '"mas"', "scorecard.criteria.per-mass.per", 'tools.csv has no column "mas"'),
        ('"1400 N*m"', '"400 N*m"', "scorecard.criteria.torque.best_at", "the same value"),
        ('"1400 N*m"', '"14 bar"', "scorecard.criteria.torque.best_at", "torque is wanted"),
        ('"1400 N*m"', '"1400"', "scorecard.criteria.torque.best_at", "has no unit"),
        ('"1400 N*m"', "1400", "scorecard.criteria.torque.best_at", "1400.0 has no unit"),
        ('"400 N*m/kg"', '"400 N*m"', "scorecard.criteria.per-mass.best_at", "unit"),
        ('"400 N*m/kg"', '"400 N*m/EUR"', "scorecard.criteria.per-mass.best_at", '"EUR" is not a unit of mass'),
        ('"mass"', '"tool"', "scorecard.criteria.per-mass.per", 'the column "tool" holds words'),
        ('at = "2 s"', 'at = "7 s"', "scorecard.criteria.per-mass.at", "outside the protocol's duration"),
        ('setups = { air = "near" }\n', "", "scorecard", "does not say which setup counts"),
        (
            'protocol = "held"',
            'protocol = { ar = "held" }',
            "scorecard.criteria.torque.protocol.ar",
            'unknown key "ar"',
        ),
    ],
)
def test_a_fault_of_the_scorecard(tmp_path: Path, old: str, new: str, key: str, words: str) -> None:
    read_settings(write(tmp_path, bench=BENCH + SCORECARD))
    found = faults(write(tmp_path, bench=BENCH + SCORECARD.replace(old, new, 1)))
    assert [f.key for f in found] == [key]
    assert words in found[0].message
    assert found[0].line


PRICED = """
[scorecard]
setups = { air = "near" }
[[scorecard.criteria]]
id = "per-price"
weight = "100 %"
protocol = "held"
metric = "sustained"
per = "price"
worst_at = "1 N*m/EUR"
best_at = "5 N*m/EUR"
"""
PRICES = "tool,price [EUR]\nwrench-a,200\nwrench-b,100\n"


def test_mixed_currencies_are_refused_with_both(tmp_path: Path) -> None:
    (found,) = faults(write(tmp_path, bench=BENCH + PRICED.replace("5 N*m/EUR", "5 N*m/USD"), tools=PRICES))
    assert found.key == "scorecard.criteria.per-price.best_at"
    assert '"5 N*m/USD" is per USD, but tools.csv has the column "price [EUR]"' in found.message


def test_a_second_price_column_and_a_negative_price_are_faults(tmp_path: Path) -> None:
    two = "tool,price [EUR],price [USD]\nwrench-a,200,220\n"
    (found,) = faults(write(tmp_path, tools=two))
    assert (found.file, found.line, found.key) == ("tools.csv", 1, "price")
    assert "stands twice" in found.message
    (found,) = faults(write(tmp_path, tools=PRICES.replace("100", "-100")))
    assert (found.file, found.line, found.key) == ("tools.csv", 3, "price")
    assert '"-100" must not be negative' in found.message


def test_protocols_of_one_criterion_share_their_measurand(tmp_path: Path) -> None:
    other = BENCH.replace("[setups.near]", '[protocols.loose]\ndirection = "loosening"\n\n[setups.near]', 1)
    both = PRICED.replace('protocol = "held"', 'protocol = { air = "held", mains = "loose" }')
    (found,) = faults(write(tmp_path, bench=other + both, tools=PRICES))
    assert found.key == "scorecard.criteria.per-price.protocol"
    assert "differ in response, measurand or direction" in found.message


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("a = 1\nb = \n", 2, "is not valid TOML"),
        ("a = 1\na = 2\n", 2, "is not valid TOML"),
        ('a = "x\n', 1, "is not valid TOML"),
        ("[t]\n[t]\n", 2, "is not valid TOML"),
        ("a = [1,\n2", 2, "is not valid TOML"),
    ],
)
def test_what_is_no_toml_is_told_with_its_line(tmp_path: Path, text: str, line: int, words: str) -> None:
    (fault,) = faults(write(tmp_path, bench=text))
    assert (fault.file, fault.line) == ("bench.toml", line)
    assert words in fault.message


def test_bench_toml_in_another_encoding(tmp_path: Path) -> None:
    write(tmp_path)
    (tmp_path / "bench.toml").write_bytes(b'a = 1\nb = "\xe4"\n')
    (fault,) = faults(tmp_path)
    assert (fault.line, fault.mend) == (2, "save the file as UTF-8")


def test_no_bench_toml(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path)
    assert fault.file == "bench.toml"
    assert "toolbench new" in (fault.mend or "")


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "words", "mend"),
    [
        ("wrench-b", "Wrench-A", 3, "tool", "stands already on line 2", None),
        ("wrench-b", "wrench b", 3, "tool", "is no id", None),
        ("wrench-b,2.9", ",2.9", 3, "tool", "the tool's id is missing", None),
        ("2.9", "heavy", 3, "mass", "is not a number", None),
        ("2.9", "-2.9", 3, "mass", "must not be negative", None),
        ("2.9", "0", 3, "mass", "must be greater than zero", "leave the cell empty"),
        ("mass [kg]\nwrench-a,3.2", "price [EUR]\nwrench-a,-3.2", 2, "price", "must not be negative", None),
        ("mass [kg]", "mass", 1, "mass", "the column names no unit", 'write it in the header: "mass [kg]"'),
        ("mass [kg]", "mass [mm]", 1, "mass", "is a unit of length, but mass is wanted", None),
        ("tool,", "tol,", 1, "tool", 'the column "tool" is needed', 'is "tol" meant?'),
        ("2.9", "2.9,surplus", 3, None, "the row has 3 cells, the header 2", "quotes"),
        ("mass [kg]", "tool", 1, "tool", 'the column "tool" stands twice', None),
        ("mass [kg]", "status", 2, "status", '"3.2" is not known here', "known: retired"),
        ("mass [kg]", "price", 1, "price", "names no currency", "price [EUR]"),
    ],
)
def test_a_fault_of_tools_csv(
    tmp_path: Path, old: str, new: str, line: int, key: str | None, words: str, mend: str | None
) -> None:
    found = [f for f in faults(write(tmp_path, tools=TOOLS.replace(old, new, 1))) if f.file == "tools.csv"]
    assert [(f.line, f.key) for f in found][:1] == [(line, key)]
    assert words in found[0].message
    assert mend is None or mend in (found[0].mend or "")


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "words", "mend"),
    [
        ("wrench-a", "wrench-c", 2, "tool", 'tool "wrench-c" is not known', "did you mean"),
        (",near,", ",ner,", 2, "setup", 'setup "ner" is not known', 'did you mean "near"?'),
        (",held,", ",hold,", 2, "protocol", 'protocol "hold" is not known', 'did you mean "held"?'),
        (",near,", ",,", 2, "setup", "the setup is missing", None),
        ("held,,", "held,yes,", 2, "reason", "an excluded run needs a reason", "socket slip"),
        ("held,,", "held,perhaps,because", 2, "exclude", '"perhaps" is not known here', 'write "yes"'),
        ("recordings/r1.csv", "../r1.csv", 2, "file", "leads out of the season folder", None),
        ("recordings/r1.csv", "recordings\\..\\..\\r1.csv", 2, "file", "leads out of the season folder", None),
        ("recordings/r1.csv", "/data/r1.csv", 2, "file", "is an absolute path", None),
        ("recordings/r1.csv", "C:\\data\\r1.csv", 2, "file", "is an absolute path", None),
        ("recordings/r1.csv", "", 2, "file", "the file is missing", None),
        ("setup,", "setpu,", 1, "setup", 'the column "setup" is needed', 'is "setpu" meant?'),
        ("reason\n", "started\n", None, None, "", None),
    ],
)
def test_a_fault_of_runs_csv(
    tmp_path: Path, old: str, new: str, line: int | None, key: str | None, words: str, mend: str | None
) -> None:
    folder = write(tmp_path, runs=RUNS.replace(old, new, 1))
    if line is None:
        assert read_settings(folder).runs[0].started is None
        return
    found = faults(folder)
    assert [(f.file, f.line, f.key) for f in found] == [("runs.csv", line, key)]
    assert words in found[0].message
    assert mend is None or mend in (found[0].mend or "")


@pytest.mark.parametrize(
    ("row", "key", "words"),
    [
        ("recordings/r1.csv,wrench-a,far,held,,", "file", "stands already on line 2"),
        ("recordings\\r1.csv,wrench-a,far,held,,", "file", "stands already on line 2"),
        ("recordings/far/R1.csv,wrench-a,far,held,,", "run", 'run "R1" stands already on line 2'),
    ],
)
def test_a_second_row_of_the_same_run(tmp_path: Path, row: str, key: str, words: str) -> None:
    (fault,) = faults(write(tmp_path, runs=RUNS + row + "\n"))
    assert (fault.file, fault.line, fault.key) == ("runs.csv", 3, key)
    assert words in fault.message


@pytest.mark.parametrize(
    ("column", "cell", "words"),
    [
        ("started", "31.5.2026", "is no ISO 8601 time"),
        ("order", "first", "is not a number"),
        ("charge", "120 %", "must lie in 0 to 100 %"),
        ("ambient_temperature", "21", "names no unit"),
        ("ambient_temperature", "-500 degC", "lies below absolute zero"),
        ("run", "a--b", '"--" parts'),
        ("logger", "rag", 'logger "rag" is not known'),
    ],
)
def test_a_faulty_cell_of_runs_csv(tmp_path: Path, column: str, cell: str, words: str) -> None:
    runs = f"file,tool,setup,protocol,{column}\nr1.csv,wrench-a,near,held,{cell}\n"
    (fault,) = faults(write(tmp_path, runs=runs))
    assert fault.key == column
    assert words in fault.message


def test_the_logger_must_be_named_where_there_are_two(tmp_path: Path) -> None:
    (fault,) = faults(write(tmp_path, bench=BENCH + "[loggers.other]\n"))
    assert (fault.file, fault.line, fault.key) == ("runs.csv", 2, "logger")
    assert "known: rig, other" in (fault.mend or "")


def test_every_fault_of_every_file_at_once(tmp_path: Path) -> None:
    bench = BENCH.replace('"5 s"', '"5"').replace('["near", "far"]', '["near", "fahr"]').replace("k = 2", "k = 0")
    found = faults(write(tmp_path, bench, TOOLS.replace("2.9", "x"), RUNS.replace(",near,", ",ner,")))
    assert [(f.file, f.key) for f in found] == [
        ("bench.toml", "sensors.cell.scale.k"),
        ("bench.toml", "protocols.held.duration"),
        ("bench.toml", "episodes.far-end.setups[2]"),
        ("tools.csv", "mass"),
        ("runs.csv", "setup"),
    ]


def test_a_faulty_table_is_still_known_to_those_who_name_it(tmp_path: Path) -> None:
    found = faults(write(tmp_path, bench=BENCH.replace("[setups.near]", "[setups.near]\nnonsense = 1")))
    assert [f.key for f in found] == ["setups.near.nonsense"]


def test_tools_csv_that_cannot_be_read_is_one_fault(tmp_path: Path) -> None:
    assert [(f.file, f.message) for f in faults(write(tmp_path, tools=""))] == [("tools.csv", "holds no header")]


def test_a_control_character_in_tools_csv_is_told_with_its_line(tmp_path: Path) -> None:
    folder = write(tmp_path, tools="tool,name\nwrench-a,First\nwrench-b,\x1b[31mred\n")
    (found,) = faults(folder)
    assert (found.file, found.line) == ("tools.csv", 3)
    assert "the control character U+001B" in found.message


def test_an_error_reads_as_one_to_three_lines(tmp_path: Path) -> None:
    with pytest.raises(SettingsError) as caught:
        read_settings(write(tmp_path, bench=BENCH.replace("marks", "mark")))
    assert str(caught.value) == 'bench.toml:11: protocols.held.mark: unknown key "mark"\n  did you mean "marks"?'
