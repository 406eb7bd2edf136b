"""From raw samples to one run's numbers: onset, common grid, metrics, supply conditions, health. Pure: numpy only."""

from toolbench.signal.alike import like_run_findings
from toolbench.signal.conditions import find_conditions, supply_metrics
from toolbench.signal.ending import find_end
from toolbench.signal.envelope import find_blow_period, upper_envelope
from toolbench.signal.grid import bucket_centres, make_grid
from toolbench.signal.health import run_findings
from toolbench.signal.metrics import measure
from toolbench.signal.onset import find_onset
from toolbench.signal.reduction import find_start, reduce

__all__ = [
    "bucket_centres",
    "find_blow_period",
    "find_conditions",
    "find_end",
    "find_onset",
    "find_start",
    "like_run_findings",
    "make_grid",
    "measure",
    "reduce",
    "run_findings",
    "supply_metrics",
    "upper_envelope",
]
