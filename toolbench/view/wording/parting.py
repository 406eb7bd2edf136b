"""When two curves part, how well the ends of that are known, and where a band holds less often than it says."""

from __future__ import annotations

import math

from toolbench.quantities import format_percent, format_seconds
from toolbench.records.comparison import ComparisonRecord, Span
from toolbench.view.wording.printed import item_label, print_share, print_span, response_words


def _stretch(span: Span) -> str:
    at_once = format_seconds(span.from_s) == format_seconds(span.to_s)
    where = f"at {format_seconds(span.from_s)}" if at_once else f"from {print_span(span.from_s, span.to_s)}"
    # Rounded down: a stretch with a gap is never told as one without.
    share = math.floor(100 * span.share)
    return f"{where} (the band leaves zero in {format_percent(share, signed=False)} of it)" if span.share < 1 else where


def _beginning(span: Span) -> str:
    """How early the first parting may be; empty where it is the first moment judged."""
    shown, outer, by_means = span.from_s, span.outer_from_s, _by_means(span.mean_from_s, span.from_s)
    if outer == -math.inf:
        return f"It may have begun at any time before {format_seconds(shown)}{by_means}"
    if not outer < shown:
        return ""
    return f"It began between {_rounded(outer)} and {format_seconds(shown)}{by_means}"


def _ending(span: Span) -> str:
    """How late the last parting may end; empty where it is the last moment judged."""
    shown, outer, by_means = span.to_s, span.outer_to_s, _by_means(span.mean_to_s, span.to_s)
    if outer == math.inf:
        return f"it may have lasted to any time after {format_seconds(shown)}{by_means}"
    if not outer > shown:
        return ""
    return f"it ended between {format_seconds(shown)} and {_rounded(outer)}{by_means}"


def _by_means(mean_s: float, shown_s: float) -> str:
    return f" (by the means, {_rounded(mean_s)})" if math.isfinite(mean_s) and mean_s != shown_s else ""


def _rounded(seconds: float) -> str:
    """A crossing between grid times, to three digits: it is known no better."""
    return format_seconds(float(f"{seconds:.3g}"))


def _ends(spans: list[Span]) -> str:
    """The uncertainty of the first beginning and the last end of a pair's stretches, as a sentence or nothing."""
    told = [text for text in (_beginning(spans[0]), _ending(spans[-1])) if text]
    text = "; ".join(told)
    return f" {text[0].upper()}{text[1:]}." if text else ""


def _where(spans: list[Span]) -> str:
    """One or two stretches as they are; of more of them their number, how far they reach, and the longest."""
    if len(spans) <= 2:
        return " and ".join(_stretch(span) for span in spans)
    longest = max(spans, key=lambda span: span.to_s - span.from_s)
    reach = f"{format_seconds(spans[0].from_s)} and {format_seconds(spans[-1].to_s)}"
    length = f", the longest {_stretch(longest)}" if longest.to_s > longest.from_s else ""
    return f"in {len(spans)} stretches between {reach}{length}"


def span_sentence(record: ComparisonRecord, spans: list[Span]) -> str:
    """When two curves part, for all stretches of one pair and one direction, in the order of time.

    For example "far against near: the curves of torque part from 1.25 s to 12 s, 6.2 % to 9.9 % lower (...)".
    """
    first = spans[0]
    item, base = item_label(record, first.item), item_label(record, first.baseline)
    sizes = [abs(size) for span in spans for size in (span.smallest_percent, span.largest_percent)]
    small, large = (format_percent(size, signed=False) for size in (min(sizes), max(sizes)))
    word = "higher" if first.largest_percent > 0 else "lower"
    amount = small if small == large else f"{small} to {large}"
    return (
        f"{item} against {base}: the curves of {response_words(first.response)} part {_where(spans)}, {amount} {word}"
        f" (simultaneous band, {print_share(record.confidence)} confidence).{_ends(spans)}"
    )


def band_notes(record: ComparisonRecord) -> tuple[str, ...]:
    """What simulation of the like found simultaneous bands to reach outside what they were chosen for, a line per share."""
    found: dict[tuple[str, str], list[str]] = {}
    judged: dict[str, int] = {}
    for band in record.bands:
        if band.percent_simultaneous is None:
            continue
        judged[band.response] = judged.get(band.response, 0) + 1
        if band.coverage is not None:
            # Rounded down, and never all of them: 1,000 simulated reports tell no more.
            share = format_percent(min(math.floor(100 * band.coverage), 99), signed=False)
            pair = f"{item_label(record, band.item)} against {item_label(record, band.baseline)}"
            found.setdefault((share, band.response), []).append(pair)
    return tuple(
        f"{'' if len(pairs) == judged[response] else ', '.join(pairs) + ': '}"
        f"{'C' if len(pairs) == judged[response] else 'c'}urves of {response_words(response)} from few runs, rough ones or ones of"
        f" uneven scatter: in simulation of the like, bands made for 95 % held over the whole run in {share} of the reports."
        for (share, response), pairs in found.items()
    )


def span_sentences(record: ComparisonRecord) -> tuple[str, ...]:
    """When curves part, one sentence per pair and direction, and the pairs whose bands never leave zero."""
    groups: dict[tuple[str, str, str, bool], list[Span]] = {}
    for span in sorted(record.spans, key=lambda found: found.from_s):
        groups.setdefault((span.item, span.baseline, span.response, span.largest_percent > 0), []).append(span)
    order = {item.id: index for index, item in enumerate(record.items)}
    said = [span_sentence(record, groups[key]) for key in sorted(groups, key=lambda k: (order.get(k[0], 0), k[1:]))]
    parted = {(span.item, span.baseline, span.response) for span in record.spans}
    for band in record.bands:
        key = (band.item, band.baseline, band.response)
        if band.percent_simultaneous is None or key in parted or not _any_finite(band.percent_simultaneous[0]):
            continue
        said.append(
            f"{item_label(record, band.item)} against {item_label(record, band.baseline)}: the curves of"
            f" {response_words(band.response)} are not told apart at any time."
        )
    return (*said, *band_notes(record))


def _any_finite(values: object) -> bool:
    return any(math.isfinite(v) for v in values)  # type: ignore[attr-defined]
