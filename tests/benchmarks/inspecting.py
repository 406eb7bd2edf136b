"""What `toolbench inspect` takes as a whole process, beside the least that any program on pandas could take.

Run from the checkout: `python tests/benchmarks/inspecting.py [TURNS]`. The floor is `python -c "import pandas;
pandas.read_csv(f)"` on the same file. The commands take turns; the ratios are those within a turn.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import numpy as np
import pandas as pd
from turns import Command, ratio_text, seconds_text, take_turns

ASKED = {750_000: 1.0, 15_000: 0.6}
"""Rows to the wall time that was asked for on two idle cores [s]."""


def write_run(path: Path, rows: int) -> None:
    """Invented: 1 kHz, torque that rises after a second and stays, three more channels with noise; fixed seed."""
    noise = np.random.default_rng(20260102).normal(0.0, 1.0, size=(rows, 4))
    time = np.arange(rows) / 1000
    levels = [np.clip(time - 1, 0, 1) * 400, 6.3 - 0.4 * (time > 1), 12.0 * (time > 1), 6000.0 * (time > 1)]
    names = ["Torque [N*m]", "Inlet pressure [bar]", "Flow [L/s]", "Speed [rpm]"]
    frame = pd.DataFrame(
        {name: (level + noise[:, k]).round(5) for k, (name, level) in enumerate(zip(names, levels, strict=True))}
    )
    frame.insert(0, "t [s]", time)
    frame.to_csv(path, index=False)


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    with tempfile.TemporaryDirectory() as folder:
        # Compiled modules are kept for both sides, as after an installation; a checkout may be set up not to.
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(Path(folder) / "compiled")
        for rows, asked in ASKED.items():
            path = Path(folder) / f"{rows}.csv"
            write_run(path, rows)
            commands = [
                Command("inspect", ("-m", "toolbench", "inspect", str(path))),
                Command("floor", ("-c", f"import pandas; pandas.read_csv({str(path)!r})")),
            ]
            take_turns(commands, 1)  # compiled modules and the file's pages are there from then on
            costs = take_turns(commands, turns)
            print(f"{rows} rows of 5 numbers, {path.stat().st_size / 1e6:.1f} MB, {turns} turns")
            print(
                f"  inspect        {seconds_text(costs['inspect'])}   (asked: under {asked:g} s wall on two idle cores)"
            )
            print(f"  floor          {seconds_text(costs['floor'])}")
            print(f"  inspect/floor  {ratio_text(costs, 'inspect', 'floor')}")


if __name__ == "__main__":
    main()
