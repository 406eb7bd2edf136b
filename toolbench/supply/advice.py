"""What to change on a line so that a tool gets the flowing inlet pressure that is wanted, and how long a hose may be.

Every answer comes from the model of `line`. The flow at the wanted pressure is known, so the setting that each changed line needs
is a closed form, and whole families of changes are tried in one call.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal, NamedTuple

import numpy as np

from toolbench.errors import Fault
from toolbench.records.runs import Floats
from toolbench.supply.elements import Element, Restriction
from toolbench.supply.hose import Hose
from toolbench.supply.limits import Rating, gauge_text, lowest_rating, over_rating, refuse, unrated
from toolbench.supply.line import Demand, Line, OperatingPoint, find_operating_point, needed_setting

Kind = Literal["length", "bore", "straight", "high-flow", "removed", "regulator"]

USUAL_BORES_M = (0.006, 0.008, 0.0095, 0.010, 0.013, 0.016, 0.019, 0.025)
"""Bores in which hose is usually sold: common practice, no source."""
HIGH_FLOW = Restriction(sonic_conductance=9e-8, critical_pressure_ratio=0.35, label="high-flow coupler")
"""A high-flow mated pair: 9 L/(s*bar), 0.35, from textbook figures; a maker's own figures replace it."""

_MOST_CHANGES = 3
MOST_ASPECTS = 10
"""Of a long line only the changes that help most on their own are joined to lists: the number of lists goes with the third power."""
MOST_VALUES = 6
_SETTING_STEP_PA = 1e4
"""A regulator is set to a tenth of a bar."""
_ROUNDING = 1e-12
_WHOLE = math.log(2.0)
"""What straightening or leaving out counts for: as much as a factor of two."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidates:
    """What may be changed. Hoses become shorter only, to a stated length, and wider only."""

    lengths_m: tuple[float, ...] = ()
    bores_m: tuple[float, ...] = USUAL_BORES_M
    high_flow: Restriction | None = HIGH_FLOW
    straighten: bool = True
    remove_couplers: bool = True
    raise_regulator: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One thing to change: `before` and `after` in SI (lengths and bores m, conductances m3/(s*Pa), settings Pa abs).

    Both are None where a part is straightened or left out.
    """

    part: int
    """Place in the line as it is now; 0 is the regulator."""
    label: str
    kind: Kind
    before: float | None = None
    after: float | None = None

    @property
    def size(self) -> float:
        """How much is changed: the logarithm of the ratio of the two values."""
        if self.before is None or self.after is None:
            return _WHOLE
        return abs(math.log(self.after / self.before))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChangeList:
    """Changes that together bring the inlet to what is wanted, and what comes of them."""

    changes: tuple[Change, ...]
    line: Line
    point: OperatingPoint
    spare_pa: float
    """Modelled inlet pressure less the wanted one [Pa]; negative where the list is not enough."""

    @property
    def size(self) -> float:
        """How much is changed in all."""
        return sum(change.size for change in self.changes)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Advice:
    """What was found for one line, tool and wanted pressure."""

    wanted_pa_abs: float
    now: OperatingPoint
    lists: tuple[ChangeList, ...]
    """Those that are enough, fewest changes first, then by how little is changed. None of them holds one that is enough with fewer
    changes. Empty where nothing need be changed, and where nothing is enough."""
    closest: ChangeList | None
    """Where nothing is enough: what comes closest with three changes or fewer."""
    ceiling: Rating | None
    """The lowest rating in the line, above which the regulator is never raised; None: nobody states one, so it is not raised at all."""
    unrated: tuple[str, ...]
    """Parts whose rating nobody states."""
    passed_over: int = 0
    """Changes of a long line that help least on their own and were not tried in lists."""

    @property
    def enough_now(self) -> bool:
        """Whether the line as it is gives the wanted pressure."""
        return float(self.now.inlet_pa_abs) >= self.wanted_pa_abs


class _Aspect(NamedTuple):
    """One thing of one part that may be changed, and the values it may take, the smallest change first."""

    part: int
    kind: Kind
    values: tuple[float, ...]
    instead: Restriction | None = None
    """What a coupler is changed for."""


class _Found(NamedTuple):
    """Values for some aspects, and the setting of the regulator that they need [Pa abs]."""

    picks: tuple[tuple[_Aspect, float], ...]
    needed_pa_abs: float


class _Option(NamedTuple):
    """A combination that is enough: with the regulator at `setting_pa_abs`, or None where it stays."""

    changes: tuple[Change, ...]
    found: _Found
    setting_pa_abs: float | None

    def rank(self) -> tuple[int, float, list[tuple[int, str]]]:
        """Fewest changes first, then the smallest; places and kinds for a steady order."""
        return len(self.changes), sum(c.size for c in self.changes), [(c.part, c.kind) for c in self.changes]

    def touches(self) -> frozenset[tuple[int, str]]:
        return frozenset((change.part, change.kind) for change in self.changes)


def find_changes(line: Line, demand: Demand, wanted_pa: float, candidates: Candidates | None = None) -> Advice:
    """The shortest lists of changes that bring a tool's flowing inlet pressure to `wanted_pa` [Pa gauge].

    One change, then two, then three are tried. A part that is changed for another keeps the rating of the one before: what is put
    there must be rated as high.

    Raises
    ------
    AnalysisError
        The line or the tool stands above a rated pressure now, or the wanted pressure is above one.
    """
    candidates = Candidates() if candidates is None else candidates
    wanted = wanted_pa + line.ambient_pa_abs
    refuse(over_rating(line, demand))
    refuse(wanted_above(line, demand, wanted))
    now = find_operating_point(line, demand)
    ceiling = lowest_rating(line, demand) if candidates.raise_regulator else None
    lists: tuple[ChangeList, ...] = ()
    closest = None
    aspects = _aspects(line, candidates)
    helpful = _most_helpful(line, demand, wanted, aspects)
    if float(now.inlet_pa_abs) < wanted:
        tried = list(_try_all(line, demand, wanted, helpful))
        enough = [_option(line, found, ceiling) for found in tried]
        shortest = _shortest([option for option in enough if option is not None])
        lists = tuple(_change_list(line, demand, wanted, option) for option in shortest)
        closest = None if lists else _change_list(line, demand, wanted, _closest(line, tried, ceiling))
    return Advice(
        wanted_pa_abs=wanted,
        now=now,
        lists=lists,
        closest=closest,
        ceiling=ceiling,
        unrated=unrated(line, demand),
        passed_over=len(aspects) - len(helpful),
    )


def wanted_above(line: Line, demand: Demand, wanted: float) -> tuple[Fault, ...]:
    """A fault where a wanted inlet pressure [Pa abs] is above what a part or the tool is rated for."""
    rating = lowest_rating(line, demand)
    if rating is None or wanted <= rating.pressure_pa_abs:
        return ()
    rated = gauge_text(rating.pressure_pa_abs, line)
    return (
        Fault(
            f"the wanted {gauge_text(wanted, line)} is above the {rated} that {rating.label} is rated for",
            mend=f"ask for {rated} or less",
            code="over-rating",
        ),
    )


def _aspects(line: Line, candidates: Candidates) -> list[_Aspect]:
    """Everything that may be changed, the regulator aside."""
    found: list[_Aspect] = []
    for part, element in enumerate(line.elements, start=1):
        if isinstance(element, Hose):
            shorter = sorted((x for x in candidates.lengths_m if x < element.length_m), reverse=True)
            wider = sorted(x for x in candidates.bores_m if x > element.bore_m)
            found += [_Aspect(part, "length", tuple(shorter)), _Aspect(part, "bore", tuple(wider))]
            if candidates.straighten and element.coil_diameter_m is not None:
                found.append(_Aspect(part, "straight", (0.0,)))
        elif element.kind == "coupler":
            better = candidates.high_flow
            if better is not None and better.sonic_conductance > element.sonic_conductance:
                found.append(_Aspect(part, "high-flow", (float(better.sonic_conductance),), better))
            if candidates.remove_couplers:
                found.append(_Aspect(part, "removed", (0.0,)))
    return [aspect._replace(values=_thinned(aspect.values)) for aspect in found if aspect.values]


def _thinned(values: tuple[float, ...]) -> tuple[float, ...]:
    """At most `MOST_VALUES` of the values, the smallest and the greatest change among them."""
    if len(values) <= MOST_VALUES:
        return values
    last = len(values) - 1
    return tuple(values[round(k * last / (MOST_VALUES - 1))] for k in range(MOST_VALUES))


def _most_helpful(line: Line, demand: Demand, wanted: float, aspects: Sequence[_Aspect]) -> list[_Aspect]:
    """The aspects that alone, at their greatest change, leave the lowest setting to be needed; all where there are few."""
    if len(aspects) <= MOST_ASPECTS:
        return list(aspects)

    def needed(aspect: _Aspect) -> float:
        return float(needed_setting(_changed(line, [(aspect, aspect.values[-1])]), demand, wanted))

    best = sorted(aspects, key=needed)[:MOST_ASPECTS]
    return [aspect for aspect in aspects if aspect in best]


def _try_all(line: Line, demand: Demand, wanted: float, aspects: Sequence[_Aspect]) -> Iterator[_Found]:
    """Every combination of at most three aspects with every value, fewest first; one call answers all values of some aspects."""
    for count in range(_MOST_CHANGES + 1):
        for chosen in combinations(aspects, count):
            swapped = [aspect.part for aspect in chosen if aspect.kind in ("high-flow", "removed")]
            if len(set(swapped)) < len(swapped):
                continue  # a coupler is changed or left out, not both
            grid = np.meshgrid(*(np.asarray(aspect.values) for aspect in chosen), indexing="ij") if chosen else []
            changed = _changed(line, zip(chosen, grid, strict=True))
            shape = tuple(len(aspect.values) for aspect in chosen)
            needed = np.broadcast_to(needed_setting(changed, demand, wanted), shape)
            for index in np.ndindex(shape):
                picks = tuple((aspect, aspect.values[i]) for aspect, i in zip(chosen, index, strict=True))
                yield _Found(picks, float(needed[index]))


def _changed(line: Line, picks: Iterable[tuple[_Aspect, float | Floats]]) -> Line:
    """The line with the values of some aspects; values may be arrays."""
    elements: list[Element | None] = list(line.elements)
    for aspect, value in picks:
        element = elements[aspect.part - 1]
        if isinstance(element, Hose):
            elements[aspect.part - 1] = _changed_hose(element, aspect.kind, value)
        elif element is not None:
            elements[aspect.part - 1] = aspect.instead and replace(
                aspect.instead, label=element.label, rated_pa_abs=element.rated_pa_abs
            )
    return replace(line, elements=tuple(element for element in elements if element is not None))


def _changed_hose(hose: Hose, kind: Kind, value: float | Floats) -> Hose:
    if kind == "straight":
        return replace(hose, coil_diameter_m=None)
    return replace(hose, length_m=value) if kind == "length" else replace(hose, bore_m=value)


def _set_to(line: Line, set_pa_abs: float) -> Line:
    return replace(line, regulator=replace(line.regulator, set_pa_abs=set_pa_abs))


def _option(line: Line, found: _Found, ceiling: Rating | None) -> _Option | None:
    """The combination as it is enough: as the regulator is, or with it raised as one change more; None where it is not."""
    if found.needed_pa_abs <= float(line.regulator.set_pa_abs) * (1 + _ROUNDING):
        return _Option(_changes(line, found, None), found, None)
    if ceiling is None or found.needed_pa_abs > ceiling.pressure_pa_abs or len(found.picks) >= _MOST_CHANGES:
        return None
    steps = math.ceil((found.needed_pa_abs - line.ambient_pa_abs) / _SETTING_STEP_PA - 1e-6)
    setting = min(steps * _SETTING_STEP_PA + line.ambient_pa_abs, ceiling.pressure_pa_abs)
    return _Option(_changes(line, found, setting), found, setting)


def _changes(line: Line, found: _Found, setting_pa_abs: float | None) -> tuple[Change, ...]:
    changes = [_change(line.elements[aspect.part - 1], aspect, value) for aspect, value in found.picks]
    if setting_pa_abs is not None:
        before = float(line.regulator.set_pa_abs)
        changes.append(
            Change(part=0, label=line.regulator.label, kind="regulator", before=before, after=setting_pa_abs)
        )
    return tuple(changes)


def _change(element: Element, aspect: _Aspect, value: float) -> Change:
    before: float | None = None
    if isinstance(element, Restriction):
        before = float(element.sonic_conductance) if aspect.kind == "high-flow" else None
    elif aspect.kind != "straight":
        before = float(element.length_m if aspect.kind == "length" else element.bore_m)
    after = None if before is None else value
    return Change(part=aspect.part, label=element.label, kind=aspect.kind, before=before, after=after)


def _shortest(options: list[_Option]) -> list[_Option]:
    """The smallest of each set of things touched, without those that hold a smaller set that is enough."""
    kept: dict[frozenset[tuple[int, str]], _Option] = {}
    for option in sorted(options, key=_Option.rank):
        touched = option.touches()
        if not any(other <= touched for other in kept):
            kept[touched] = option
    return list(kept.values())


def _closest(line: Line, tried: list[_Found], ceiling: Rating | None) -> _Option:
    """What comes nearest to enough: the setting needed is least above the one that can be had."""
    now = float(line.regulator.set_pa_abs)

    def option(found: _Found) -> tuple[float, int, _Option]:
        raised = ceiling is not None and ceiling.pressure_pa_abs > now and len(found.picks) < _MOST_CHANGES
        setting = ceiling.pressure_pa_abs if ceiling is not None and raised else None
        best = _Option(_changes(line, found, setting), found, setting)
        return found.needed_pa_abs / (setting or now), len(best.changes), best

    return min((option(found) for found in tried), key=lambda one: one[:2])[2]


def _change_list(line: Line, demand: Demand, wanted: float, option: _Option) -> ChangeList:
    changed = _changed(line, option.found.picks)
    if option.setting_pa_abs is not None:
        changed = _set_to(changed, option.setting_pa_abs)
    point = find_operating_point(changed, demand)
    return ChangeList(changes=option.changes, line=changed, point=point, spare_pa=float(point.inlet_pa_abs) - wanted)
