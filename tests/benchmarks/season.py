"""The demo season on two cores against a serial loop of papermill and stock nbconvert over the same notebooks.

Run from the checkout: `python tests/benchmarks/season.py [TURNS]`. The loop runs notebooks/compare.ipynb with the parameters of each of
the season's reports, in one process, one after the other, and converts each with nbconvert's own template; it has no episode pages
and no index. Each side starts cold in its turn.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from functools import partial
from pathlib import Path

from turns import CHECKOUT, Command, ratio_text, seconds_text, take_turns

sys.path.insert(0, str(CHECKOUT))


def jobs(out: Path) -> list[dict[str, object]]:
    """Folder and parameters of every report that the demo season asks for."""
    from toolbench.season import open_season

    season = CHECKOUT / "data_demo"
    return [
        {
            "folder": str(out / plan.path),
            "parameters": {
                "season": str(season),
                "episode": plan.episode,
                "tool": plan.subject if plan.axis == "setups" else "",
                "setup": plan.subject if plan.axis == "tools" else "",
                "pairs": plan.axis == "pairs",
                "protocol": plan.protocol,
                "write_to": str(out / plan.path),
            },
        }
        for plan in open_season(season).plans()
        if plan.state == "planned"
    ]


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        listed = jobs(work / "loop")
        (work / "jobs.json").write_text(json.dumps(listed))
        loop = Path(__file__).parent / "by_hand" / "papermill_loop.py"
        notebook = CHECKOUT / "notebooks" / "compare.ipynb"
        ours = ["-m", "toolbench", "season", str(CHECKOUT / "data_demo"), "-o", str(work / "ours"), "--jobs", "2"]
        sides = [
            Command("toolbench season", ours, partial(shutil.rmtree, work / "ours", ignore_errors=True)),
            Command(
                "serial loop",
                [str(loop), str(notebook), str(work / "jobs.json")],
                partial(shutil.rmtree, work / "loop", ignore_errors=True),
            ),
        ]
        costs = take_turns(sides, turns)
    print(f"{len(listed)} reports")
    for name, taken in costs.items():
        print(f"{name:28}{seconds_text(taken)}")
    print(
        f"toolbench season / serial loop   {ratio_text(costs, 'toolbench season', 'serial loop')}   (asked: under 0.6)"
    )


if __name__ == "__main__":
    main()
