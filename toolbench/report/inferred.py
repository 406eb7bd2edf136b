"""The season that `compare` infers, kept in the ledger of its output folder: what was refined by hand is not overwritten."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from toolbench.errors import Fault, OutputError
from toolbench.files import digest
from toolbench.report.ledger import Ledger

FOLDER = "season"


def infer_season(folders: Sequence[Path], *, response: str | None, marks: str | None, out: Path, force: bool) -> Path:
    """Write OUT/season from folders of recordings and return it.

    Raises
    ------
    OutputError
        When OUT/season was refined by hand, or was there before: it is used with `toolbench season` from then on.
    """
    from toolbench.season.folders import compare_folders

    ledger = Ledger(out, force=force)
    home = out / FOLDER
    if not force:
        _refuse_refined(home, ledger)
    written = compare_folders(folders, response=response, marks=marks, out=out, overwrite=force or home.is_dir())
    for path in sorted(written.rglob("*")):
        if path.is_file():
            ledger.written[path.relative_to(out).as_posix()] = digest(path)
    ledger.save()
    return written


def _refuse_refined(home: Path, ledger: Ledger) -> None:
    for path in sorted(home.rglob("*")) if home.is_dir() else []:
        name = path.relative_to(ledger.out).as_posix()
        if path.is_file() and ledger.written.get(name) != digest(path):
            raise OutputError(
                Fault(
                    "is not as toolbench wrote it, and would be overwritten",
                    file=str(path),
                    mend=f"go on with: toolbench season {home} -o {ledger.out}; or begin anew with --force",
                )
            )
