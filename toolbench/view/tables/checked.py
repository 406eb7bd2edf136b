"""The Monte Carlo check as printed: a row per percent difference, and a note for each that differs."""

from __future__ import annotations

import math

from toolbench.quantities import format_interval, format_number, format_percent
from toolbench.quantities.format import THIN
from toolbench.records.comparison import CheckedRow, ComparisonRecord, Interval, MonteCarlo
from toolbench.records.settings import SeasonSettings
from toolbench.view.wording.printed import item_label, metric_words, print_share


def check_sentences(check: MonteCarlo) -> tuple[str, ...]:
    """How the check was made, and what came of it."""
    made = (
        f"Monte Carlo check (JCGM 101:2008): {_count(check.draws)} draws of every percent difference, seed {check.seed}."
        " The inputs are those of the budget, normal with their standard uncertainties; a source that two levels share is"
        f" drawn once. Intervals hold {print_share(check.confidence)} of the draws; the linear half width beside them is for"
        " the same normal inputs, so it is narrower than the printed interval where degrees of freedom are few."
    )
    if not check.rows:
        return (made, "No percent difference had an uncertainty to check.")
    share = print_share(check.notable)
    if not check.differing:
        return (made, f"No half width differs from the linear one by more than {share}.", *_of_t(check))
    count = f"{len(check.differing)} of {len(check.rows)}"
    return (made, f"In {count} rows the half width differs from the linear one by more than {share}.", *_of_t(check))


def _of_t(check: MonteCarlo) -> tuple[str, ...]:
    if not any(row.t_symmetric for row in check.rows):
        return ()
    return (
        "With t-distributed inputs, as information: these intervals exceed those with effective degrees of freedom, by 1.66,"
        " 1.33 and 1.21 times at 3, 4 and 5 runs a side, as t-distributions have wider tails than their degrees of freedom"
        " put together allow for (JCGM 101, 6.4.9); that is no fault of linear propagation.",
    )


def _count(draws: int) -> str:
    return f"{draws:,}".replace(",", THIN)


def _ends(interval: Interval) -> str:
    return format_interval(interval.lower, interval.upper, "%")


def difference_words(row: CheckedRow, record: ComparisonRecord, settings: SeasonSettings) -> str:
    """Which percent difference a row is about."""
    what = metric_words(record, settings, row.response, row.metric, row.at)
    return f"{item_label(record, row.item)} against {item_label(record, row.baseline)}: {what}"


def note(row: CheckedRow, check: MonteCarlo) -> str:
    """What is said of a row whose half width differs; empty for the others."""
    if abs(row.excess) <= check.notable:
        return ""
    how = "wider" if row.excess > 0 else "narrower"
    said = f"{format_number(100 * abs(row.excess), 2, unit='%')} {how} than the linear half width: a ratio is not linear in"
    if math.isnan(row.printed.lower):
        return f"{said} a base that may be zero. No percent interval is printed; the absolute difference is judged."
    return f"{said} so uncertain a base. The printed interval is that of the ratio (Fieller) and does not rest on it."


def checked(record: ComparisonRecord, settings: SeasonSettings) -> dict[str, object] | None:
    """Sentences and rows of the check, None where none was asked for."""
    check = record.monte_carlo
    if check is None:
        return None
    return {
        "sentences": check_sentences(check),
        "with_t": any(row.t_symmetric for row in check.rows),
        "rows": [
            {
                "what": difference_words(row, record, settings),
                "linear": format_percent(row.linear_percent, row.linear_half_width),
                "mean": format_number(row.mean, 3, unit="%", signed=True),
                "symmetric": _ends(row.symmetric),
                "shortest": _ends(row.shortest),
                "half_width": format_number(row.half_width, 2, unit="%"),
                "t": _ends(row.t_symmetric) if row.t_symmetric else "",
                "note": note(row, check),
            }
            for row in check.rows
        ],
    }
