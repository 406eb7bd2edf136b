"""Kernels forked from a warm process against plain ones: what a notebook sees and shows is the same.

The plain side is papermill's own with a kernel that is started as a process, so every expected value is an oracle's.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import papermill
import pytest

from toolbench.report.notebook import run_notebook
from toolbench.report.processes import Starting
from toolbench.report.warm import Warm, why_plain

pytestmark = pytest.mark.skipif(bool(why_plain()), reason="kernels are not forked here")

PARAMETERS = "season = ''\nepisode = ''\ntool = ''\nprotocol = ''\nwrite_to = ''\n"

SURROUNDINGS = """
import decimal, gc, json, locale, os, random, resource, signal, sys, threading, warnings
import matplotlib, numpy, pandas, pandas._config.config, scipy.special, scipy.stats, toolbench, toolbench.view
import numpy.random, PIL.Image, matplotlib.mathtext  # some add filters of warnings when they are imported

def flat(options, above=""):
    found = {}
    for name, value in options.items():
        path = f"{above}.{name}"
        found.update(flat(value, path) if isinstance(value, dict) else {path: repr(value)})
    return found

seen = {
    "pandas": flat(pandas._config.config._global_config),
    "pandas defaults": {k: repr(o.defval) for k, o in pandas._config.config._registered_options.items()},
    "matplotlib": {name: repr(value) for name, value in matplotlib.rcParams.items()},
    "drawing": [matplotlib.get_backend(), matplotlib.is_interactive(), "matplotlib.pyplot" in sys.modules,
                "matplotlib_inline.backend_inline" in sys.modules],
    "numpy": {k: repr(v) for k, v in numpy.get_printoptions().items()} | numpy.geterr(),
    "environment": {k: v for k, v in os.environ.items() if k not in ("IPYTHONDIR", "JPY_PARENT_PID")},
    "path": sys.path,
    "folder": os.getcwd(),
    "arguments": [os.path.basename(sys.argv[0]), *(os.path.basename(a) for a in sys.argv[1:])],
    "interpreter": [sys.executable, repr(sys.flags), sys.prefix, sys.getrecursionlimit(), sys.getswitchinterval()],
    "locale": [locale.setlocale(locale.LC_ALL), locale.getpreferredencoding()],
    "streams": [type(sys.stdout).__name__, sys.stdout.encoding, type(sys.stderr).__name__, sys.stdin.read()],
    "warnings": sorted({repr(one) for one in warnings.filters}),
    "arithmetic": [repr(decimal.getcontext()), gc.isenabled(), gc.get_threshold()],
    "signals": [str(signal.getsignal(n)) for n in (signal.SIGINT, signal.SIGTERM, signal.SIGPIPE, signal.SIGCHLD)],
    "blocked": sorted(map(int, signal.pthread_sigmask(signal.SIG_BLOCK, []))),
    "threads": sorted(one.name.split("(")[0].rstrip("-0123456789 ") for one in threading.enumerate()),
    "main": [__name__, type(get_ipython()).__name__, sorted(n for n in globals() if not n.startswith("_"))],
    "limits": [resource.getrlimit(n) for n in (resource.RLIMIT_AS, resource.RLIMIT_NOFILE, resource.RLIMIT_CORE)],
    "group": [os.getpgid(0) == os.getpid(), os.getsid(0) == os.getpid(), os.nice(0), oct(os.umask(os.umask(0)))],
}
print(json.dumps(seen))
"""

SHOWN = (
    "import pandas as pd, numpy as np\nframe = pd.DataFrame(np.arange(120.0).reshape(4, 30)); frame",
    "print(frame); frame.describe()",
    "pd.Series(np.linspace(0, 1, 200))",
    "import matplotlib.pyplot as plt\nfig, ax = plt.subplots(); ax.plot([1, 2, 3]); fig",
    "ax.plot([3, 2]); plt.show()",
    "from IPython.display import SVG, display\nimport io\nfrom matplotlib.figure import Figure\n"
    "import matplotlib; matplotlib.rcParams['svg.hashsalt'] = 'x'\n"
    "for k in range(3):\n    f = Figure(); f.subplots().plot(range(k + 2)); to = io.StringIO()\n"
    "    f.savefig(to, format='svg', metadata={'Date': None}); display(SVG(to.getvalue()))",
    "import os; os.system('echo from a child; echo and its errors >&2'); 1 / 3",
    "import warnings; warnings.warn('mind'); print('é', 0.1 + 0.2)",
)

DEMO_REPORTS = (
    {"episode": "packs", "tool": "ostrel", "protocol": "battery"},
    {"episode": "couplers", "tool": "", "setup": "one-coupler", "protocol": "static"},
)


@pytest.fixture(scope="module")
def warm() -> Iterator[Warm]:
    nursery = Warm()
    yield nursery
    nursery.end()


def notebook(path: Path, *cells: str) -> Path:
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(PARAMETERS, metadata={"tags": ["parameters"]})])
    book.cells += map(nbformat.v4.new_code_cell, cells)
    nbformat.write(book, path)
    return path


def run(source: Path, folder: Path, door: str, **parameters: str) -> Any:
    """Run it; a kernel that was to be forked and was not is a failure here."""
    folder.mkdir(exist_ok=True)

    def plain(why: str) -> None:
        pytest.fail(f"not forked: {why}")

    return run_notebook(
        source, parameters, folder=folder, cell_timeout_s=120, starting=Starting(lambda _: None, door, plain)
    )


def outputs(executed: Any) -> list[list[dict[str, Any]]]:
    """What every code cell gave; a warning names a file after the process, whose id no two runs share."""
    text = json.dumps([cell.outputs for cell in executed.cells if cell.cell_type == "code"])
    found: list[list[dict[str, Any]]] = json.loads(re.sub(r"ipykernel_\d+", "ipykernel", text))
    return found


def pictures(executed: Any) -> int:
    kinds = ("image/svg+xml", "image/png")
    data = [output.get("data", {}) for cell in outputs(executed) for output in cell]
    return sum(any(kind in one for kind in kinds) + one.get("text/html", "").count("<svg") for one in data)


def test_a_forked_kernel_has_the_surroundings_of_a_plain_one(warm: Warm, tmp_path: Path) -> None:
    source = notebook(tmp_path / "n.ipynb", SURROUNDINGS)
    plain, forked = (
        json.loads(run(source, tmp_path / "here", door).cells[-1].outputs[-1].text) for door in ("", warm.door)
    )
    assert plain["folder"] == str(tmp_path / "here")
    assert len(plain["pandas"]) > 50
    for what in plain:
        assert forked[what] == plain[what], what


def test_outputs_and_figures_are_those_of_a_plain_kernel(warm: Warm, tmp_path: Path) -> None:
    source = notebook(tmp_path / "n.ipynb", *SHOWN)
    plain, forked = (run(source, tmp_path / "here", door) for door in ("", warm.door))
    assert outputs(forked) == outputs(plain)
    # counted by hand in SHOWN: without the inline backend, those displayed
    assert pictures(plain) == pictures(forked) == 3


@pytest.mark.slow
@pytest.mark.parametrize("report", DEMO_REPORTS, ids=["tool", "setup"])
def test_a_report_equals_that_of_papermill_alone(
    warm: Warm, tmp_path: Path, demo: Path, root: Path, report: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from toolbench.report.processes import FIXED_ENVIRONMENT, child_environment

    source = root / "notebooks" / "compare.ipynb"
    folders = {}
    executed = {}
    for how in ("forked", "papermill"):
        folders[how] = tmp_path / how
        (folders[how] / "into").mkdir(parents=True)
        parameters = {"season": str(demo), "write_to": str(folders[how] / "into"), **report}
        if how == "forked":
            executed[how] = run(source, folders[how], warm.door, **parameters)
        else:
            for name, value in {**child_environment(), **FIXED_ENVIRONMENT}.items():
                monkeypatch.setenv(name, value)
            executed[how] = papermill.execute_notebook(
                str(source), None, parameters, kernel_name="python3", progress_bar=False, cwd=str(folders[how])
            )
    shown = {how: json.dumps(outputs(book)).replace(str(folders[how]), "") for how, book in executed.items()}
    assert shown["forked"] == shown["papermill"]
    assert pictures(executed["forked"]) == pictures(executed["papermill"]) >= 2
    written = {
        how: {str(p.relative_to(folder)): p.read_bytes() for p in (folder / "into").rglob("*") if p.is_file()}
        for how, folder in folders.items()
    }
    assert written["forked"] == written["papermill"]
    assert sum(name.endswith((".svg", ".png")) for name in written["forked"]) >= 4


def test_two_kernels_of_one_nursery_share_nothing_and_draw_their_own_numbers(warm: Warm, tmp_path: Path) -> None:
    source = notebook(
        tmp_path / "n.ipynb",
        "import random, numpy, builtins, json\nprint(json.dumps([random.random(), numpy.random.rand(), hasattr(builtins, 'left')]))\n"
        "builtins.left = True; pandas = __import__('pandas'); pandas.set_option('display.max_rows', 3)",
        "print(pandas.get_option('display.max_rows'))",
    )
    first, second = (run(source, tmp_path / "here", warm.door).cells[1].outputs[0].text for _ in range(2))
    one, other = json.loads(first), json.loads(second)
    assert not one[2]
    assert not other[2]
    assert one[0] != other[0]
    assert one[1] != other[1]


def test_a_nursery_with_a_second_thread_forks_nothing_and_the_kernel_is_plain(tmp_path: Path) -> None:
    source = notebook(tmp_path / "n.ipynb", "print(6 * 7)")
    # site's hook for the user's own start-up: the one way in that needs no seam in the program
    (tmp_path / "hooks").mkdir()
    (tmp_path / "hooks" / "sitecustomize.py").write_text(
        "import sys, threading, time\n"
        "if 'toolbench.report.nursery' in ' '.join(sys.orig_argv):\n"
        "    threading.Thread(target=time.sleep, args=(600,), daemon=True).start()\n"
    )
    told: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", str(tmp_path / "hooks"))
        nursery = Warm()
        try:
            executed = run_notebook(
                source, {}, folder=tmp_path, cell_timeout_s=60,
                starting=Starting(lambda _: None, nursery.door, told.append),
            )  # fmt: skip
        finally:
            nursery.end()
    assert executed.cells[-1].outputs[0].text == "42\n"
    assert told == ["2 threads were alive where kernels are forked"]


def test_a_nursery_that_is_gone_leaves_a_plain_kernel_and_word_of_it(tmp_path: Path) -> None:
    nursery = Warm()
    nursery.end()
    told: list[str] = []
    executed = run_notebook(
        notebook(tmp_path / "n.ipynb", "print(6 * 7)"), {}, folder=tmp_path, cell_timeout_s=60,
        starting=Starting(lambda _: None, nursery.door, told.append),
    )  # fmt: skip
    assert executed.cells[-1].outputs[0].text == "42\n"
    assert len(told) == 1


@pytest.mark.parametrize(("platform", "words"), [("darwin", "Linux alone"), ("win32", "Linux alone")])
def test_elsewhere_kernels_are_plain(monkeypatch: pytest.MonkeyPatch, platform: str, words: str) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    assert words in why_plain()


def test_plain_kernels_can_be_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TOOLBENCH_KERNELS", "plain")
    assert why_plain() == "TOOLBENCH_KERNELS is plain"
