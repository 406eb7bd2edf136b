"""How often simultaneous bands of a percent difference hold along all of time, and how wide they are.

    python tests/benchmarks/band_coverage.py            300 draws a cell, a few minutes
    python tests/benchmarks/band_coverage.py --quick    100 draws, fewer cells
    python tests/benchmarks/band_coverage.py --draws 1000 --others 4

Curves are smooth Gaussian noise on a rising mean, on 101 points, with the correlation lengths and the ratio of scatter
named in the table. Each cell: joint coverage in percent at nominal 95, and mean half-width in standard uncertainties of the
difference. `--others` adds so many further groups of repeats from which scatter along time is learned, `--shift` the share of
the variance that shifts a whole run, `--noise` the share that is independent from point to point.
"""

from __future__ import annotations

import argparse
import math
import time

import numpy as np

from toolbench.metrology import ItemCurves, make_bands

POINTS = 101
TIME = np.linspace(0.0, 5.0, POINTS)
LEVELS = 400.0, 440.0


def noise_root(length: float, shift: float, noise: float) -> np.ndarray:
    lag = np.abs(np.arange(POINTS)[:, None] - np.arange(POINTS))
    smooth = np.exp(-0.5 * (lag / length) ** 2)
    matrix = (1.0 - shift - noise) * smooth + shift + noise * np.eye(POINTS)
    weights, vectors = np.linalg.eigh(matrix)
    return vectors * np.sqrt(np.clip(weights, 0.0, None))


def one_cell(runs: int, ratio: float, root: np.ndarray, others: int, draws: int) -> tuple[float, float]:
    """Joint coverage and mean half-width in standard uncertainties."""
    random = np.random.default_rng(20_260_401)
    truth = 100.0 * (LEVELS[1] / LEVELS[0] - 1.0)
    held, width = 0, 0.0

    def curves(level: float, scatter: float) -> np.ndarray:
        shape = 1.0 - 0.9 * np.exp(-TIME / 1.5)
        return level * shape + scatter * random.standard_normal((runs, POINTS)) @ root.T

    for _ in range(draws):
        near = ItemCurves(id="near", curves=curves(LEVELS[0], 1.0))
        far = ItemCurves(id="far", curves=curves(LEVELS[1], ratio))
        extra = [curves(LEVELS[0], 1.0) for _ in range(others)]
        found = make_bands([near, far], TIME, [("far", "near")], response="torque", unit="N*m", extra_residuals=extra)
        edges = found[1].percent_simultaneous
        assert edges is not None
        held += bool(np.all((edges[0] <= truth) & (truth <= edges[1])))
        # At the end of the curve, where the mean has its full height.
        u = 100.0 * math.hypot(ratio, LEVELS[1] / LEVELS[0]) / math.sqrt(runs) / LEVELS[0]
        width += float(edges[1][-1] - edges[0][-1]) / 2.0 / u
    return 100.0 * held / draws, width / draws


def main() -> None:
    parser = argparse.ArgumentParser(description="Joint coverage and width of simultaneous bands.")
    parser.add_argument("--quick", action="store_true", help="100 draws and fewer cells")
    parser.add_argument("--draws", type=int, default=300)
    parser.add_argument("--others", type=int, default=0)
    parser.add_argument("--shift", type=float, default=0.0)
    parser.add_argument("--noise", type=float, default=0.0)
    asked = parser.parse_args()
    draws = 100 if asked.quick else asked.draws
    lengths = (5.0, 20.0) if asked.quick else (5.0, 10.0, 20.0, 60.0)
    sizes = (3, 5) if asked.quick else (3, 4, 6, 10)
    print(f"{draws} draws a cell: coverage has a standard error of {100 * math.sqrt(0.05 * 0.95 / draws):.1f} points")
    print("runs  scatter ratio  " + "  ".join(f"length {length:g}".rjust(14) for length in lengths))
    started = time.process_time()
    for runs in sizes:
        for ratio in (1.0, 2.0):
            cells = [
                one_cell(runs, ratio, noise_root(length, asked.shift, asked.noise), asked.others, draws)
                for length in lengths
            ]
            print(
                f"{runs:4d}  {ratio:13g}  " + "  ".join(f"{c:5.1f} % {w:6.2f}".rjust(14) for c, w in cells), flush=True
            )
    count = len(sizes) * 2 * len(lengths) * draws
    print(
        f"{1e3 * (time.process_time() - started) / count:.1f} ms of CPU per pair of items, drawing the curves included"
    )


if __name__ == "__main__":
    main()
