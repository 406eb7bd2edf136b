"""A season of forty reports on two cores against loops of papermill and stock nbconvert over the same notebooks.

Run from the checkout: `python tests/benchmarks/season.py [TURNS [CACHE]]`. The season is the demo with every episode asked twice. The
loop runs notebooks/compare.ipynb with the parameters of each of its reports, one after the other, and converts each with nbconvert's own
template; it has no episode pages and no index. It is timed in one process, and parted over two. Each side starts cold in its turn: with
an empty cache of reduced recordings, as they are first met; with CACHE `off`, with none, so that each report reads all of its own.
"""

from __future__ import annotations

import json
import re
import shutil
import sys
import tempfile
from functools import partial
from pathlib import Path

from turns import CHECKOUT, Command, ratio_text, seconds_text, take_turns

sys.path.insert(0, str(CHECKOUT))

BY_HAND = Path(__file__).parent / "by_hand"


def repeat(folder: Path, times: int) -> Path:
    """The demo season with every episode so many times, each under an id of its own."""
    shutil.copytree(CHECKOUT / "data_demo", folder)
    head, *episodes = (folder / "bench.toml").read_text(encoding="utf-8").split("[[episodes]]")
    # The last episode ends where another table begins.
    last, tail = re.split(r"(?m)^(?=\[(?!\[episodes))", episodes[-1] + "\n[", maxsplit=1)
    episodes[-1], tail = last, tail.removesuffix("\n[").removesuffix("[")
    again = [
        re.sub(r'(?m)^id *= *"([^"]+)"', rf'id = "\1-again{number}"', episode, count=1)
        for number in range(2, times + 1)
        for episode in episodes
    ]
    text = "[[episodes]]".join([head, *episodes, *again]) + "\n" + tail
    (folder / "bench.toml").write_text(text, encoding="utf-8")
    return folder


def jobs(season: Path, out: Path) -> list[dict[str, object]]:
    """Folder and parameters of every report that the season asks for."""
    from toolbench.season import open_season

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


def empty(*folders: Path) -> None:
    for folder in folders:
        shutil.rmtree(folder, ignore_errors=True)


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        cache = {} if sys.argv[2:] == ["off"] else {"TOOLBENCH_CACHE": str(work / "cache")}
        season = repeat(work / "season", 2)
        listed = jobs(season, work / "loop")
        (work / "jobs.json").write_text(json.dumps(listed))
        notebook = str(CHECKOUT / "notebooks" / "compare.ipynb")
        loop = [str(BY_HAND / "papermill_loop.py"), notebook, str(work / "jobs.json")]
        ours = ["-m", "toolbench", "season", str(season), "-o", str(work / "ours"), "--jobs", "2"]
        clean = partial(empty, work / "ours", work / "loop", work / "cache")
        sides = [
            Command("toolbench season", ours, clean, cache),
            Command("loop", loop, clean, cache),
            Command("loop on two processes", [*loop, "2"], clean, cache),
        ]
        costs = take_turns(sides, turns)
    print(f"{len(listed)} reports")
    for name, taken in costs.items():
        print(f"{name:28}{seconds_text(taken)}")
    for base, asked in (("loop", "wall under 0.2, processor under 0.33"), ("loop on two processes", "wall under 0.36")):
        print(f"toolbench season / {base:24}{ratio_text(costs, 'toolbench season', base)}   (asked: {asked})")


if __name__ == "__main__":
    main()
