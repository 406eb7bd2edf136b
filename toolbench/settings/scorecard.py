"""The scorecard: checked against the rest of the season, and turned into its record in SI."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from toolbench.quantities.glossary import GLOSSARY, channel_quantity
from toolbench.quantities.units import KINDS, QuantityError, to_si, unit_factor
from toolbench.records.scorecard import ANY_SUPPLY, SUPPLIES, Scorecard, StatedCriterion
from toolbench.records.settings import Protocol
from toolbench.settings import models
from toolbench.settings.checks import check_ids, check_metric, check_names
from toolbench.settings.convert import Path, Reader, frozen
from toolbench.settings.faults import did_you_mean
from toolbench.settings.spreadsheet import Column
from toolbench.settings.tools import QUANTITIES, WORDS_ONLY

_PATH: Path = ("scorecard",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What a scorecard refers to: ids also of tables that hold a fault, kinds of supply and protocols of those that hold none."""

    setups: Sequence[str]
    supplies: Mapping[str, str]
    protocols: Mapping[str, Protocol]
    protocol_ids: Sequence[str]
    columns: Mapping[str, Column]
    """Columns of tools.csv."""


def to_scorecard(model: models.ScorecardModel, around: Around, reader: Reader) -> Scorecard:
    """The scorecard with its anchors in the unit of what they judge; faults are noted."""
    faults = reader.faults
    paths: list[Path] = [(*_PATH, "criteria", i) for i in range(len(model.criteria))]
    check_ids("the scorecard", [c.id for c in model.criteria], [(*path, "id") for path in paths], faults)
    total = math.fsum(c.weight for c in model.criteria)
    if not model.criteria:
        faults.bench(_PATH, "the scorecard has no criteria", "add [[scorecard.criteria]]")
    elif abs(total - 1) > 1e-6:
        faults.bench((*_PATH, "criteria"), f"the weights add up to {100 * total:.6g} %, and must to 100 %")
    criteria = [_Reading(c, path, around, reader).criterion() for c, path in zip(model.criteria, paths, strict=True)]
    return Scorecard(
        title=model.title,
        setups=frozen(_setups(model, around, reader)),
        show=model.show,
        retest=model.retest,
        criteria=tuple(criteria),
    )


def _setups(model: models.ScorecardModel, around: Around, reader: Reader) -> Mapping[str, str]:
    """The setup that counts by kind of supply; a season's only setup counts without being named."""
    faults = reader.faults
    for kind, setup in model.setups.items():
        path: Path = (*_PATH, "setups", kind)
        if kind not in SUPPLIES:
            faults.bench(path, f'unknown key "{kind}"', did_you_mean(kind, SUPPLIES))
        check_names([setup], around.setups, "setup", path, faults, many=False)
        supply = around.supplies.get(setup, "")
        if supply and kind in SUPPLIES and supply != kind:
            faults.bench(path, f'setup "{setup}" is of the supply {supply}, not {kind}')
    if model.setups or not model.criteria:
        return model.setups
    if len(around.setups) == 1:
        (only,) = around.setups
        return {around.supplies.get(only, ""): only}
    example = around.setups[0] if around.setups else "near"
    faults.bench(
        _PATH, "the scorecard does not say which setup counts", f'write for example setups = {{ air = "{example}" }}'
    )
    return {}


class _Reading:
    """One criterion being read: its model, its place in bench.toml and what it refers to."""

    def __init__(self, model: models.CriterionModel, path: Path, around: Around, reader: Reader) -> None:
        self.model, self.path, self.around, self.reader = model, path, around, reader
        self.faults = reader.faults

    def criterion(self) -> StatedCriterion:
        model = self.model
        response = self._response()
        good = check_metric(model.metric, (*self.path, "metric"), self.faults)
        self.divides = self._divides()
        quantity = (GLOSSARY[model.metric].dimension_key or channel_quantity(response)) if good else ""
        worst, best = (self._anchor(key, quantity) for key in ("worst_at", "best_at"))
        if worst == best:
            self.faults.bench(
                (*self.path, "best_at"), "the two anchors are the same value", "they are the values of 0 and of 1"
            )
        return StatedCriterion(
            id=model.id,
            label=model.label or model.id,
            weight=model.weight,
            protocols=frozen(model.protocol),
            metric=model.metric,
            at=self._at(response),
            per=model.per or "",
            worst_at=worst,
            best_at=best,
            unit=self._unit(quantity),
        )

    def _response(self) -> str:
        """What the criterion's protocols respond in; several protocols must agree in it and in their measurand."""
        kinds: dict[tuple[str, str, str], str] = {}
        for kind, name in self.model.protocol.items():
            path = (*self.path, "protocol") if kind == ANY_SUPPLY else (*self.path, "protocol", kind)
            if kind not in (ANY_SUPPLY, *SUPPLIES):
                self.faults.bench(path, f'unknown key "{kind}"', did_you_mean(kind, SUPPLIES))
            check_names([name], self.around.protocol_ids, "protocol", path, self.faults, many=False)
            if (one := self.around.protocols.get(name)) is not None:
                kinds.setdefault(((one.response or ("torque",))[0], one.measurand, one.direction), name)
        if len(kinds) > 1:
            names = " and ".join(f'"{name}"' for name in kinds.values())
            self.faults.bench(
                (*self.path, "protocol"),
                f"the protocols {names} differ in response, measurand or direction, so one pair of anchors cannot judge them",
            )
        return next(iter(kinds), ("torque", "", ""))[0]

    def _divides(self) -> bool:
        """Whether nothing stands against `per`: it is a column of numbers in tools.csv, or there is none."""
        per, columns = self.model.per, self.around.columns
        if per is None:
            return True
        path = (*self.path, "per")
        if per in WORDS_ONLY:
            self.faults.bench(path, f'the column "{per}" holds words, and a value is divided by a number')
        elif not columns:
            self.faults.bench(path, f'there is no tools.csv with a column "{per}"')
        elif per not in columns:
            self.faults.bench(path, f'tools.csv has no column "{per}"', did_you_mean(per, columns))
        return per in columns and per not in WORDS_ONLY

    def _at(self, response: str) -> float | None:
        """Seconds for a mark, the level for the time to it; no place elsewhere."""
        model, path = self.model, (*self.path, "at")
        if model.metric not in ("at_mark", "time_to"):
            if model.at is not None:
                self.faults.bench(path, f'the metric "{model.metric}" has no "at"', "leave it out")
            return None
        quantity = "time" if model.metric == "at_mark" else channel_quantity(response)
        if model.at is None:
            example = KINDS[quantity or "torque"].example
            self.faults.bench(self.path, f'the metric "{model.metric}" needs the key "at"', f'such as at = "{example}"')
            return None
        value = self.reader.si(path, model.at, quantity)
        longest = [one.duration_s for name in model.protocol.values() if (one := self.around.protocols.get(name))]
        if model.metric == "at_mark" and any(end is not None and not 0 <= value <= end for end in longest):
            self.faults.bench(path, f"the mark at {value:g} s lies outside the protocol's duration")
        return value

    def _below(self) -> list[tuple[str, str]]:
        """What the metric is divided by, from the left: a unit, and its quantity (empty: the text itself must agree)."""
        found = [("s", "time")] if self.model.metric == "slope" else []
        if (per := self.model.per) is not None:
            kind = QUANTITIES.get(per, "")
            column = self.around.columns.get(per)
            found.append((KINDS[kind].si_unit if kind else column.unit if column else "", kind))
        return found

    def _unit(self, quantity: str) -> str:
        """The unit of what is judged, such as "N*m/kg" or "N*m/EUR"."""
        unit = KINDS[quantity].si_unit if quantity in KINDS else ""
        for below, _ in self._below():
            unit += f"/({below})" if "/" in below else f"/{below}" if below else ""
        return unit

    def _anchor(self, key: str, quantity: str) -> float:
        """A value that earns nothing or all, in SI; with `per` in the metric's unit over the column's: `"300 N*m/kg"`."""
        written: str | float = getattr(self.model, key)
        path: Path = (*self.path, key)
        if isinstance(written, float | int):
            if quantity:
                example = KINDS[quantity].example
                self.faults.bench(path, f"{written} has no unit", f'write the number with its unit, as in "{example}"')
            return float(written)
        if not self.divides:
            return math.nan
        below = self._below()
        if not below:
            return self.reader.si(path, written, quantity)
        try:
            return self._quotient(written, quantity, below)
        except QuantityError as error:
            self.faults.bench(path, str(error))
        except ValueError:
            self.faults.bench(
                path, f'"{written}" is not a number with a unit', f'its unit is that of "{self._unit(quantity)}"'
            )
        return math.nan

    def _quotient(self, written: str, quantity: str, below: Sequence[tuple[str, str]]) -> float:
        """A number whose unit is a quotient. Raises ValueError, QuantityError where the unit does not fit."""
        number, _, unit = written.strip().partition(" ")
        scale = 1.0
        for wanted, kind in reversed(below):
            if not wanted and not kind:
                continue
            unit, under = _parted(unit.strip())
            if kind:
                scale /= unit_factor(under, kind).scale
            elif under.casefold() != wanted.casefold():
                column = self.around.columns.get(self.model.per or "")
                told = f'"{written}" is per {under or "nothing"}, but tools.csv has the column "{column.written if column else ""}"'
                raise QuantityError(told)
        if quantity:
            return to_si(f"{number} {unit}", quantity) * scale
        return self.reader.si(self.path, f"{number} {unit}".strip(), "") * scale


def _parted(unit: str) -> tuple[str, str]:
    """A quotient's two sides, parted at its last stroke: "N*m/kg", "N*m/(L/s)"."""
    if unit.endswith(")") and "/(" in unit:
        above, _, below = unit[:-1].rpartition("/(")
        return above, below
    above, stroke, below = unit.rpartition("/")
    return (above, below) if stroke else (unit, "")
