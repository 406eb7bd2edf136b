"""Renderings that several tests look at: made once for all worker processes of a test run."""

from __future__ import annotations

import fcntl
import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from small_season import ROOT, toolbench, write


def shared(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """A folder that the first worker to ask for it fills with `make`; the others wait for it."""
    base = factory.getbasetemp()
    home = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / f"shared-{name}"
    home.mkdir(exist_ok=True)
    with (home / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (home / "made").exists():
            make(home)
            (home / "made").touch()
    return home


def render(season: Path, out: Path) -> subprocess.CompletedProcess[str]:
    """`toolbench season`, with what it said kept beside."""
    done = toolbench("season", season, "-o", out)
    out.with_suffix(".status").write_text(f"{done.returncode}\n{done.stdout}\n{done.stderr}", encoding="utf-8")
    return done


def rendered_demo(factory: pytest.TempPathFactory) -> Path:
    """The demo season's reports."""
    return shared(factory, "demo", lambda home: render(ROOT / "data_demo", home / "out")) / "out"


def rendered_checked(factory: pytest.TempPathFactory) -> Path:
    """One report of the small season with its Monte Carlo check, t-distributed inputs among it."""
    options = ("--episode", "long-line", "--monte-carlo", "--t-inputs", "-o")
    return (
        shared(factory, "checked", lambda home: toolbench("report", write(home / "season"), *options, home / "out"))
        / "out"
    )


HOSTILE = "<script>alert(1)</script>"
QUOTED = '"><img src=x onerror=alert(2)> \'"'


def _make_hostile(home: Path) -> None:
    season = write(home / "season")
    bench = (season / "bench.toml").read_text(encoding="utf-8")
    for old, new in (
        ("[setups.far]", f"[setups.far]\nlabel = '''{QUOTED}'''"),
        ("[protocols.steady]", f"[protocols.steady]\nlabel = '{HOSTILE}'\nmeasurand = '{HOSTILE}'"),
        ('id = "long-line"', f"id = 'long-line'\ntitle = '{HOSTILE}'\nquestion = '''{QUOTED}'''\nnotes = '{HOSTILE}'"),
    ):
        bench = bench.replace(old, new, 1)
    (season / "bench.toml").write_text(bench, encoding="utf-8")
    tools = (season / "tools.csv").read_text(encoding="utf-8")
    (season / "tools.csv").write_text(
        tools.replace("First", HOSTILE).replace("Second", "{{ 7*7 }} & Söhne"), encoding="utf-8"
    )
    # A recording whose name is markup, and which cannot be read, so that its name stands in a caveat.
    name = "recordings/<img src=y onerror=alert(3)>.csv"
    (season / name).parent.joinpath(Path(name).name).write_text("<b>bold</b>\n", encoding="utf-8")
    runs = (season / "runs.csv").read_text(encoding="utf-8").splitlines()
    rows = [f"{runs[0]},run", *(f"{row}," for row in runs[1:]), f"{name},wrench-a,far,held,odd-name"]
    (season / "runs.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    render(season, home / "out")


def rendered_hostile(factory: pytest.TempPathFactory) -> Path:
    """Reports of a season whose every free text is markup; one of its recordings has markup for a name."""
    return shared(factory, "hostile", _make_hostile) / "out"
