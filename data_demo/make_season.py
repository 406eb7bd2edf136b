"""Writes the demo season: bench.toml, tools.csv, runs.csv, bench-log.csv, recordings/ and truth.json.

Run it as ``python data_demo/make_season.py [FOLDER]``; without FOLDER it writes beside itself. The same seed gives
the same bytes. Needs numpy only.
"""

from __future__ import annotations

import csv
import io
import shutil
import sys
import zlib
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from logger_dialects import DIALECTS, encode
from season_draw import record
from season_plan import PlannedRun, plan_runs
from season_text import BENCH_LOG, TOOLS_CSV, bench_toml
from season_truth import truth_json

RUNS_HEAD = "run,file,tool,setup,protocol,logger,block,order,started,ambient_temperature [degC],charge,operator,exclude,reason,note"


def runs_csv(runs: Sequence[PlannedRun]) -> str:
    """The text of runs.csv."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(RUNS_HEAD.split(","))
    for run in runs:
        ambient = 17.0 + (zlib.crc32(run.started.date().isoformat().encode()) % 21) / 10
        writer.writerow(
            (
                run.run,
                run.file,
                run.cell.tool,
                run.cell.setup,
                run.cell.protocol,
                run.logger,
                run.block,
                run.order or "",
                run.started.isoformat(),
                f"{ambient:.1f}",
                run.charge,
                run.operator,
                "yes" if run.reason else "",
                run.reason,
                run.note,
            )
        )
    return out.getvalue()


def write_season(folder: Path) -> None:
    """Write the whole season into `folder`; recordings/ there is replaced."""
    runs = plan_runs()
    shutil.rmtree(folder / "recordings", ignore_errors=True)
    drawn = {}
    for run in runs:
        drawn[run.run] = record(run)
        source = next(r for r in runs if r.run == run.copy_of) if run.copy_of else run
        path = folder / run.file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(encode(DIALECTS[run.logger], source.run, source.started, drawn[run.run]))
    texts = {
        "bench.toml": bench_toml(),
        "tools.csv": TOOLS_CSV,
        "runs.csv": runs_csv(runs),
        "bench-log.csv": BENCH_LOG,
        "truth.json": truth_json(runs, drawn),
    }
    for name, text in texts.items():
        (folder / name).write_bytes(text.encode("utf-8"))


if __name__ == "__main__":
    write_season(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
