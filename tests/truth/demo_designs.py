"""The demo season's own comparisons as designs: which cells, how often run, in which blocks and in which order."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from bench_model import BenchErrors, Cell, draw_levels
from bench_parts import BLOCK_SCATTER, Floats

from toolbench.metrology import ItemRuns, Source

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
CERTIFICATE = (
    Source(source="scale/cell", label="scale", relative=0.003),
    Source(source="zero/cell", label="zero", absolute=0.5, per_run=True),
)
"""As in bench.toml: 0.6 % and 1 N*m expanded, k = 2."""


@dataclass(frozen=True)
class Design:
    """One report: its cells (the baseline first), and of each the block and the order of every run that counts."""

    path: str
    cells: tuple[Cell, ...]
    blocks: tuple[tuple[str, ...], ...]
    orders: tuple[tuple[float | None, ...], ...]
    marks: tuple[float, ...]


def read_designs() -> list[Design]:
    """The reports of truth.json with the runs that runs.csv has for them, excluded ones left out."""
    truth = json.loads((DEMO / "truth.json").read_text("utf-8"))
    with (DEMO / "runs.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if not row["exclude"]]
    designs = []
    for report in truth["reports"]:
        parts = [
            {"setups": (report["subject"], item), "tools": (item, report["subject"])}.get(report["axis"])
            or item.split("/")
            for item in report["items"]
        ]
        cells = tuple(Cell(tool, setup, report["protocol"]) for tool, setup in parts)
        runs = [
            [row for row in rows if (row["tool"], row["setup"], row["protocol"]) == (c.tool, c.setup, c.protocol)]
            for c in cells
        ]
        designs.append(
            Design(
                path=report["path"],
                cells=cells,
                blocks=tuple(tuple(row["block"] for row in mine) for mine in runs),
                orders=tuple(tuple(float(row["order"]) if row["order"] else None for row in mine) for mine in runs),
                marks=tuple(sorted({row["at"] for row in report["rows"] if row["at"] is not None})),
            )
        )
    return designs


def draw_season_blocks(rng: np.random.Generator, designs: list[Design]) -> dict[str, float]:
    """The effect [relative] of every block of a season; a run outside blocks has none."""
    names = sorted({name for design in designs for mine in design.blocks for name in mine if name})
    return {"": 0.0, **{name: BLOCK_SCATTER * rng.standard_normal() for name in names}}


def draw_runs(
    rng: np.random.Generator, cell: Cell, names: tuple[str, ...], effects: dict[str, float], errors: BenchErrors
) -> Floats:
    """Sustained levels [N*m] of the runs of one cell, shape (runs,), each with its block's effect."""
    return draw_levels(rng, cell, len(names), errors=errors, block_effects=np.array([effects[name] for name in names]))


def item_of(number: int, values: Floats, names: tuple[str, ...]) -> ItemRuns:
    """One item with one row or more, shape (runs, rows), in blocks where every run has one."""
    table = values if values.ndim == 2 else values[:, None]
    blocks = names if all(names) else ()
    return ItemRuns(id=str(number), values=table, blocks=blocks, sources=(CERTIFICATE,) * table.shape[1])
