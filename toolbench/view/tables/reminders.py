"""The cautions of a report, and what may not be said from it."""

from __future__ import annotations

from toolbench.view.cautions import REMINDER, cautions
from toolbench.view.markup import Compared, Shown, render
from toolbench.view.wording import limits


def show_cautions(comparison: Compared) -> Shown:
    """Cautions that fit the tools and setups compared, under the reminder that nothing is assessed here."""
    found = cautions(comparison.record, comparison.settings)
    unsaid = limits(comparison.record, comparison.settings)
    html = render("cautions", {"reminder": REMINDER, "cautions": found, "limits": unsaid})
    return Shown(html=html, text="\n".join([REMINDER, *found]))
