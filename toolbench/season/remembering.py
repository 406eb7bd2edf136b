"""Reduced recordings kept by content, so that a recording is read once for all reports, checks and days.

Two things are kept of a recording, since a report needs them at two moments: where it starts, before the common time base is
known, and the reduced run on that time base. Each is kept under the digest of the recording and of everything else its numbers
rest on, this program included, and without names: the same bytes may be another run of another season.
"""

from __future__ import annotations

import hashlib
import platform
import time
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import scipy

from toolbench.files import digest, digest_bytes
from toolbench.logs.kept.container import Kept
from toolbench.logs.kept.known import Known, find_digest
from toolbench.logs.kept.store import Store, open_store
from toolbench.logs.kinds import is_read_by_others
from toolbench.records.findings import Finding
from toolbench.records.runs import Conditions, Floats, Metric, Onset, Run, Trace
from toolbench.records.settings import Logger, Protocol, RunEntry, SeasonSettings
from toolbench.season.calibrating import correction_for

ROOMS = ("logs", "signal", "metrology", "season", "records", "quantities")
"""Rooms whose code stands between the bytes of a recording and the reduced run."""

READERS = ("pyarrow", "npTDMS", "asammdf", "pint", "tzdata")
"""Libraries that may read a recording, convert its units or place its times, and that are not imported to ask for their version; numpy, pandas and scipy count too."""

_LOADED_NS = time.time_ns()
_PACKAGE = Path(__file__).resolve().parents[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """Where a recording starts, how long it can be judged from there on [s], and its mean sample interval [s]."""

    onset: Onset
    available_s: float
    interval_s: float


def program() -> str | None:
    """Digest of all that this program works a reduced run out with; None: not to be told, so nothing is kept.

    That is so when a source file was written after it was loaded: what runs is then not what the file says.
    """
    return _program(_LOADED_NS)


@lru_cache(maxsize=1)
def _program(loaded_ns: int) -> str | None:
    sources = sorted(path for room in ROOMS for path in (_PACKAGE / room).rglob("*.py"))
    try:
        if any(path.stat().st_mtime_ns > loaded_ns for path in sources):
            return None
        code = [(path.relative_to(_PACKAGE).as_posix(), digest(path)) for path in sources]
    except OSError:
        return None
    # Sums are taken in the order that the processor's vector instructions give: a home shared by two machines keeps them apart.
    vectors = np.show_config(mode="dicts").get("SIMD Extensions")  # type: ignore[func-returns-value,unused-ignore,union-attr]
    machine = (platform.machine(), platform.python_implementation(), platform.python_version(), vectors)
    libraries = (np.__version__, pd.__version__, scipy.__version__, [_version(name) for name in READERS])
    return digest_bytes(repr((code, libraries, machine)).encode("utf-8"))


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return ""


@dataclass(frozen=True, slots=True)
class Memory:
    """What is kept of the recordings of one protocol. Every lookup may give None, and keeping may do nothing."""

    store: Store
    settings: SeasonSettings
    protocol: Protocol
    program: str

    def find(self, entry: RunEntry) -> Known | None:
        """The recording's digest as the file is now; None where what it gives cannot be told by its bytes."""
        path = self.settings.folder / entry.file
        return None if is_read_by_others(path) else find_digest(path, self.store)

    def begun(self, known: Known, entry: RunEntry) -> Begun | None:
        """Where the recording starts."""
        kept = self.store.get("start", self._key(known, entry))
        if kept is None:
            return None
        facts = kept.facts
        return Begun(onset=Onset(**facts["onset"]), available_s=facts["available_s"], interval_s=facts["interval_s"])

    def keep_begun(self, known: Known, entry: RunEntry, begun: Begun) -> None:
        """Keep where the recording starts."""
        if known.is_settled:
            self.store.put("start", self._key(known, entry), Kept(asdict(begun)))

    def run(self, known: Known, entry: RunEntry, timing: Sequence[Any], edges: Floats) -> Run | None:
        """The reduced run on a time base, under the names of `entry`."""
        kept = self.store.get("run", self._key(known, entry, timing, edges))
        return None if kept is None else _restored(kept, entry, known.digest, self.settings.loggers[entry.logger])

    def keep_run(self, known: Known, run: Run, timing: Sequence[Any], edges: Floats) -> None:
        """Keep a reduced run, unless what was noticed of it names things that another season names otherwise."""
        findings = [_nameless(finding, run.entry) for finding in run.findings]
        if known.is_settled and None not in findings and run.digest == known.digest:
            self.store.put("run", self._key(known, run.entry, timing, edges), _stripped(run, findings))

    def _key(self, known: Known, entry: RunEntry, timing: Sequence[Any] = (), edges: Floats | None = None) -> str:
        settings, logger = self.settings, self.settings.loggers[entry.logger]
        sensors = dict.fromkeys(channel.sensor for channel in logger.channels.values() if channel.sensor)
        said = (
            known.digest,
            Path(entry.file).suffix.casefold(),  # it may say who reads the file
            logger,
            self.protocol,
            settings.protocols[entry.protocol].response,
            [(sensor, settings.sensors[sensor].range, correction_for(settings, sensor, entry)) for sensor in sensors],
            timing,
            b"" if edges is None else hashlib.sha256(edges.tobytes()).digest(),
        )
        return digest_bytes(f"{self.program} {said!r}".encode("utf-8", errors="backslashreplace"))


def open_memory(settings: SeasonSettings, protocol: Protocol) -> Memory | None:
    """What is kept for a protocol's recordings; None where nothing is to be kept."""
    store = open_store()
    version = program() if store is not None else None
    return None if store is None or version is None else Memory(store, settings, protocol, version)


def _nameless(finding: Finding, entry: RunEntry) -> dict[str, Any] | None:
    """A finding on this run alone, without its names; None where they cannot be parted from it."""
    text = f"{finding.message}\n{finding.mend}"
    if finding.subjects != (entry.run,) or finding.file != entry.file or Path(entry.file).name in text:
        return None
    said = asdict(finding)
    del said["subjects"], said["file"]
    return said


def _stripped(run: Run, findings: Sequence[Mapping[str, Any] | None]) -> Kept:
    arrays = [run.grid_s]
    traces = []
    for trace in run.traces.values():
        parts = [part for part in (trace.mean, trace.low, trace.high) if part is not None]
        if len(parts) == 2:
            raise ValueError("a trace with one of lowest and highest cannot be kept")
        arrays += parts
        traces.append((trace.channel, trace.unit, len(parts)))
    facts = {
        "onset": asdict(run.onset),
        "sample_interval_s": run.sample_interval_s,
        "available_s": run.available_s,
        "traces": traces,
        "metrics": [asdict(metric) for metric in run.metrics],
        "conditions": asdict(run.conditions),
        "sensors": dict(run.sensors),
        "findings": findings,
    }
    return Kept(facts, arrays)


def _restored(kept: Kept, entry: RunEntry, sha256: str, logger: Logger) -> Run:
    facts, arrays = kept.facts, iter(kept.arrays)
    grid = next(arrays)
    traces = {}
    for channel, unit, count in facts["traces"]:
        mean, low, high = (next(arrays) if number < count else None for number in range(3))
        assert mean is not None
        traces[channel] = Trace(channel=channel, unit=unit, mean=mean, low=low, high=high)
    nameless = (Finding(**said) for said in facts["findings"])
    return Run(
        entry=entry,
        digest=sha256,
        onset=Onset(**facts["onset"]),
        sample_interval_s=facts["sample_interval_s"],
        available_s=facts["available_s"],
        grid_s=grid,
        traces=traces,
        metrics=tuple(Metric(**row) for row in facts["metrics"]),
        conditions=Conditions(**facts["conditions"]),
        sensors=facts["sensors"],
        rig=logger.rig,
        filter=logger.filter,
        findings=tuple(replace(finding, subjects=(entry.run,), file=entry.file) for finding in nameless),
    )
