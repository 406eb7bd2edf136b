"""What the blocks of a report allow: which item lacks which block, and pairs that are compared in a part of their runs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from toolbench.metrology import shared_blocks
from toolbench.metrology.samples import FEWEST_BLOCKS
from toolbench.records.comparison import Item
from toolbench.records.findings import Finding
from toolbench.records.runs import Run
from toolbench.records.settings import Episode
from toolbench.season.judged import compared_pairs


def block_findings(episode: Episode, items: Sequence[Item], runs: Sequence[Run]) -> list[Finding]:
    """Items that lack a block of the report, and how pairs are compared where their blocks are not alike.

    Nothing is said where no block holds two items: such a report was not planned in blocks.
    """
    block_of = {run.id: run.entry.block for run in runs}
    blocks = {item.id: [block_of[name] for name in item.runs] for item in items}
    known = {item.id: item for item in items}
    pairs = [(known[a], known[b]) for a, b in compared_pairs([item.id for item in items], episode.compare)]
    everywhere = Counter(name for mine in blocks.values() for name in {*mine} - {""})
    if not everywhere or max(everywhere.values()) < 2:
        return []
    alone = {one.id for pair in pairs if not _shared(blocks, pair) for one in pair if len(one.runs) >= FEWEST_BLOCKS}
    lacking = [
        _lacks(item, missing, item.id in alone and len(everywhere) >= FEWEST_BLOCKS)
        for item in items
        if (missing := sorted(everywhere.keys() - set(blocks[item.id])))
    ]
    return lacking + [finding for pair in pairs if (finding := _in_part(pair, blocks)) is not None]


def _shared(blocks: Mapping[str, Sequence[str]], pair: tuple[Item, Item]) -> tuple[str, ...]:
    return shared_blocks(*(blocks[one.id] for one in pair))


def _lacks(item: Item, missing: Sequence[str], alone: bool) -> Finding:
    word = "block" if len(missing) == 1 else "blocks"
    told = "; its runs count as independent, so what differs between blocks does not cancel" if alone else ""
    return Finding(
        code="blocks-incomplete",
        severity="doubtful" if alone else "note",
        kind="design",
        message=f"{item.label} has no run in {word} {', '.join(missing)}{told}.",
        mend="run every item in every block",
        subjects=(item.id,),
    )


def _in_part(pair: tuple[Item, Item], blocks: Mapping[str, Sequence[str]]) -> Finding | None:
    """How a pair is compared in blocks that do not hold all its runs, or unequal numbers of them; None where they do."""
    shared = _shared(blocks, pair)
    if not shared:
        return None
    outside = [run for item in pair for run, name in zip(item.runs, blocks[item.id], strict=True) if name not in shared]
    uneven = any(len({blocks[item.id].count(name) for name in shared}) > 1 for item in pair)
    if not outside and not uneven:
        return None
    told = []
    if outside:
        counted = f"{len(outside)} {'run' if len(outside) == 1 else 'runs'} outside them ({', '.join(outside)})"
        told.append(f"{counted} {'counts' if len(outside) == 1 else 'count'} in the levels only")
    if uneven:
        told.append("these hold unequal numbers of runs, and each block counts once")
    return Finding(
        code="compared-in-part",
        severity="note",
        kind="design",
        message=f"{pair[0].label} and {pair[1].label} are compared within {len(shared)} blocks that both were run in; "
        f"{'; '.join(told)}. So the percentage is that of the blocks' means, not of the two levels.",
        mend="run every item equally often in every block",
        subjects=tuple(item.id for item in pair),
    )
