import re
from datetime import date, datetime
from pathlib import Path

import pytest
from season_folder import BENCH, RUNS, TOOLS, write

from toolbench.errors import OutputError
from toolbench.files import digest
from toolbench.records.settings import (
    Arm,
    Channel,
    DialectOverrides,
    Hold,
    Logger,
    RunEntry,
    TimeColumn,
    Tool,
)
from toolbench.settings import bench_schema, commented_bench, read_settings, write_season, write_starter

SMALLEST = """\
[loggers.rig]
time = "t [ms]"
channels.torque = "Torque [N*m]"

[protocols.held]

[setups.near]
[setups.far]

[[episodes]]
id = "far-end"
tools = ["wrench-a"]
setups = ["near", "far"]         # the first is the baseline
protocols = ["held"]
"""


def test_the_smallest_bench_toml_works(tmp_path: Path) -> None:
    season = read_settings(write(tmp_path, SMALLEST, tools=None, runs=None))
    assert season.loggers["rig"].time == TimeColumn(column="t [ms]")
    assert season.loggers["rig"].channels["torque"] == Channel(name="torque", column="Torque [N*m]")
    assert season.protocols["held"].label == "Held"
    assert season.protocols["held"].response == ("torque",)
    assert season.protocols["held"].confidence == 0.95
    assert [setup.label for setup in season.setups.values()] == ["near", "far"]
    assert season.episodes["far-end"].title == "far-end"
    assert season.tools == {"wrench-a": Tool(id="wrench-a", name="wrench-a")}
    assert season.runs == ()
    assert season.lines["episodes.far-end.setups"] == 13
    assert season.digests == {"bench.toml": digest(tmp_path / "bench.toml")}


def test_a_setup_has_a_price_that_is_no_difference_between_setups(tmp_path: Path) -> None:
    bench = SMALLEST.replace("[setups.near]", '[setups.near]\nprice = "89.50 eur"')
    near = read_settings(write(tmp_path, bench, tools=None, runs=None)).setups["near"]
    assert (near.price, near.price_currency) == (89.5, "EUR")
    assert near.facts == {}


def test_quantities_are_si(tmp_path: Path) -> None:
    bench = BENCH.replace("[protocols.held]\n", """[protocols.held]
reach = ["300 ft*lbf"]
hold = { channel = "inlet_pressure", at = "90 psi", within = "3 %" }
rest = { channel = "inlet_pressure", at = "7 bar abs", within = "0.1 bar" }
""").replace("[setups.near]\n", """[setups.near]
regulator = { set = "7 bar abs", droop = "0.02 bar/(L/s)" }
line = [{ part = "hose", bore = "1/2 in", length = "40 ft" },
  { part = "coupler", sonic_conductance = "4.5 L/(s*bar)", critical_pressure_ratio = "30 %" }]
""").replace("[loggers.rig]\n", '[bench]\nambient_pressure = "950 hPa"\n[loggers.rig]\n')  # fmt: skip
    season = read_settings(write(tmp_path, bench))
    held = season.protocols["held"]
    # by hand: 300 * 1.3558179483, 90 * 6894.757293, 7e5 - 9.5e4 (the room's own pressure), 40 * 0.3048
    assert held.reach == pytest.approx((406.745384,))
    assert held.hold == Hold(channel="inlet_pressure", at=pytest.approx(620528.156), within=pytest.approx(18615.845))
    assert held.rest == Hold(channel="inlet_pressure", at=pytest.approx(605000), within=pytest.approx(10000))
    assert season.ambient_pressure_pa_abs == 95000
    near = season.setups["near"]
    assert near.supply == "air"
    assert near.facts["regulator.set"] == (pytest.approx(605000), "Pa")
    assert near.facts["line.1.bore"] == (pytest.approx(0.0127), "m")
    assert near.facts["line.1.length"] == (pytest.approx(12.192), "m")
    assert near.facts["line.2.sonic_conductance"] == (pytest.approx(4.5e-8), "m3/(s*Pa)")
    assert near.facts["line.2.part"] == ("coupler", "")
    assert near.line[1].critical_pressure_ratio == 0.3


def test_expanded_uncertainties_become_standard_ones(tmp_path: Path) -> None:
    bench = BENCH.replace('scale = { expanded = "0.6 %", k = 2 }', """\
scale = { expanded = "0.6 %", k = 2 }
zero = { expanded = "1 N*m", k = 2.5, per = "season" }
linearity = { limit = "0.2 %" }
resolution = "0.1 N*m"
calibrated = 2025-11-18
[[sensors.cell.certificates]]
from = 2026-06-01
scale = { expanded = "0.4 %", k = 2 }""")  # fmt: skip
    sensor = read_settings(write(tmp_path, bench)).sensors["cell"]
    assert sensor.quantity == "torque"
    assert sensor.range == (0.0, 2000.0)
    first, second = sensor.certificates
    assert (first.scale, first.zero, first.zero_per) == (pytest.approx(0.003), pytest.approx(0.4), "season")
    assert (first.linearity_limit, first.resolution, first.calibrated) == (0.002, 0.1, date(2025, 11, 18))
    assert (second.id, second.valid_from) == ("cell@2026-06-01", date(2026, 6, 1))
    assert (second.scale, second.zero, second.calibrated) == (pytest.approx(0.002), pytest.approx(0.4), None)


@pytest.mark.parametrize(
    "data",
    [
        b"tool;mass [kg];note\nwrench-a;3,2;sch\xc3\xb6n\n",
        b"\xef\xbb\xbftool;mass [kg];note\r\nwrench-a;3,2;sch\xc3\xb6n\r\n",
        b"tool;mass [kg];note\nwrench-a;3,2;sch\xf6n\n",
        b"tool\tmass [g]\tnote\nwrench-a\t3200\tsch\xf6n\n",
        b'tool,mass [kg],note\nwrench-a,"3,2",sch\xc3\xb6n\n',
        b"sep=;\r\ntool;mass [kg];note\r\nwrench-a;3.2;sch\xf6n\r\n",
        "tool\tmass [kg]\tnote\r\nwrench-a\t3,2\tschön\r\n".encode("utf-16"),
        b"Tool , Mass (kg) ,Note\n wrench-a , 3.2 , sch\xc3\xb6n \n\n,,\n",
        b"tool,mass,note\nwrench-a,3.2 kg,sch\xc3\xb6n\n",
    ],
    ids=["semicolon", "bom-crlf", "cp1252", "tab", "quoted-comma", "sep", "utf-16", "spaces", "unit-in-cell"],
)
def test_csv_files_as_spreadsheets_write_them(tmp_path: Path, data: bytes) -> None:
    tool = read_settings(write(tmp_path, tools=data)).tools["wrench-a"]
    assert tool.mass_kg == pytest.approx(3.2, rel=1e-15)
    assert tool.note == "schön"


def test_a_number_that_can_be_read_in_two_ways_is_refused(tmp_path: Path) -> None:
    from toolbench.errors import SettingsError

    with pytest.raises(SettingsError, match="can be read in two ways"):
        read_settings(write(tmp_path, tools='tool,mass [g]\nwrench-a,"3,200"\n'))


def test_lines_count_on_after_a_cell_of_two_lines(tmp_path: Path) -> None:
    runs = 'file,tool,setup,protocol,note\na.csv,wrench-a,near,held,"two\nlines"\n\nb.csv,wrench-a,far,held,\n'
    assert [run.line for run in read_settings(write(tmp_path, runs=runs)).runs] == [2, 5]


def test_unknown_columns_are_carried_along(tmp_path: Path) -> None:
    season = read_settings(
        write(
            tmp_path,
            tools="tool,Colour,anvil [mm]\nwrench-a,red,19\n",
            runs="file,tool,setup,protocol,sound [dB]\nr1.csv,wrench-a,near,held,98\n",
        )
    )
    assert season.tools["wrench-a"].extra == {"Colour": "red", "anvil [mm]": "19"}
    assert season.runs[0].extra == {"sound [dB]": "98"}


def test_all_columns_of_tools_csv(tmp_path: Path) -> None:
    text = (
        "tool;name;supply;drive [in];length [mm];mass [kg];price [EUR];claimed_torque [N*m];claim_kind;rated_pressure [bar];"
        "air_consumption [L/s];obtained;from;role;status\n"
        "wrench-a;Wrench A;Air;3/4;210;3,4;1.299,50;1 500;loosening;6,3;12;lent;the seller;Check standard;retired\n"
    )
    tool = read_settings(write(tmp_path, tools=text)).tools["wrench-a"]
    assert tool == Tool(
        id="wrench-a", name="Wrench A", supply="air", drive_m=0.01905, length_m=0.21, mass_kg=3.4, price=1299.5,
        price_currency="EUR", claimed_torque=1500.0, claim_kind="loosening", rated_pressure_pa=630000.0,
        air_consumption_m3_s=0.012, obtained="lent", obtained_from="the seller", role="check standard", status="retired",
    )  # fmt: skip


def test_all_columns_of_runs_csv(tmp_path: Path) -> None:
    runs = (
        "file,tool,setup,protocol,run,block,order,started,ambient_temperature [degF],charge,operator,exclude,reason,note\n"
        "recordings\\far\\r1.csv,wrench-a,far,held,A1,b1,3,2026-05-31T14:30,68,80,jo,yes,socket slip,x\n"
    )
    (run,) = read_settings(write(tmp_path, runs=runs)).runs
    assert run == RunEntry(
        run="A1", file="recordings/far/r1.csv", tool="wrench-a", setup="far", protocol="held", logger="rig", block="b1",
        order=3.0, started=datetime(2026, 5, 31, 14, 30), ambient_temperature_degc=pytest.approx(20.0), charge=0.8,
        operator="jo", excluded=True, reason="socket slip", note="x", line=2,
    )  # fmt: skip


def test_a_pattern_makes_runs(tmp_path: Path) -> None:
    for name in ("wrench-a/near/held-1.csv", "wrench-a/far/held-1.csv", "wrench-a/far/held-2.csv", "notes.txt"):
        (tmp_path / "rec" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "rec" / name).touch()
    bench = 'recordings = "rec/{tool}/{setup}/{protocol}-{run}.csv"\n' + BENCH
    runs = "file,exclude,reason\nrec/wrench-a/far/held-2.csv,yes,socket slip\n"
    season = read_settings(write(tmp_path, bench, runs=runs))
    assert [(r.run, r.tool, r.setup, r.protocol, r.excluded, r.line) for r in season.runs] == [
        ("wrench-a-far-held-2", "wrench-a", "far", "held", True, 2),
        ("wrench-a-far-held-1", "wrench-a", "far", "held", False, None),
        ("wrench-a-near-held-1", "wrench-a", "near", "held", False, None),
    ]


def test_a_pattern_parts_known_ids_at_the_right_hyphen(tmp_path: Path) -> None:
    (tmp_path / "rec").mkdir()
    (tmp_path / "rec" / "wrench-a-far-end-held-long-03.csv").touch()
    bench = 'recordings = "rec/{tool}-{setup}-{protocol}-{run}.csv"\n' + BENCH.replace(
        "[setups.near]", "[setups.far-end]\n[protocols.held-long]\n[setups.near]"
    )
    (run,) = read_settings(write(tmp_path, bench, runs=None)).runs
    assert (run.tool, run.setup, run.protocol) == ("wrench-a", "far-end", "held-long")
    assert run.run == "wrench-a-far-end-held-long-03"


def test_a_file_that_names_an_unknown_setup_is_a_fault(tmp_path: Path) -> None:
    from toolbench.errors import SettingsError

    (tmp_path / "rec" / "naer").mkdir(parents=True)
    (tmp_path / "rec" / "naer" / "1.csv").touch()
    bench = 'recordings = "rec/{setup}/{run}.csv"\n' + BENCH
    with pytest.raises(SettingsError) as caught:
        read_settings(write(tmp_path, bench, tools=None, runs=None))
    assert [(f.line, f.key, f.mend) for f in caught.value.faults] == [(1, "recordings", 'did you mean "near"?')]
    assert 'rec/naer/1.csv: setup "naer" is not known' in caught.value.faults[0].message


def test_the_log_of_the_bench(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("date,what changed\n2026-02-01,arm\n2026-01-01,cell\n")
    season = read_settings(write(tmp_path, '[bench]\nlog = "log.csv"\n' + BENCH))
    assert [(entry.date, entry.changed) for entry in season.logbook] == [
        (date(2026, 1, 1), "cell"),
        (date(2026, 2, 1), "arm"),
    ]
    assert "log.csv" in season.digests


def test_the_starter_is_a_season(tmp_path: Path) -> None:
    season = read_settings(write_starter(tmp_path / "new"))
    assert list(season.setups) == ["near", "far"]
    assert season.tools["wrench-a"].name == "Wrench A"
    with pytest.raises(OutputError):
        write_starter(tmp_path / "new")


def test_the_reference_shows_every_key_and_all_of_it_is_valid(tmp_path: Path) -> None:
    from toolbench.settings import models
    from toolbench.settings.document import known_keys

    text = re.sub(r"(?m)^#(?=[a-z\[])", "", commented_bench())
    (tmp_path / "calibration").mkdir()
    for name in ("inlet-gauge.csv", "inlet-gauge-june.csv"):
        (tmp_path / "calibration" / name).write_text("reference [bar],indication [psi]\n0,0.1\n8,116\n16,232\n")
    (tmp_path / "bench-log.csv").write_text("date,changed\n2026-01-01,cell\n")
    season = read_settings(write(tmp_path, text, runs=None))
    assert season.scorecard is not None
    by_mass = season.scorecard.criteria[1]
    assert (by_mass.unit, by_mass.worst_at, by_mass.at) == ("N*m/kg", 100.0, 2.5)
    assert (by_mass.protocol_of("air"), by_mass.protocol_of("mains")) == ("held", "")
    assert season.scorecard.criteria[0].protocol_of("mains") == "held"
    for model in vars(models).values():
        if isinstance(model, type) and issubclass(model, models.Model):
            for name, field in model.model_fields.items():
                assert re.search(rf"\b{field.alias or name}\b", commented_bench()), (model, name)
    assert "duration" in known_keys(("protocols", "any"))


def test_anchors_per_a_column_are_in_si(tmp_path: Path) -> None:
    """By hand: 1 ft*lbf/lb is 1.3558179483 / 0.45359237 N*m/kg; a price has the currency of its header."""
    card = """
[scorecard]
setups = { air = "near" }
"""
    for id, per, worst, best in (
        ("mass", "mass", "100 ft*lbf/lb", "0.2 kN*m/g"),
        ("cost", "price", "1 ft*lbf/EUR", "5 N*m/EUR"),
        ("noise", "noise", "1 N*m/dB", "9 N*m/dB"),
        ("flow", "air_consumption", "1 N*m/(L/s)", "9 N*m/(m3/s)"),
    ):
        card += f"""
[[scorecard.criteria]]
id = "{id}"
weight = "25 %"
protocol = "held"
metric = "sustained"
per = "{per}"
worst_at = "{worst}"
best_at = "{best}"
"""
    tools = "tool,mass [kg],price [EUR],noise [dB],air_consumption [L/s]\nwrench-a,3.2,100,90,8\n"
    found = read_settings(write(tmp_path, BENCH + card, tools=tools)).scorecard
    assert found is not None
    assert [one.unit for one in found.criteria] == ["N*m/kg", "N*m/EUR", "N*m/dB", "N*m/(m3/s)"]
    assert [one.worst_at for one in found.criteria] == pytest.approx([298.9067, 1.3558179, 1.0, 1000.0], rel=1e-6)
    assert [one.best_at for one in found.criteria] == pytest.approx([200_000.0, 5.0, 9.0, 9.0])


def test_an_inferred_season_reads_back(tmp_path: Path) -> None:
    loggers = {
        "rig": Logger(
            id="rig",
            time=TimeColumn(column="t", unit="ms"),
            channels={
                "torque": Channel(name="torque", column='Torque "A" [N*m]'),
                "force": Channel(
                    name="force", column="F", unit="N", arm=Arm(length_m=0.4, standard_uncertainty_m=0.0003)
                ),
            },
            dialect=DialectOverrides(delimiter="\t", decimal=",", skip_lines=(2,)),
        ),
        "fast": Logger(id="fast", time=TimeColumn(rate_hz=1000.0)),
        "slow": Logger(id="slow", time=TimeColumn(column=("Date", "Time", "ms"), zone="Europe/Berlin", spread=True)),
    }
    runs = [
        RunEntry(
            run=f"r{i}", file=f"recordings/{s}/r{i}.csv", tool="tool", setup=s, protocol="p", logger="rig", order=i
        )
        for i, s in enumerate(["short", "long"])
    ]
    write_season(
        tmp_path, loggers=loggers, setups={"short": "Short", "long": "Long hose"}, runs=runs, protocol="p", marks_s=[2, 6.5],
        title="Short and long", name="B",
    )  # fmt: skip
    season = read_settings(tmp_path)
    assert season.loggers == loggers
    assert season.setups["long"].label == "Long hose"
    assert season.protocols["p"].marks_s == (2.0, 6.5)
    assert season.episodes["comparison"].setups == ("short", "long")
    assert [(r.run, r.file, r.setup, r.order) for r in season.runs] == [
        ("r0", "recordings/short/r0.csv", "short", 0.0),
        ("r1", "recordings/long/r1.csv", "long", 1.0),
    ]
    assert "# The first setup is the baseline." in (tmp_path / "bench.toml").read_text()
    with pytest.raises(OutputError):
        write_season(tmp_path, loggers=loggers, setups=["short"], runs=runs)
    write_season(tmp_path, loggers=loggers, setups=["short", "long"], runs=runs, protocol="p", overwrite=True)
    assert read_settings(tmp_path).setups["long"].label == "long"


def test_the_same_season_under_crlf(tmp_path: Path) -> None:
    plain = read_settings(write(tmp_path))
    (tmp_path / "other").mkdir()
    other = read_settings(write(tmp_path / "other", *(t.replace("\n", "\r\n") for t in (BENCH, TOOLS, RUNS))))
    assert (plain.lines, plain.runs, plain.tools) == (other.lines, other.runs, other.tools)


def test_the_schema_knows_the_short_forms_and_the_units() -> None:
    schema = bench_schema()
    assert schema["additionalProperties"] is False
    protocol, channel = schema["$defs"]["ProtocolModel"], schema["$defs"]["LoggerModel"]["properties"]["channels"]
    assert {"type": "string"} in protocol["properties"]["duration"]["anyOf"]
    assert {"type": "string"} in channel["additionalProperties"]["anyOf"]
    assert "from" in schema["$defs"]["CertificateModel"]["required"]


@pytest.mark.parametrize(
    ("written", "on", "blow_s"), [("true", True, None), ('"130 ms"', True, 0.065), ('"off"', False, None)]
)
def test_the_envelope(tmp_path: Path, written: str, on: bool, blow_s: float | None) -> None:
    # constructed: a stated span is two periods of the blows
    bench = BENCH.replace("[protocols.held]\n", f"[protocols.held]\nenvelope = {written}\n")
    held = read_settings(write(tmp_path, bench)).protocols["held"]
    assert (held.envelope, held.blow_s) == (on, blow_s)
