"""One report of 15 recordings (12 s at 1 kHz, four channels) against the usual way of making it.

Run from the checkout: `python tests/benchmarks/one_report.py [TURNS]`. `toolbench report` as a command, its episode page and index
included, against papermill on a notebook written by hand with the same figures and tables (by_hand/three_hoses.ipynb), with stock
nbconvert and without, and against that notebook's cells as a plain script. Each is a process of its own, started cold in its turn.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from functools import partial
from pathlib import Path

import nbformat
import pandas as pd
from made_season import write_season
from turns import Command, ratio_text, seconds_text, take_turns

BY_HAND = Path(__file__).parent / "by_hand"


def plain_script(season: Path, out: Path, script: Path) -> None:
    """The notebook's own cells in one file; a last expression that a notebook would show is printed."""
    cells = [
        cell.source
        for cell in nbformat.read(BY_HAND / "three_hoses.ipynb", as_version=4).cells
        if cell.cell_type == "code"
    ]
    named = f"season = {str(season)!r}\nwrite_to = {str(out)!r}"
    first, rest = 'import matplotlib\nmatplotlib.use("agg")', cells[1:]
    shown = [f"print({cell})" if cell.isidentifier() else cell for cell in rest]
    script.write_text("\n\n".join([first, named, *shown]) + "\n", encoding="utf-8")


def commands(work: Path, season: Path) -> list[Command]:
    def job(name: str, page: bool) -> str:
        path = work / f"{name}.json"
        parameters = {"season": str(season), "write_to": str(work / name)}
        path.write_text(json.dumps([{"folder": str(work / name), "parameters": parameters, "page": page}]))
        return str(path)

    loop = [str(BY_HAND / "papermill_loop.py"), str(BY_HAND / "three_hoses.ipynb")]
    plain_script(season, work / "script", work / "script.py")
    ours = ["-m", "toolbench", "report", str(season), "--episode", "hose", "--tool", "wrench", "-o", str(work / "ours")]
    found = {
        "toolbench report": ours,
        "papermill and nbconvert": [*loop, job("page", True)],
        "papermill alone": [*loop, job("notebook", False)],
        "plain script": [str(work / "script.py")],
    }
    folders = dict(zip(found, ("ours", "page", "notebook", "script"), strict=True))
    return [Command(n, a, partial(shutil.rmtree, work / folders[n], ignore_errors=True)) for n, a in found.items()]


def compare_tables(ours: Path, by_hand: Path) -> str:
    """Both sides must have made the same table. Raises RuntimeError where a percent difference is not the same within 0.1 point."""
    keys = ["item", "metric", "at"]
    both = pd.read_csv(ours).merge(pd.read_csv(by_hand), on=keys, how="outer", suffixes=("", "_by_hand"))
    told = both[both["metric"].isin(["at_mark", "sustained"])]
    gap = float((told["percent"] - told["percent_by_hand"]).abs().max(skipna=False))
    if not gap < 0.1:
        raise RuntimeError(f"the two tables of differences differ, by {gap} points")
    return f"{len(both)} differences on both sides; percent at marks and sustained the same within {gap:.3f} points"


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        season = write_season(work / "season", runs=5, rows=12_000)
        costs = take_turns(commands(work, season), turns)
        print(compare_tables(next(work.glob("ours/hose/*/differences.csv")), work / "page" / "differences.csv"))
    for name, taken in costs.items():
        print(f"{name:28}{seconds_text(taken)}")
    for base in list(costs)[1:]:
        asked = "   (asked: under 1.5)" if base.startswith("papermill") else ""
        print(f"toolbench report / {base:25}{ratio_text(costs, 'toolbench report', base)}{asked}")


if __name__ == "__main__":
    main()
