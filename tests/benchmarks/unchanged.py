"""What `toolbench season` costs when nothing has changed: 300 reports of the demo's size, as a whole process.

Run from the checkout: `python tests/benchmarks/unchanged.py [TURNS [TIMES]]`. The season is the demo with every episode asked TIMES times (15)
under different ids. Its reports are made once and copied to the other ids, since only what is done with finished reports is timed.
"""

from __future__ import annotations

import json
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

from season import repeat
from turns import CHECKOUT, Command, run, seconds_text, take_turns

sys.path.insert(0, str(CHECKOUT))

from toolbench.files import digest, write_json
from toolbench.report.attempt import Job
from toolbench.report.pool import Pool


class Copying(Pool):
    """Takes each report from where the same was made already."""

    made: Path

    def run(
        self, jobs: Iterable[Job], on_start: Callable[[Job], None] = lambda job: None
    ) -> Iterator[tuple[Job, dict[str, Any]]]:
        for job in jobs:
            shutil.copytree(self.made / re.sub(r"-again\d+/", "/", job.report), job.folder, dirs_exist_ok=True)
            # What it read is the same but for the file that asks for more episodes.
            path = Path(job.folder) / "results.json"
            results = json.loads(path.read_text(encoding="utf-8"))
            results["inputs"]["bench.toml"] = digest(Path(job.season) / "bench.toml")
            write_json(path, results)
            yield job, {"report": job.report, "seconds": 1.0, "error": "", "trace": ""}


def copy_reports(season: Path, made: Path, out: Path) -> int:
    """Publish a copy of a finished report for each that the season asks for; how many."""
    from toolbench.report.season_run import run_season
    from toolbench.season import open_season

    with Copying(1) as pool:
        pool.made = made
        return len(run_season(open_season(season), out, pool=pool).rows)


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    times = int(sys.argv[2]) if len(sys.argv) > 2 else 15
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        cache = {"TOOLBENCH_CACHE": str(work / "cache")}
        base = ["-m", "toolbench", "season", str(CHECKOUT / "data_demo"), "-o", str(work / "made")]
        run(Command("made once", base, more=cache))
        season = repeat(work / "season", times)
        count = copy_reports(season, work / "made", work / "out")
        again = Command(
            "nothing changed", ["-m", "toolbench", "season", str(season), "-o", str(work / "out")], more=cache
        )
        run(again)
        costs = take_turns([again], turns)
    print(f"{count} reports, nothing changed: {seconds_text(costs[again.name])}   (asked for 300: 1.5 s wall)")


if __name__ == "__main__":
    main()
