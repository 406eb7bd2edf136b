"""The demo season passes the door it is written for, and every logger's dialect is read back to what was drawn."""

import json

import numpy as np
import pytest
from season_draw import record
from season_plan import plan_runs

from toolbench.logs import read_log
from toolbench.quantities.units import unit_factor
from toolbench.settings import read_settings

TORQUE_COLUMN = "Torque"
PLAN = {run.run: run for run in plan_runs()}


@pytest.fixture(scope="module")
def settings(demo):
    return read_settings(demo)


def test_the_season_is_accepted_with_all_its_runs(settings):
    assert {entry.run for entry in settings.runs} == set(PLAN)
    assert list(settings.loggers) == ["wall", "tablet", "cart", "tank", "desk", "pack", "lead"]


def test_exclusions_arrive_with_their_reasons(settings):
    got = {entry.run: entry.reason for entry in settings.runs if entry.excluded}
    assert sorted(got.values()) == ["clipped", "socket slip", "trigger released", "zero shift"]


def test_a_block_is_one_charge_of_all_packs(settings):
    charges = {}
    for entry in settings.runs:
        if entry.protocol == "battery":
            assert 0.9 < (entry.charge or 0) < 1
            charges.setdefault(entry.block, []).append(entry.setup)
    assert [len(setups) for setups in charges.values()] == [3, 3, 3, 4]


@pytest.mark.parametrize("run", sorted({run.logger: run.run for run in PLAN.values() if not run.flaw}.values()))
def test_a_recording_of_every_logger_reads_back_as_drawn(settings, demo, run):
    """Constructed: the drawn torque is printed to 0.1 N·m, so half of that may be lost, and the time base is the drawn one."""
    entry = next(entry for entry in settings.runs if entry.run == run)
    logger = settings.loggers[entry.logger]
    log = read_log(demo / entry.file, logger=logger)
    drawn = record(PLAN[run])
    np.testing.assert_allclose(log.data.index.to_numpy(), drawn.time_s, atol=1e-6)
    channel = logger.channels["torque"]
    factor = unit_factor(channel.unit or log.units[TORQUE_COLUMN]).scale
    torque = log.data[TORQUE_COLUMN].to_numpy() * factor
    np.testing.assert_allclose(torque, drawn.channels["torque"], atol=0.0501)


def test_every_recording_can_be_read_and_none_is_wrong(settings, demo):
    worst = set()
    for entry in settings.runs:
        log = read_log(demo / entry.file, logger=settings.loggers[entry.logger])
        worst |= {(entry.run, finding.code) for finding in log.findings if finding.severity != "note"}
    assert worst == set()


def test_truth_names_paths_as_the_contract_does(demo):
    reports = json.loads((demo / "truth.json").read_text("utf-8"))["reports"]
    assert {"far-end/tool-quernel-1--held", "far-end/setup-far--static", "best-on-worst/pairs--static"} <= {
        r["path"] for r in reports
    }
