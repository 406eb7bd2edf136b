"""The pattern `recordings = "recordings/{tool}/{setup}/{protocol}-{run}.csv"`: which file is which run."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping
from pathlib import Path, PurePosixPath

from toolbench.settings.faults import Faults, did_you_mean

FIELDS = ("tool", "setup", "protocol", "run", "logger", "block")
_PLACE = re.compile(r"\{([^{}]*)\}|(\*)")
_ANY_ID = r"[^/]+?"


class Pattern:
    """A pattern and the ids that may fill its places. Known ids come first, so `held-long-1` parts at the right hyphen."""

    def __init__(self, written: str, known: Mapping[str, Iterable[str]]) -> None:
        self.written = written.replace("\\", "/")
        self.fields = tuple(dict.fromkeys(name for name, _ in _PLACE.findall(self.written) if name))
        self._strict = self._compile({name: tuple(ids) for name, ids in known.items()})
        self._loose = self._compile({})
        self.is_stem_enough = not _PLACE.search(str(PurePosixPath(self.written).parent))

    def _compile(self, known: Mapping[str, tuple[str, ...]]) -> re.Pattern[str]:
        text, at, seen = "", 0, set()
        for match in _PLACE.finditer(self.written):
            name = match[1]
            text += re.escape(self.written[at : match.start()])
            at = match.end()
            if name is None:
                text += "[^/]*"
            elif name in seen:
                text += f"(?P={name})"
            elif name in FIELDS:
                seen.add(name)
                ids = "|".join(re.escape(id) for id in sorted(known.get(name, ()), key=len, reverse=True))
                text += f"(?P<{name}>{ids or _ANY_ID})"
        return re.compile(text + re.escape(self.written[at:]))

    def match(self, file: str) -> dict[str, str] | None:
        """What a file's path says; ids that are not known are returned as they stand. None where it does not fit."""
        found = self._strict.fullmatch(file) or self._loose.fullmatch(file)
        return found.groupdict() if found else None

    def run_id(self, file: str) -> str:
        """The default id of a run: the file's stem, after the folders' ids where the folders tell runs apart."""
        stem = PurePosixPath(file).stem
        said = self.match(file)
        if said is None or self.is_stem_enough:
            return clean(stem)
        folders = str(PurePosixPath(self.written).parent)
        parts = [said[name] for name, _ in _PLACE.findall(folders) if name in said]
        return clean("-".join([*dict.fromkeys(parts), stem]))

    def files(self, folder: Path) -> list[str]:
        """The files below a season folder that fit, as relative paths with `/`, sorted."""
        fixed = PurePosixPath(_PLACE.split(self.written)[0])
        start = fixed if self.written.startswith(f"{fixed}/") else fixed.parent
        depth = self.written.count("/")
        found = []
        for root, folders, names in os.walk(folder / start):
            below = Path(root).relative_to(folder).as_posix()
            folders[:] = sorted(f for f in folders if not f.startswith("."))
            if (0 if below == "." else below.count("/") + 1) >= depth:
                folders.clear()
            found += [name if below == "." else f"{below}/{name}" for name in names if not name.startswith(".")]
        return sorted(file for file in found if self.match(file) is not None)


def clean(stem: str) -> str:
    """A file's stem as an id: other signs become an underscore, and no `--` stays."""
    text = re.sub(r"[^A-Za-z0-9._-]+", "_", stem)
    return re.sub(r"-{2,}", "-", text).lstrip("._-") or "run"


def check_pattern(written: str, faults: Faults) -> bool:
    """Whether a pattern can be used: known places, inside the season folder."""
    path = ("recordings",)
    good = True
    for name in (match[1] for match in _PLACE.finditer(written) if match[1] is not None):
        if name not in FIELDS:
            faults.bench(path, f'"{{{name}}}" is not a place that a pattern has', did_you_mean(name, FIELDS))
            good = False
    problem = path_fault(written)
    if problem:
        faults.bench(path, problem)
    return good and not problem


def path_fault(written: str) -> str | None:
    """What is wrong with a path that must be relative and lie inside the season folder."""
    text = written.replace("\\", "/")
    if any(sign < " " or sign == "\x7f" for sign in text):
        return f"{written!r} holds a control character: no path has one"
    if text.startswith("/") or re.match(r"[A-Za-z]:", text):
        return f'"{written}" is an absolute path: write it relative to the season folder'
    if ".." in text.split("/"):
        return f'"{written}" leads out of the season folder'
    return None
