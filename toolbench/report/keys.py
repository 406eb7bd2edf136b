"""What a report was made from, as one digest: it is made again when this digest, or any file it read, has changed."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from importlib import metadata
from pathlib import Path
from typing import Any

from toolbench.files import digest
from toolbench.logs.kept.known import find_digest
from toolbench.logs.kept.store import Store, open_store
from toolbench.report.ledger import STALE, Ledger
from toolbench.report.shipped import PACKAGE

LIBRARIES = (
    "numpy", "scipy", "pandas", "matplotlib", "pyarrow", "pint", "pydantic",
    "jinja2", "nbconvert", "nbclient", "papermill", "ipykernel", "ipython", "mistune",
)  # fmt: skip
"""Libraries whose version can change a number, a picture or a page."""


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return ""


def _tree(folder: Path) -> Iterable[tuple[str, str]]:
    for path in sorted(folder.rglob("*")):
        if path.is_file() and "__pycache__" not in path.parts and "_shipped" not in path.parts:
            yield path.relative_to(folder).as_posix(), digest(path)


@lru_cache(maxsize=8)
def program_digest(notebook: Path, templates: Path) -> str:
    """One digest over the code, the notebook, the templates, the interpreter and the versions of the libraries."""
    parts: list[Any] = [platform.python_version(), digest(notebook)]
    parts += [[name, _version(name)] for name in LIBRARIES]
    parts += list(_tree(PACKAGE)) + list(_tree(templates))
    return _sha(parts)


def _sha(value: object) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True).encode("utf-8")).hexdigest()


class Inputs:
    """Digests of the files of a season, each read once; None for a file that is not there."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._known: dict[str, str | None] = {}
        self._store = open_store()

    def of(self, name: str) -> str | None:
        """sha256 of one file by its path relative to the season folder."""
        if name not in self._known:
            self._known[name] = _digest_of(self.folder / name, self._store)
        return self._known[name]

    def hold(self, recorded: dict[str, str]) -> bool:
        """Whether every file that a report says it read still has the same bytes."""
        return all(self.of(name) == value for name, value in recorded.items())


def _digest_of(path: Path, store: Store | None) -> str | None:
    """sha256 of a file; from the cache where the system says that the file is the one hashed before."""
    if store is not None:
        known = find_digest(path, store)
        if known is not None:
            return known.digest
    try:
        return digest(path) if path.is_file() else None
    except OSError:
        return None


DRIVES = frozenset({"inlet_pressure", "supply_pressure", "voltage"})
"""Channels that a recording teaches something of its tool's supply by."""


def bench_key(settings: Any, inputs: Inputs, program: str) -> str:
    """Digest of all that the page on the bench depends on: the settings and every recording."""
    return _sha(
        {
            "program": program,
            "settings": {name: inputs.of(name) for name in settings.digests},
            "recordings": {entry.file: inputs.of(entry.file) for entry in settings.runs if not entry.excluded},
        }
    )


def pages_key(settings: Any, ledger: Ledger, program: str, states: Mapping[str, str]) -> str:
    """Digest of all that the season page and the episode pages depend on: the settings, and each report as it stands."""
    rows = [
        {
            **row,
            # A report made now and one left alone look the same on a page, and no page says how long it took.
            "state": "made" if row["state"] in ("rendered", "unchanged") else row["state"],
            "seconds": 0,
            "page": ledger.has_page(path),
            "stale": (ledger.out / path / STALE).is_file(),
            "results": ledger.written.get(f"{path}/results.json"),
        }
        for path, row in ledger.rows.items()
    ]
    return _sha(
        {
            "program": program,
            "name": settings.name,
            "settings": dict(settings.digests),
            "episodes": list(settings.episodes),
            "reports": rows,
            "others": dict(states),
        }
    )


def report_key(plan: Any, settings: Any, inputs: Inputs, program: str, *, asked: Sequence[str] = ()) -> str:
    """Digest of all that a report may depend on before it is made.

    Every recording under the report's protocol counts, not only those of its own items: repeatability is pooled over them.
    So do those of the check standard: a block out of control puts runs of other protocols in doubt; and every recording of
    the tools compared that has a drive, since the supply section learns from them. `asked` names the checks asked for beyond the usual.
    """
    standards = {tool.id for tool in settings.tools.values() if tool.role == "check standard"}
    compared = {cell.tool for cell in plan.cells}
    entries = [
        entry
        for entry in settings.runs
        if entry.protocol == plan.protocol
        or entry.tool in standards
        or (entry.tool in compared and not DRIVES.isdisjoint(settings.loggers[entry.logger].channels))
    ]
    return _sha(
        {
            "program": program,
            "settings": {name: inputs.of(name) for name in settings.digests},
            "plan": [plan.episode, plan.axis, plan.subject, plan.protocol],
            "runs": [[entry.run, entry.file, entry.tool, entry.setup, entry.excluded] for entry in entries],
            "recordings": {entry.file: inputs.of(entry.file) for entry in entries},
            **({"asked": list(asked)} if asked else {}),
        }
    )
