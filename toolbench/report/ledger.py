"""The output folder: season.json, what the program has written in it, and publishing by rename.

What the program did not write is never overwritten or deleted without `force`: a foreign file where a page belongs stops
the run before it starts, a page edited by hand is kept beside the new one as `NAME.edited`.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from toolbench.errors import Fault, OutputError
from toolbench.files import digest, digest_bytes, write_bytes, write_text

FORMAT = 1
WORK = ".toolbench-work"
STALE = "STALE.txt"


class Ledger:
    """season.json of one output folder.

    Attributes
    ----------
    rows : dict
        Row of each report by its path: the contract's keys, and those the season page needs.
    made : dict
        Of each report that was published: the key and inputs it was made from.
    written : dict
        sha256 of every file the program has written, by path below the folder.
    """

    def __init__(self, out: Path, *, force: bool = False) -> None:
        self.out, self.force = out, force
        self.rows: dict[str, dict[str, Any]] = {}
        self.made: dict[str, dict[str, Any]] = {}
        self.written: dict[str, str] = {}
        self.inputs: dict[str, str] = {}
        self.set_aside: list[str] = []
        self._read()

    def _read(self) -> None:
        path = self.out / "season.json"
        if self.out.exists() and not self.out.is_dir():
            raise OutputError(
                Fault("is a file; reports need a folder", file=str(self.out), mend="choose another with -o")
            )
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return
        except (OSError, ValueError):
            content = None
        if not isinstance(content, dict) or "reports" not in content or "format" not in content:
            if self.force:
                return
            raise OutputError(
                Fault("is not from toolbench", file=str(path), mend="choose another folder with -o, or --force")
            )
        if content["format"] != FORMAT:
            raise OutputError(
                Fault(
                    f"has format {content['format']!r}; this toolbench writes format {FORMAT}",
                    file=str(path),
                    mend="use the newer toolbench, or choose another folder with -o",
                )
            )
        self.rows = {row["path"]: row for row in content["reports"]}
        self.made = content.get("made", {})
        self.written = content.get("written", {})
        self.inputs = content.get("inputs", {})

    def save(self) -> None:
        """Write season.json, whole: an entry a line, to be read and compared, and a tenth of the work of an indented one."""
        rows = ",\n".join(f"  {_json(row)}" for row in self.rows.values())
        parts = [f'"format": {FORMAT}', f'"inputs": {_lines(self.inputs)}', f'"made": {_lines(self.made)}']
        parts += [f'"reports": [\n{rows}\n ]', f'"written": {_lines(self.written)}']
        write_text(self.out / "season.json", "{\n " + ",\n ".join(parts) + "\n}\n")

    def refuse_foreign(self, names: Iterable[str]) -> None:
        """Stop before anything is written when a file of that name is there and not ours. Raises OutputError."""
        if self.force:
            return
        foreign = [name for name in names if name not in self.written and os.path.lexists(self.out / name)]
        if foreign:
            more = f" and {len(foreign) - 1} more" if len(foreign) > 1 else ""
            raise OutputError(
                Fault(
                    f"is there already and not from toolbench{more}",
                    file=str(self.out / foreign[0]),
                    mend="choose another folder with -o, or overwrite with --force",
                )
            )

    def files_by_report(self) -> dict[str, list[str]]:
        """Names of what was written for each report, notes of staleness apart, by the report's path."""
        found: dict[str, list[str]] = {}
        for name in self.written:
            episode, _, rest = name.partition("/")
            report, below, file = rest.partition("/")
            if below and file != STALE:
                found.setdefault(f"{episode}/{report}", []).append(name)
        return found

    def as_written(self, name: str) -> bool:
        """Whether one file is there as the program wrote it."""
        return name in self.written and _same(self.out / name, self.written[name])

    def has_page(self, report: str) -> bool:
        """Whether an earlier page of this report is there."""
        return (self.out / report / "report.html").is_file()

    def write_page(self, name: str, text: str) -> None:
        """Write one page of ours; one that was edited meanwhile is kept beside it."""
        data = text.encode("utf-8")
        path = self.out / name
        self._keep_edited(name, path.parent)
        write_bytes(path, data)
        self.written[name] = digest_bytes(data)

    def remove_page(self, name: str) -> None:
        """Remove one file of ours; one that was edited, or is not ours, stays."""
        if name in self.written:
            if _same(self.out / name, self.written[name]):
                (self.out / name).unlink()
            del self.written[name]

    def _keep_edited(self, name: str, folder: Path) -> None:
        path = self.out / name
        if self.force or not path.is_file() or (name in self.written and _same(path, self.written[name])):
            return
        kept = _free_name(folder / (path.name + ".edited"), self.out / Path(name).parent)
        shutil.copy2(path, kept)
        self.set_aside.append((Path(name).parent / kept.name).as_posix())

    def publish(self, report: str, staged: Path) -> None:
        """Put a finished folder in the place of the old one by rename; files there that are not ours move along."""
        target = self.out / report
        old = self.out / WORK / ("old " + report.replace("/", " "))
        fresh = {
            f"{report}/{path.relative_to(staged).as_posix()}": digest(path)
            for path in sorted(staged.rglob("*"))
            if path.is_file()
        }
        if target.is_dir():
            self._carry_over(report, target, staged, fresh)
        # The new digests are on record first: a run that is cut off here finds its own files again.
        self.written = {
            name: value for name, value in self.written.items() if not name.startswith(report + "/")
        } | fresh
        self.save()
        _remove_tree(old)
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists():
            target.rename(old)
        staged.rename(target)
        _remove_tree(old)

    def _carry_over(self, report: str, target: Path, staged: Path, fresh: Mapping[str, str]) -> None:
        for path in sorted(target.rglob("*")):
            inside = path.relative_to(target)
            name = f"{report}/{inside.as_posix()}"
            if path.is_dir() or inside.as_posix() == STALE:
                continue
            (staged / inside).parent.mkdir(parents=True, exist_ok=True)
            if name in self.written or name in fresh:
                self._keep_edited(name, (staged / inside).parent)
            else:
                shutil.copy2(path, staged / inside, follow_symlinks=False)

    def recover(self) -> None:
        """Undo what a run that was cut off has left: a page between two renames goes back, attempts are cleared."""
        work = self.out / WORK
        if not work.is_dir():
            return
        for old in work.glob("old *"):
            target = self.out / old.name.removeprefix("old ").replace(" ", "/")
            if not target.exists():
                target.parent.mkdir(parents=True, exist_ok=True)
                old.rename(target)
        _remove_tree(work)


def refuse_place(season: Any, out: Path) -> None:
    """Reports among the season's own files would be taken for recordings the next time. Raises OutputError."""
    here, folder = out.resolve(), Path(season.folder).resolve()
    recordings = {folder.joinpath(run.file).parent for run in season.settings.runs} - {folder}
    if here == folder:
        what = "is the season's own folder"
    elif any(place == here or place in here.parents for place in recordings):
        what = "lies among the season's recordings, which are never written to"
    else:
        return
    raise OutputError(Fault(what, file=str(out), mend="choose another folder with -o, such as reports"))


def _json(value: object) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, allow_nan=False)


def _lines(entries: Mapping[str, object]) -> str:
    return "{\n" + ",\n".join(f"  {_json(key)}: {_json(entries[key])}" for key in sorted(entries)) + "\n }"


def _same(path: Path, value: str) -> bool:
    with contextlib.suppress(OSError):
        return digest(path) == value
    return False


def _free_name(wanted: Path, also: Path) -> Path:
    """The wanted name, numbered when it is taken here or in the folder that this one will replace."""
    path, number = wanted, 1
    while path.exists() or (also / path.name).exists():
        number += 1
        path = wanted.with_name(f"{wanted.name}-{number}")
    return path


def _remove_tree(folder: Path) -> None:
    if folder.exists():
        shutil.rmtree(folder, ignore_errors=True)
