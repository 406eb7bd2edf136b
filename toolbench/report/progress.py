"""How a run shows itself on standard error: a live table on a terminal, one line per report elsewhere."""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from typing import IO, Any

WORDS = {
    "rendered": "rendered",
    "unchanged": "unchanged",
    "failed": "FAILED",
    "skipped": "skipped",
    "to render": "to render",
}


def say(stream: IO[str], text: str) -> None:
    """Write one line, whatever the stream's encoding can hold; what it cannot becomes `?`."""
    encoding = getattr(stream, "encoding", None) or "utf-8"
    stream.write(text.encode(encoding, "replace").decode(encoding) + "\n")
    stream.flush()


def row_line(row: dict[str, Any]) -> str:
    """One report in one line: state, path, seconds, and the first line of what went wrong."""
    took = f" ({row['seconds']:.1f} s)" if row["state"] in ("rendered", "failed") else ""
    why = f": {row['error'].splitlines()[0]}" if row["error"] else ""
    return f"{WORDS[row['state']]:<9} {row['path']}{took}{why}"


class LineWatcher:
    """One line per report as it ends; unchanged ones are counted only."""

    def __init__(self, stream: IO[str]) -> None:
        self.stream = stream

    def __enter__(self) -> LineWatcher:
        return self

    def __exit__(self, *_: object) -> None:
        return

    def planned(self, rows: Sequence[dict[str, Any]]) -> None:
        unchanged = sum(row["state"] == "unchanged" for row in rows)
        if unchanged:
            say(self.stream, f"{unchanged} of {len(rows)} reports unchanged")

    def started(self, report: str) -> None:
        return

    def ended(self, row: dict[str, Any]) -> None:
        if row["state"] != "unchanged":
            say(self.stream, row_line(row))


class LiveWatcher(LineWatcher):
    """A table of what is being made, above it a line for every failure as it comes."""

    def __init__(self, stream: IO[str]) -> None:
        from rich.console import Console
        from rich.live import Live

        super().__init__(stream)
        self.running: dict[str, float] = {}
        self.done = self.failed = self.total = 0
        self.console = Console(file=stream, highlight=False)
        # The live view asks for its first picture at once, so the counts stand before it.
        self.live = Live(console=self.console, refresh_per_second=4, transient=True, get_renderable=self.table)

    def __enter__(self) -> LiveWatcher:
        self.live.__enter__()
        return self

    def __exit__(self, *_: object) -> None:
        self.live.__exit__(None, None, None)

    def table(self) -> Any:
        """What the terminal shows now."""
        from rich.table import Table
        from rich.text import Text

        table = Table(box=None, pad_edge=False, show_header=False)
        table.add_row(Text(f"{self.done} of {self.total} reports, {self.failed} failed"), "")
        for report, begun in list(self.running.items()):
            table.add_row(Text(f"  {report}"), f"{time.monotonic() - begun:.0f} s")
        return table

    def planned(self, rows: Sequence[dict[str, Any]]) -> None:
        self.total = len(rows)

    def started(self, report: str) -> None:
        self.running[report] = time.monotonic()

    def ended(self, row: dict[str, Any]) -> None:
        self.running.pop(row["path"], None)
        self.done += 1
        if row["state"] == "failed":
            from rich.text import Text

            self.failed += 1
            self.console.print(Text(row_line(row)))


def watch(stream: IO[str]) -> LineWatcher:
    """The watcher that suits a stream: live on a terminal that can show it, lines elsewhere."""
    live = stream.isatty() and os.environ.get("TERM", "") not in ("dumb",) and _can_draw(stream)
    return LiveWatcher(stream) if live else LineWatcher(stream)


def _can_draw(stream: IO[str]) -> bool:
    return (getattr(stream, "encoding", "") or "").lower().replace("-", "") == "utf8"
