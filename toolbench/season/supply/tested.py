"""What was measured of one tool on each setup of a season, from runs of one kind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from toolbench.errors import AnalysisError
from toolbench.metrology import mean_and_sd
from toolbench.records.comparison import Estimate
from toolbench.records.runs import Run
from toolbench.records.settings import Protocol, SeasonSettings
from toolbench.records.supply import Drive
from toolbench.season.epochs import Epochs, find_epochs
from toolbench.season.opening import Season
from toolbench.season.reducing import reduce_runs
from toolbench.season.supply.explaining import CHANNELS
from toolbench.season.supply.learning import Kind, Learned, kind_of
from toolbench.season.supply.measured import measure_cells, shown
from toolbench.season.supply.study import TestedSetup


def kind_on(season: Season, tool: str, setup: str) -> Kind | None:
    """The kind of the first usable run of a tool on a setup; None where there is none."""
    for protocol in season.settings.protocols.values():
        for entry in season.entries(tool, setup, protocol.id):
            if entry.excluded:
                continue
            try:
                return kind_of(reduce_runs(season.settings, protocol, [entry]).runs[0], protocol)
            except AnalysisError:
                continue  # `check` says what is wrong with it
    return None


def window_of(protocol: Protocol, run: Run) -> tuple[float, float]:
    """From and to [s] of the sustained mean: stated, else the last fifth of the run."""
    end = float(run.grid_s[-1])
    return protocol.window_s or (0.8 * end, end)


def tested_setups(
    settings: SeasonSettings, learned: Learned, drive: Drive, confidence: float
) -> dict[str, TestedSetup]:
    """Every setup that the tool has runs on, in the order of bench.toml.

    Of several epochs of the rig the last counts, since a mean over a change of the rig is of neither; of several protocols on
    one setup the one is taken that holds nothing, records the drive, was run last, and has most runs.
    """
    epochs = find_epochs(settings)
    found: dict[str, list[tuple[int, TestedSetup]]] = {}
    for protocol in settings.protocols.values():
        cells: dict[str, list[Run]] = {}
        for one in learned.runs:
            if one.run.entry.protocol == protocol.id:
                cells.setdefault(one.run.entry.setup, []).append(one.run)
        latest = {setup: _latest(epochs, runs) for setup, runs in cells.items()}
        cells = {setup: runs for setup, (runs, _, _) in latest.items()}
        for tested in _of_protocol(settings, protocol, cells, drive, confidence) if cells else ():
            _, place, words = latest[tested.setup]
            found.setdefault(tested.setup, []).append((place, replace(tested, epoch=words)))
    return {setup: max(found[setup], key=_worth)[1] for setup in settings.setups if setup in found}


def _latest(epochs: Epochs, runs: Sequence[Run]) -> tuple[list[Run], int, str]:
    """The runs of the last epoch of the rig among them, its number, and when it was; no word where they lie in one."""
    places = [epochs.of(run.entry) for run in runs]
    known = {place for place in places if place is not None}
    if len(known) < 2:
        return list(runs), max(known, default=0), ""
    last = max(known)
    return [run for run, place in zip(runs, places, strict=True) if place == last], last, epochs.words(last)


def _worth(found: tuple[int, TestedSetup]) -> tuple[bool, bool, int, int]:
    epoch, one = found
    return not one.held, one.drive is not None, epoch, len(one.runs)


def _of_protocol(
    settings: SeasonSettings, protocol: Protocol, cells: Mapping[str, Sequence[Run]], drive: Drive, confidence: float
) -> list[TestedSetup]:
    window = window_of(protocol, next(iter(cells.values()))[0])
    channel, taken, _ = CHANNELS[drive]
    response = protocol.response[0]

    def measured(name: str, metric: str = "flowing_pressure") -> dict[str, Estimate]:
        return measure_cells(settings, cells, name, window, metric=metric)

    drives, flows, levels = measured(channel), measured(taken), measured(response, "sustained")
    return [
        TestedSetup(
            setup=setup,
            label=settings.setups[setup].label,
            protocol=protocol.id,
            runs=tuple(run.id for run in runs),
            held=protocol.hold is not None,
            drive=shown(drives[setup], confidence) if setup in drives else None,
            taken=shown(flows[setup], confidence) if setup in flows else None,
            response=shown(levels[setup], confidence) if setup in levels else None,
            rest=_rest(runs, drive),
            ends_s=float(runs[0].grid_s[-1]),
        )
        for setup, runs in cells.items()
    ]


def _rest(runs: Sequence[Run], drive: Drive) -> float | None:
    """Mean of the drive at rest over the runs; None where one run does not say."""
    conditions = [run.conditions for run in runs]
    values = [c.rest_pressure if drive == "inlet_pressure" else c.voltage_rest for c in conditions]
    known = [value for value in values if value is not None]
    return mean_and_sd(known)[0] if len(known) == len(runs) else None
