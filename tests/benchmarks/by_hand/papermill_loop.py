"""The usual way: papermill, then stock nbconvert, one notebook after the other in one process.

`python papermill_loop.py NOTEBOOK JOBS.json [PROCESSES]`, where the jobs are a list of {"folder": ..., "parameters": {...}}; each folder gets
report.ipynb and report.html. With "page" false in a job there is no nbconvert. With two processes each takes the next job when it is done with one.
"""

from __future__ import annotations

import json
import multiprocessing
import sys
from functools import partial
from pathlib import Path
from typing import Any

import papermill


def make(notebook: str, job: dict[str, Any]) -> None:
    """One report."""
    folder = Path(job["folder"])
    folder.mkdir(parents=True, exist_ok=True)
    executed = papermill.execute_notebook(
        notebook,
        str(folder / "report.ipynb"),
        job["parameters"],
        kernel_name="python3",
        progress_bar=False,
        cwd=str(folder),
    )
    if job.get("page", True):
        from nbconvert import HTMLExporter

        html, _ = HTMLExporter().from_notebook_node(executed)
        (folder / "report.html").write_text(html, encoding="utf-8")


def main() -> None:
    notebook, jobs = sys.argv[1], json.loads(Path(sys.argv[2]).read_text(encoding="utf-8"))
    processes = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    if processes == 1:
        for job in jobs:
            make(notebook, job)
    else:
        with multiprocessing.get_context("spawn").Pool(processes) as pool:
            pool.map(partial(make, notebook), jobs, chunksize=1)
            # Joined, so that what they used counts.
            pool.close()
            pool.join()


if __name__ == "__main__":
    main()
