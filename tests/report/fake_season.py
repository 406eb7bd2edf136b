"""A season of three reports for the engine: a notebook of four cells that reads one file and writes results.json.

What a report does is said by the text of its recording: `ok NUMBER`, `raise`, `die`, `sleep`, `silent` (writes nothing), `shout`
(prints a megabyte), `hoard` (wants more memory than it is allowed), `killed` (as by the system when memory runs out).
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import nbformat

from toolbench.files import digest
from toolbench.records.settings import Episode, Protocol, RunEntry, SeasonSettings, Setup, Tool
from toolbench.report.season_run import RunOptions

PARAMETERS = """season = "../data"
episode = "one"
tool = "a"
setup = ""
pairs = False
protocol = "held"
write_to = ""
"""

WORK = """import json, os, pathlib, time
recording = pathlib.Path(season) / "recordings" / f"{tool}.txt"
word, _, number = recording.read_text().partition(" ")
if word == "raise": raise ValueError(f"{tool} cannot be read")
if word == "die": os._exit(3)
if word == "sleep": time.sleep(60)
if word == "shout": print(("x" * 99 + "\\n") * 10_000)
if word == "hoard":
    import resource
    resource.setrlimit(resource.RLIMIT_AS, (2**31, 2**31))
    bytearray(2**32)
if word == "killed": os.kill(os.getpid(), 9)
"""

WRITE = """import hashlib
row = dict(item="far", baseline="near", response="torque", metric="sustained", at=None, percent=float(number or 0),
           lower=float(number or 0) - 1, upper=float(number or 0) + 1, verdict_family="lower")
results = dict(format=1, axis="setups", episode=dict(id=episode), protocol=dict(id=protocol), report=f"{episode}/tool-{tool}--{protocol}", items=[dict(id="far", label="the <far> end", tool=tool, setup="far"),
               dict(id="near", label="near", tool=tool, setup="near")], differences=[row], compensated=True,
               sentences=[dict(text=f"far: {number} % less than near.", verdict="lower")],
               findings=[dict(code="few-runs", severity="doubtful", message="Few runs & little else.", mend="Run more.", subjects=[tool])],
               inputs={f"recordings/{tool}.txt": hashlib.sha256(recording.read_bytes()).hexdigest()})
if write_to and word != "silent":
    (pathlib.Path(write_to) / "figures").mkdir()
    (pathlib.Path(write_to) / "figures" / "curve.svg").write_text("<svg/>")
    (pathlib.Path(write_to) / "results.json").write_text(json.dumps(results))
"""

TEMPLATE = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{{ resources.metadata.name }}</title>
<style>p { color: black }</style></head><body><h1>{{ resources.toolbench.results.report }}</h1>
{% for cell in nb.cells %}{% for output in cell.get("outputs", []) %}<pre>{{ output.get("text", "") }}</pre>{% endfor %}{% endfor %}
</body></html>
"""


@dataclass(frozen=True)
class Plan:
    episode: str
    subject: str
    axis: str = "setups"
    protocol: str = "held"
    state: str = "planned"
    reason: str = ""
    cells: tuple[Any, ...] = ()

    @property
    def name(self) -> str:
        return f"tool-{self.subject}--{self.protocol}"

    @property
    def path(self) -> str:
        return f"{self.episode}/{self.name}"


@dataclass
class FakeSeason:
    folder: Path
    settings: SeasonSettings
    listed: list[Plan] = field(default_factory=list)

    def plans(self) -> tuple[Plan, ...]:
        return tuple(self.listed)


def make_notebook(path: Path, cells: tuple[str, ...] = (WORK, 'print("<read>\\nsecond line")', WRITE)) -> Path:
    """Parameters, then the given cells."""
    notebook = nbformat.v4.new_notebook(
        metadata={"kernelspec": {"name": "no-such-kernel", "display_name": "x", "language": "python"}}
    )
    first = nbformat.v4.new_code_cell(PARAMETERS, metadata={"tags": ["parameters"]})
    notebook.cells = [nbformat.v4.new_markdown_cell("# Fake"), first, *map(nbformat.v4.new_code_cell, cells)]
    path.parent.mkdir(parents=True, exist_ok=True)
    nbformat.write(notebook, path)
    return path


def make_season(root: Path, words: dict[str, str]) -> FakeSeason:
    """A season folder with one recording per tool, and one report for each."""
    folder = root / "season"
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    (folder / "bench.toml").write_text("format = 1\n")
    for tool, word in words.items():
        (folder / "recordings" / f"{tool}.txt").write_text(word)
    settings = SeasonSettings(
        folder=folder,
        name="A <fake> season",
        protocols={"held": Protocol(id="held", label="held pressure")},
        setups={one: Setup(id=one, label=one) for one in ("near", "far")},
        tools={tool: Tool(id=tool, name=f"Tool {tool}") for tool in words},
        episodes={
            "one": Episode(
                id="one", title="The <far> end", tools=tuple(words), setups=("near", "far"), protocols=("held",)
            )
        },
        runs=tuple(
            RunEntry(run=t, file=f"recordings/{t}.txt", tool=t, setup="near", protocol=f"p-{t}", logger="rig")
            for t in words
        ),
        digests={"bench.toml": digest(folder / "bench.toml")},
    )
    return FakeSeason(folder, settings, [Plan("one", tool) for tool in words])


def make_options(root: Path, **kwargs: Any) -> RunOptions:
    """Options that use the fake notebook, and our own pages with a fake report template."""
    templates = root / "templates"
    if not templates.exists():
        own = Path(__file__).parents[2] / "templates" / "toolbench-pages"
        (templates / "toolbench-report").mkdir(parents=True)
        (templates / "toolbench-report" / "index.html.j2").write_text(TEMPLATE)
        (templates / "toolbench-report" / "conf.json").write_text('{"mimetypes": {"text/html": true}}')
        (templates / "toolbench-pages").symlink_to(own)
        make_notebook(root / "fake.ipynb")
    return RunOptions(**{"jobs": 2, "notebook": root / "fake.ipynb", "templates": templates} | kwargs)


def running(mark: str) -> list[int]:
    """Processes, zombies apart, that were started with a text in their environment, or forked from such a one."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            if mark.encode() in (entry / "environ").read_bytes():
                found.append(int(entry.name))
        except OSError:
            continue
    return sorted(found)


def states(out: Path) -> dict[str, str]:
    """State of each report by tool, from season.json."""
    rows = json.loads((out / "season.json").read_text())["reports"]
    return {row["subject"]: row["state"] for row in rows}
