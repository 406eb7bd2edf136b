"""How much memory a comparison keeps per recording, for 300 recordings of 150,000 rows.

Run from the checkout: `python tests/benchmarks/memory.py [RUNS [ROWS]]`. Two comparisons, of a fifth of the recordings and of all, each
in a process of its own; the difference over the recordings added is what one costs. Both fill the fixed budget for raw samples, so
that does not count. Few files are written; the other recordings are hard links to them, so that the disk holds them. The base is
what one recording takes as the table that `pandas.read_csv` gives.

`python tests/benchmarks/memory.py --large [MEGABYTES]` makes recordings of that size (2,000), reduces one by itself and then all three
setups of one report, each time in a process of its own, and prints the highest resident memory of the whole process.
"""

from __future__ import annotations

import gc
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import tracemalloc
from pathlib import Path

import pandas as pd
from made_season import SETUPS, write_large, write_season
from turns import CHECKOUT, environment

sys.path.insert(0, str(CHECKOUT))

ASKED_MB = 0.2
DISTINCT = 4


def resident_mb() -> float:
    """Memory of this process now [MB], as the system counts it (Linux)."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def measure(folder: Path, traced: bool) -> dict[str, float]:
    """Compare a season's runs and say what that left and what it took at most [MB]."""
    import toolbench as tb

    season = tb.open_season(folder)
    if traced:
        tracemalloc.start()
    comparison = tb.compare(season, episode="hose", tool="wrench", protocol="held")
    gc.collect()
    result = {
        "kept": resident_mb(),
        "peak": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000,
        "allocated": tracemalloc.get_traced_memory()[0] / 1e6,
        "runs": len(comparison.record.runs),
    }
    return {name: float(value) for name, value in result.items()}


def in_own_process(folder: Path, *, traced: bool) -> dict[str, float]:
    said = subprocess.run(
        [sys.executable, __file__, "--measure", str(folder), "traced" if traced else ""],
        env=environment(),
        check=True,
        capture_output=True,
        text=True,
    )
    found: dict[str, float] = json.loads(said.stdout.splitlines()[-1])
    return found


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    rows = int(sys.argv[2]) if len(sys.argv) > 2 else 150_000
    each = count // len(SETUPS)
    with tempfile.TemporaryDirectory() as folder:
        few = write_season(Path(folder) / "few", runs=each // 5, rows=rows, distinct=DISTINCT)
        many = write_season(Path(folder) / "many", runs=each, rows=rows, distinct=DISTINCT)
        table = pd.read_csv(next(many.rglob("*.csv"))).memory_usage(index=False).sum() / 1e6
        small, large = in_own_process(few, traced=False), in_own_process(many, traced=False)
        small_traced, large_traced = in_own_process(few, traced=True), in_own_process(many, traced=True)
    added = large["runs"] - small["runs"]
    print(
        f"{small['runs']:.0f} and {large['runs']:.0f} recordings of {rows} rows; one as a table of pandas: {table:.2f} MB"
    )
    figures = {
        "resident afterwards": large["kept"] - small["kept"],
        "highest resident": large["peak"] - small["peak"],
        "allocated by Python and numpy": large_traced["allocated"] - small_traced["allocated"],
    }
    for name, grown in figures.items():
        print(
            f"{name:32}{grown / added:7.3f} MB per recording added, {grown / added / table:.3f} of the table   (asked: at most {ASKED_MB} MB)"
        )


ASKED_LARGE_MB = 600


def reduce_large(folder: Path, count: int) -> dict[str, float]:
    """Reduce the first recordings of a season and say what it took at most [MB], how long [s], and what became of the samples."""
    from toolbench.season import open_season
    from toolbench.season.reducing import reduce_runs

    settings = open_season(folder).settings
    begin = time.perf_counter()
    reduced = reduce_runs(settings, settings.protocols["held"], settings.runs[:count])
    return {
        "peak": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000,
        "seconds": time.perf_counter() - begin,
        "runs": len(reduced.runs),
        "interval": reduced.runs[0].sample_interval_s,
    }


def large(megabytes: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        season = write_large(Path(folder) / "season", megabytes)
        size = next(season.rglob("*.csv")).stat().st_size / 1e6
        for count in (1, len(SETUPS)):
            said = subprocess.run(
                [sys.executable, __file__, "--reduce-large", str(season), str(count)],
                env=environment(), check=True, capture_output=True, text=True,
            )  # fmt: skip
            found = json.loads(said.stdout.splitlines()[-1])
            print(
                f"{found['runs']:.0f} recordings of {size:.0f} MB reduced: {found['peak']:.0f} MB at the highest "
                f"(asked of one: at most {ASKED_LARGE_MB} MB), {found['seconds']:.0f} s, averages of {1000 * found['interval']:.3g} ms"
            )


if __name__ == "__main__":
    if "--reduce-large" in sys.argv:
        print(json.dumps(reduce_large(Path(sys.argv[2]), int(sys.argv[3]))))
    elif "--large" in sys.argv:
        large(int(sys.argv[2]) if len(sys.argv) > 2 else 2000)
    elif "--measure" in sys.argv:
        print(json.dumps(measure(Path(sys.argv[2]), sys.argv[3] == "traced")))
    else:
        main()
