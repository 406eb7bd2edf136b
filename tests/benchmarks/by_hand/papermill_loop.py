"""The usual way: papermill, then stock nbconvert, one notebook after the other in one process.

`python papermill_loop.py NOTEBOOK JOBS.json`, where the jobs are a list of {"folder": ..., "parameters": {...}}; each folder gets
report.ipynb and report.html. With "page" false in a job there is no nbconvert.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import papermill


def main() -> None:
    notebook, jobs = sys.argv[1], json.loads(Path(sys.argv[2]).read_text(encoding="utf-8"))
    for job in jobs:
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


if __name__ == "__main__":
    main()
