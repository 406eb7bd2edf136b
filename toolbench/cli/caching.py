"""`cache`: where reduced recordings are kept, how much that is, and away with them."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

import click

from toolbench.cli.options import debug_option, json_option
from toolbench.cli.wrapping import told


@click.command()
@click.option("--clear", is_flag=True, help="Remove what is kept; whatever is needed again is worked out again.")
@json_option
@debug_option
def cache(clear: bool, as_json: bool) -> int:
    """Where reduced recordings are kept between calls, and how much; it may be removed at any time."""
    from toolbench.logs.kept.store import open_store

    store = open_store()
    if store is None:
        click.echo(
            json.dumps({"folder": None}) if as_json else "nothing is kept: TOOLBENCH_CACHE=off, or no home folder"
        )
        return 0
    removed = store.clear() if clear else None
    held = store.held()
    if as_json:
        click.echo(json.dumps(_facts(held) | ({"removed": _facts(removed)} if removed else {}), indent=1))
        return 0
    if removed:
        told(f"removed {_amount(removed)} from {removed.folder}")
        if sum(held.counts.values()):
            told(f"left: {_amount(held)}, new or not to be removed")
        return 0
    told(f"folder    {held.folder}")
    told(f"holds     {_amount(held)}")
    told(f"bound     {_megabytes(held.bound)}; what was not used for longest goes first")
    return 0


def _facts(held: Any) -> dict[str, Any]:
    return {**asdict(held), "folder": str(held.folder)}


def _amount(held: Any) -> str:
    runs, digests = held.counts["run"], held.counts["digest"]
    return f"{_count(runs, 'reduced recording')} and {_count(digests, 'digest')}, {_megabytes(held.size)}"


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _megabytes(size: int) -> str:
    return f"{size / 1e6:.1f} MB" if size < 1e9 else f"{size / 1e9:.2f} GB"
