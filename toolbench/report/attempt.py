"""One attempt at one report, in a folder of its own. Runs inside a worker process; what it says is plain JSON."""

from __future__ import annotations

import json
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from toolbench.errors import ToolbenchError
from toolbench.files import write_text
from toolbench.report.processes import Starting


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What a worker needs to know for one report. Paths are absolute; `kept_season` is the one the kept notebook names."""

    report: str
    title: str
    notebook: str
    templates: str
    season: str
    kept_season: str
    folder: str
    episode: str
    tool: str
    setup: str
    pairs: bool
    protocol: str
    cell_timeout_s: float
    monte_carlo: bool = False
    t_inputs: bool = False

    def parameters(self, *, season: str, write_to: str) -> dict[str, str | bool]:
        """Values for the notebook's `parameters` cell."""
        return {
            "season": season,
            "episode": self.episode,
            "tool": self.tool,
            "setup": self.setup,
            "pairs": self.pairs,
            "protocol": self.protocol,
            "write_to": write_to,
            # Named only where they are asked for: any notebook with the other parameters serves without them.
            **({"monte_carlo": True} if self.monte_carlo else {}),
            **({"t_inputs": True} if self.t_inputs else {}),
        }

    def to_json(self) -> str:
        return json.dumps(asdict(self))


def render_report(job: Job, starting: Starting) -> None:
    """Run the notebook, check it, and leave the finished report in `job.folder`. Raises RenderError."""
    import nbformat

    from toolbench.report.notebook import keep_notebook, read_results, run_notebook
    from toolbench.report.page import export_page

    folder = Path(job.folder)
    executed = run_notebook(
        Path(job.notebook),
        job.parameters(season=job.season, write_to=job.folder),
        folder=folder,
        cell_timeout_s=job.cell_timeout_s,
        starting=starting,
    )
    results = read_results(folder, job.report)
    kept = keep_notebook(executed, job.parameters(season=job.kept_season, write_to=""))
    write_text(folder / "report.ipynb", nbformat.writes(kept) + "\n")
    page = export_page(kept, templates=Path(job.templates), title=job.title, results=results)
    write_text(folder / "report.html", page)


def attempt(job: Job, starting: Starting) -> dict[str, Any]:
    """`render_report` as an outcome: seconds, and the error as text (empty when it went well). Never raises an Exception."""
    import traceback

    begun = time.monotonic()
    error, trace = "", ""
    try:
        render_report(job, starting)
    except ToolbenchError as fault:
        error, trace = str(fault), traceback.format_exc()
    except Exception as fault:  # noqa: BLE001  a worker reports whatever went wrong; the other reports go on
        error, trace = f"{type(fault).__name__}: {fault}", traceback.format_exc()
    return {"report": job.report, "seconds": time.monotonic() - begun, "error": error, "trace": trace}
