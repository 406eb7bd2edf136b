"""The run sheet to print: cautions on top, a box to tick for every run, and why there are so many."""

from __future__ import annotations

import html

from toolbench.records.settings import Tool
from toolbench.season.plan.planning import EpisodePlan
from toolbench.view.cautions import REMINDER, planned_cautions
from toolbench.view.markup import render
from toolbench.view.page import content_policy, style_text
from toolbench.view.wording.planning import (
    answer_sentence,
    blocks_of,
    costs_sentence,
    like_reports,
    scatter_sentence,
)

GENERATOR = "toolbench plan"
_PRINTED = """
.tb-sheet { width: 100%; }
.tb-sheet td, .tb-sheet tbody th { border-top: 1px solid var(--tb-rule); padding-block: .45rem; }
.tb-sheet .tb-blank { min-width: 11rem; color: var(--tb-muted); }
@media print { .tb-scroll { break-inside: avoid; } .tb-sheet { font-size: 8.5pt; } }
"""


def sheet_html(plan: EpisodePlan, digest: str) -> str:
    """The printable sheet of a plan; `digest` is that of the CSV file it goes with."""
    settings = plan.season.settings
    style = style_text() + _PRINTED.rstrip("\n")
    title = f"Run sheet: {settings.episodes[plan.episode].title}"
    return render(
        "run_sheet",
        {
            "policy": content_policy(style),
            "style": style,
            "generator": GENERATOR,
            "digest": digest,
            "title": title,
            "order": order_sentence(plan),
            "reminder": REMINDER,
            "cautions": sheet_cautions(plan),
            "blocks": blocks_of(plan.sheet),
            "tools": {row.tool: _tool_words(settings.tools[row.tool]) for row in plan.sheet},
            "setups": {row.setup: settings.setups[row.setup].label for row in plan.sheet},
            "reasons": [(f"Protocol {need.protocol.label}", reasons(plan, k)) for k, need in enumerate(plan.protocols)],
            "remarks": plan.remarks,
        },
    )


def _tool_words(tool: Tool) -> str:
    """The tool's name with its id, since two specimens of one model share a name."""
    return tool.id if not tool.name or tool.name == tool.id else f"{tool.name} ({tool.id})"


def reasons(plan: EpisodePlan, number: int) -> list[str]:
    """The sentences of one protocol that say how many runs it takes, how that is known and what they cost."""
    need = plan.protocols[number]
    said: list[str] = []
    for names, report in like_reports(need):
        said.append(f"{', '.join(names)}: {answer_sentence(plan, need, report)} {scatter_sentence(need, report)}")
    return [*said, *filter(None, [costs_sentence(need)])]


def order_sentence(plan: EpisodePlan) -> str:
    """How the order came about, so that it can be made again."""
    return (
        f"Every item once in each block, in the order given: it is drawn at random with the seed {plan.seed}, and the same"
        " seed gives it again. A run that is spoilt is repeated at once, within its block."
    )


def sheet_cautions(plan: EpisodePlan) -> tuple[str, ...]:
    """Cautions that fit the planned tools and setups; a cited permission is said first."""
    settings = plan.season.settings
    tools = [settings.tools[id] for id in dict.fromkeys(row.tool for row in plan.sheet)]
    setups = [settings.setups[id] for id in dict.fromkeys(row.setup for row in plan.sheet)]
    return planned_cautions(tools, setups, starts=len(plan.sheet), permission=plan.permission)


def is_sheet(text: str) -> str:
    """The digest in a printable sheet that was written here; empty for any other file."""
    marks = [f'<meta name="generator" content="{GENERATOR}">', '<meta name="toolbench-sheet" content="']
    if not all(mark in text for mark in marks):
        return ""
    return html.unescape(text.partition(marks[1])[2].partition('"')[0])
