"""Runs one notebook through papermill and makes the kept copy of it.

papermill 2.7 marks every cell completed after a dead kernel, so four things are asked of a run before it is believed: no
exception, an execution count on every code cell, no error output, and results.json written by this very run.
"""

from __future__ import annotations

import ast
import json
import logging
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import nbformat

from toolbench.errors import Fault, RenderError
from toolbench.report.kernel import KERNEL_NAME, manager_class, scratch_folder
from toolbench.report.processes import Starting

Parameters = Mapping[str, str | int | float | bool | None]

PLAIN = (str, int, float, bool, type(None))


def read_parameters(notebook: Any) -> dict[str, Any]:
    """Names and default values of the cell tagged `parameters`. Raises RenderError where the notebook has none."""
    for cell in notebook.cells:
        if cell.cell_type == "code" and "parameters" in cell.metadata.get("tags", []):
            found = {}
            for statement in ast.parse(cell.source).body:
                if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Name):
                    found[statement.targets[0].id] = ast.literal_eval(statement.value)
            return found
    raise RenderError("the notebook has no cell tagged 'parameters'")


def check_parameters(notebook: Any, parameters: Parameters) -> None:
    """Refuse what papermill would only log: a name the notebook lacks, a value that is no plain literal."""
    known = read_parameters(notebook)
    for name, value in parameters.items():
        if name not in known:
            raise RenderError(Fault(f"the notebook has no parameter {name}", mend=f"it has {', '.join(known)}"))
        if not isinstance(value, PLAIN):
            raise RenderError(
                f"the parameter {name} is a {type(value).__name__}; a notebook takes text, numbers, yes or no"
            )


def run_notebook(
    source: Path, parameters: Parameters, *, folder: Path, cell_timeout_s: float, starting: Starting
) -> Any:
    """Execute a notebook in a fresh kernel of this interpreter and check that it ran to its end.

    Parameters
    ----------
    source : Path
        The notebook.
    parameters : mapping
        Plain values for its `parameters` cell; paths absolute.
    folder : Path
        Working folder of the kernel; `results.json` must be there afterwards when `write_to` names it.
    cell_timeout_s : float
        Longest time for one cell [s].
    starting : Starting
        How the kernel is started, and who is told its process id, to be able to end it.

    Raises
    ------
    RenderError
        With the cell and what it said.
    """
    notebook = nbformat.read(source, as_version=4)
    check_parameters(notebook, parameters)
    # The input is the checked notebook itself; papermill wants a path, and reads the same file again.
    executed = _execute(source, dict(parameters), folder, cell_timeout_s, starting)
    check_executed(executed)
    return executed


def _execute(source: Path, parameters: dict[str, Any], folder: Path, cell_timeout_s: float, starting: Starting) -> Any:
    import papermill
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    logging.getLogger("papermill").setLevel(logging.ERROR)
    with scratch_folder(starting) as scratch:
        try:
            return papermill.execute_notebook(
                str(source),
                None,
                parameters,
                kernel_name=KERNEL_NAME,
                language="python",
                progress_bar=False,
                request_save_on_cell_execute=False,
                cwd=str(folder),
                start_timeout=60,
                execution_timeout=int(max(1, cell_timeout_s)),
                kernel_manager_class=manager_class(scratch, starting),
                shutdown_kernel="immediate",
            )
        except CellTimeoutError as error:
            raise RenderError(
                Fault(f"a cell took longer than {cell_timeout_s:g} s", mend=_first_line(error))
            ) from error
        except DeadKernelError as error:
            raise RenderError("the kernel died: out of memory, or ended from outside") from error
        except papermill.PapermillExecutionError as error:
            raise RenderError(_cell_fault(error.exec_count, error.source, error.ename, error.evalue)) from error
        except CellExecutionError as error:
            raise RenderError(_cell_fault(None, "", error.ename, error.evalue)) from error
        except RuntimeError as error:
            raise RenderError(f"the kernel did not start: {_first_line(error)}") from error


def _first_line(error: BaseException) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0]


def _cell_fault(number: int | None, source: str, name: str, value: str) -> Fault:
    """Which cell, and what it said; the class name of our own errors is noise to a reader."""
    call = re.search(r"\btb\.\w+", source)
    where = f"cell {number}" + (f" ({call.group()})" if call else "") if number else "a cell"
    ours = name.endswith("Error") and name in {
        "RecordingError",
        "SignalError",
        "AnalysisError",
        "SettingsError",
        "UsageError",
    }
    text = _first_fault(value) if ours else " ".join(value.split())
    return Fault(f"{where}: {text if ours and text else f'{name}: {text}'}")


def _first_fault(value: str) -> str:
    """The first of our faults with its mend on one line; the others are counted, `toolbench check` tells them all."""
    lines = value.strip().splitlines()
    heads = [i for i, line in enumerate(lines) if not line.startswith(" ")]
    first = lines[: heads[1]] if len(heads) > 1 else lines
    text = "; ".join(line.strip() for line in first)
    return f"{text} (and {len(heads) - 1} more, see toolbench check)" if len(heads) > 1 else text


def check_executed(notebook: Any) -> None:
    """Refuse a notebook of which a code cell did not run or said an error. Raises RenderError."""
    number = 0
    for cell in notebook.cells:
        if cell.cell_type != "code":
            continue
        number += 1
        if cell.source.strip() and cell.execution_count is None:
            raise RenderError(f"cell {number} was never run")
        for output in cell.outputs:
            if output.output_type == "error":
                raise RenderError(_cell_fault(number, cell.source, output.ename, output.evalue))


def read_results(folder: Path, report: str) -> dict[str, Any]:
    """results.json of a run that has just ended in a folder that was empty before. Raises RenderError."""
    path = folder / "results.json"
    if not path.is_file():
        raise RenderError("the notebook ended without writing results.json")
    results: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    if results.get("report", report) != report:
        raise RenderError(f"results.json is for {results['report']}, wanted {report}")
    return results


def keep_notebook(executed: Any, parameters: Parameters) -> Any:
    """The copy to keep: the same bytes whenever the same inputs are analysed, no time, no path of the machine.

    `parameters` are the ones to name in it: the season by a path relative to the notebook's folder, and nothing to write to.
    """
    kept = nbformat.reads(nbformat.writes(executed), as_version=4)
    kept.metadata = nbformat.from_dict(
        {
            "kernelspec": {"display_name": "Python 3 (ipykernel)", "language": "python", "name": KERNEL_NAME},
            "language_info": {"name": "python"},
        }
    )
    for number, cell in enumerate(kept.cells, start=1):
        tags = cell.metadata.get("tags", [])
        cell.metadata = nbformat.from_dict(
            {key: value for key, value in cell.metadata.items() if key not in ("papermill", "execution")}
        )
        cell.id = f"cell-{number:02d}"
        if "injected-parameters" in tags:
            cell.source = "\n".join(
                ["# Parameters", *(f"{name} = {_literal(value)}" for name, value in parameters.items())]
            )
        if cell.cell_type == "code":
            # Warnings on stderr name paths of the machine; they were shown while the notebook ran.
            cell.outputs = [o for o in cell.outputs if not (o.output_type == "stream" and o.name == "stderr")]
    return kept


def _literal(value: object) -> str:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)
