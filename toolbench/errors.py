"""Every exception toolbench raises on purpose.

ToolbenchError
├── UsageError        the command line or a call asks for something that does not exist   exit status 2
├── SettingsError     bench.toml, tools.csv or runs.csv cannot be read or validated       exit status 2
├── RecordingError    one logger file is missing, unreadable or ambiguous                 exit status 1
├── SignalError       a recording was read, but holds no usable onset or too little       exit status 1
├── AnalysisError     the runs do not carry the comparison that was asked for             exit status 1
├── RenderError       a notebook or a page could not be made                              exit status 1
└── OutputError       the output folder cannot be written, or holds foreign files         exit status 2

A message says what is wrong with the value seen, where, and what would be right.
Every class keeps its arguments, so it survives pickling: a process pool needs that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from unicodedata import category

_UNSEEN = frozenset(["Cc", "Cf", "Cs", "Cn", "Zl", "Zp"])


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong: where, what was seen, and what would be right."""

    message: str
    file: str | None = None
    line: int | None = None
    key: str | None = None
    mend: str | None = None
    code: str = ""
    """What a program goes by where a kind of fault needs its own answer: `two-starts`, or `settings` where the file may be
    good and bench.toml does not fit it."""

    def __str__(self) -> str:
        place = shown(self.file or "")
        if self.line is not None:
            place += f":{self.line}" if place else f"line {self.line}"
        if self.key:
            place += f": {self.key}" if place else self.key
        text = f"{place}: {self.message}" if place else self.message
        return f"{text}\n  {self.mend}" if self.mend else text


def shown(name: str) -> str:
    """A file name in one line: what moves the cursor, turns the writing round or is no character stands as an escape.

    >>> shown("run\n7.csv")
    'run\\n7.csv'
    """
    if name.isprintable():
        return name
    return "".join(sign if category(sign) not in _UNSEEN else repr(sign)[1:-1] for sign in name)


class ToolbenchError(Exception):
    """Base of all: carries one fault or several, and the exit status they mean."""

    exit_status = 2

    def __init__(self, faults: str | Fault | Sequence[Fault]) -> None:
        if isinstance(faults, str):
            faults = Fault(faults)
        if isinstance(faults, Fault):
            faults = (faults,)
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__(self.faults)

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)


class UsageError(ToolbenchError):
    """The command line or a call asks for something that does not exist."""


class SettingsError(ToolbenchError):
    """bench.toml, tools.csv or runs.csv cannot be read or validated; all faults at once."""


class RecordingError(ToolbenchError):
    """One logger file is missing, unreadable or can be read in two ways that differ."""

    exit_status = 1


class SignalError(ToolbenchError):
    """A recording was read, but what it holds cannot be analysed."""

    exit_status = 1


class AnalysisError(ToolbenchError):
    """The runs do not carry the comparison that was asked for."""

    exit_status = 1


class RenderError(ToolbenchError):
    """A notebook or a page could not be made."""

    exit_status = 1


class OutputError(ToolbenchError):
    """The output folder cannot be written, or holds files toolbench did not write."""
