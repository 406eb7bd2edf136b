"""How much faster a recording is had the second time: load and reduction of one recording, answered from the cache.

Run from the checkout: `python tests/benchmarks/second_reading.py [TURNS]`. Recordings of 750,000 and of 150,000 rows of five numbers
are read and reduced by `reduce_runs` in one process, turn by turn: cold is without a cache, first is with an empty one (it is filled
on the way), second is with a filled one. The medians are compared. `new process` counts the second reading as the first thing a
process does, after its imports: the program's own code is then hashed once, to know that it is the same.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from made_season import write_season
from turns import CHECKOUT, environment

sys.path.insert(0, str(CHECKOUT))

from toolbench.logs.kept import known
from toolbench.records.settings import SeasonSettings
from toolbench.season import open_season
from toolbench.season.reducing import reduce_runs

ASKED = {750_000: 10.0, 150_000: 20.0}
TURNS = 9
RATE_HZ = 50_000.0


def reduced_in(settings: SeasonSettings, cache: Path | None) -> float:
    """Seconds that one recording takes, with its cache in that folder."""
    os.environ["TOOLBENCH_CACHE"] = "off" if cache is None else str(cache)
    begin = time.perf_counter()
    reduced = reduce_runs(settings, settings.protocols["held"], settings.runs[:1])
    taken = time.perf_counter() - begin
    assert len(reduced.runs) == 1
    return taken


def in_new_process(folder: Path, cache: Path) -> float:
    said = subprocess.run(
        [sys.executable, __file__, "--once", str(folder)],
        env={**environment(), "TOOLBENCH_CACHE": str(cache)},
        check=True,
        capture_output=True,
        text=True,
    )
    return float(said.stdout.splitlines()[-1])


def take_turns(season: Path, folder: Path, turns: int) -> dict[str, list[float]]:
    """Seconds of every turn, by what was timed; every second turn goes backwards."""
    settings = open_season(season).settings
    empty, filled = folder / "empty", folder / "filled"
    reduced_in(settings, filled)
    calls = {
        "cold": lambda: reduced_in(settings, None),
        "first": lambda: reduced_in(settings, empty),
        "second": lambda: reduced_in(settings, filled),
        "new process": lambda: in_new_process(season, filled),
    }
    taken: dict[str, list[float]] = {name: [] for name in calls}
    for turn in range(turns):
        shutil.rmtree(empty, ignore_errors=True)
        for name in list(calls)[:: -1 if turn % 2 else 1]:
            taken[name].append(calls[name]())
    return taken


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else TURNS
    for rows, asked in ASKED.items():
        with tempfile.TemporaryDirectory() as folder:
            season = write_season(Path(folder) / "season", runs=1, rows=rows, rate_hz=RATE_HZ)
            # A file that was written a moment ago is hashed again each time; nobody measures that.
            time.sleep(known.NEAR_NS / 1e9 + 0.5)
            taken = take_turns(season, Path(folder), turns)
        print(f"{rows} x 5: cold {1000 * median(taken['cold']):.0f} ms")
        for name in ("first", "second", "new process"):
            ratios = [one / other for one, other in zip(taken["cold"], taken[name], strict=True)]
            told = f"{median(ratios):8.2f} times as fast ({min(ratios):.2f} to {max(ratios):.2f})"
            note = f"   (asked: at least {asked:g})" if name == "second" else ""
            print(f"  {name:12}{1000 * median(taken[name]):8.2f} ms {told}{note}")


if __name__ == "__main__":
    if "--once" in sys.argv:
        print(reduced_in(open_season(Path(sys.argv[2])).settings, Path(os.environ["TOOLBENCH_CACHE"])))
    else:
        main()
