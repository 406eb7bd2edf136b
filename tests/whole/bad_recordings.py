"""Recordings that are no good, each spoilt in one way, and what must be said of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from small_season import recording

GOOD = recording(500.0, 1)


def _text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


def _steps_back(path: Path) -> None:
    lines = GOOD.splitlines()
    lines[300] = "1000," + lines[300].split(",")[1]
    _text(path, "\n".join(lines) + "\n")


def _no_onset(path: Path) -> None:
    lines = GOOD.splitlines()
    _text(path, "\n".join([lines[0], *(f"{5 * k},{7 * k % 11 / 10}" for k in range(520))]) + "\n")


def _link_out(path: Path) -> None:
    outside = path.parent.parent.parent / "outside.csv"
    _text(outside, GOOD)
    path.symlink_to(outside)


BAD: dict[str, tuple[Callable[[Path], object], str]] = {
    "missing": (lambda path: None, "does not exist"),
    "empty": (lambda path: path.write_bytes(b""), "is empty"),
    "binary": (lambda path: path.write_bytes(bytes(range(256)) * 40), "is not text"),
    "header-only": (lambda path: _text(path, "t [ms],Torque [N*m]\n"), "holds only a header"),
    "truncated": (lambda path: _text(path, "\n".join(GOOD.splitlines()[:260])), "before the duration of 1.5 s is over"),
    "steps-back": (_steps_back, "time steps back at 1 s"),
    "no-onset": (_no_onset, "no onset found"),
    "wrong-column": (lambda path: _text(path, GOOD.replace("Torque", "Twist")), "has no column 'Torque [N*m]'"),
    "wrong-unit": (
        lambda path: _text(path, GOOD.replace("[N*m]", "[bar]")),
        "is a unit of pressure, but torque is wanted",
    ),
    "folder": (lambda path: path.mkdir(), "is a folder, not a recording"),
    "link-out": (_link_out, "leads out of the season folder"),
}
"""How to make it at a path below recordings/, and words of its sentence."""

LINES = {"header-only": 1, "steps-back": 301, "wrong-column": 1}
"""The line that is at fault, where it is one; by hand from how they are made."""


def add_all(recordings: Path) -> list[str]:
    """All of them as further runs of wrench-a on far; their rows of runs.csv."""
    for name, (make, _) in BAD.items():
        make(recordings / f"bad-{name}.csv")
    return [f"recordings/bad-{name}.csv,wrench-a,far,held" for name in BAD]
