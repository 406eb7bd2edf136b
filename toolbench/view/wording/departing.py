"""How far a held pressure was from its target, and whether that is in the intervals."""

from __future__ import annotations

from toolbench.quantities import format_number
from toolbench.records.comparison import ComparisonRecord
from toolbench.records.settings import SeasonSettings
from toolbench.season.departures import Departure, find_departure, held_words
from toolbench.view.wording.printed import item_label, print_number

_UNITS = {"inlet_pressure": "Pa", "supply_pressure": "Pa", "voltage": "V"}


def departure_sentences(record: ComparisonRecord, settings: SeasonSettings) -> tuple[str, ...]:
    """One sentence on the departures of all items from what the protocol holds; none where nothing is held."""
    hold = record.protocol.hold
    if hold is None:
        return ()
    runs = {run.id: run for run in record.runs}
    known = {
        item.id: found
        for item in record.items
        if (found := find_departure([runs[r] for r in item.runs], hold)) is not None
    }
    off = {item: one for item, one in known.items() if one.is_systematic}
    if not known:
        return ()
    words = held_words(hold)
    if not off:
        return (
            f"The {words} was off its target by no more than it scatters from run to run, so the scatter holds it.",
        )
    listed = "; ".join(
        f"{item_label(record, item)} {_size(one, hold.channel, hold.at, settings)}" for item, one in off.items()
    )
    included = any(c.source.startswith("departure/") for level in record.levels for c in level.estimate.components)
    if included:
        return (
            f"The {words} was off its target on the mean of the runs ({listed}); the runs show what that does, and it is in"
            " the budget of the response.",
        )
    return (
        f"Not included: the {words} was off its target on the mean of the runs ({listed}), and these runs do not show what"
        " that does to the response.",
    )


def _size(one: Departure, channel: str, target: float, settings: SeasonSettings) -> str:
    sign = "+" if one.mean > 0 else "\u2212"
    size = print_number(abs(one.mean), _UNITS.get(channel, ""), settings, 2)
    share = f", {format_number(100 * abs(one.mean / target), 2, unit='%')} of it" if target else ""
    return f"by {sign}{size}{share}"
