"""The scorecard: checked here, handed on as a mapping in SI."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from toolbench.quantities.glossary import GLOSSARY, channel_quantity
from toolbench.quantities.units import KINDS, QuantityError, unit_factor
from toolbench.records.settings import Protocol
from toolbench.settings import models
from toolbench.settings.checks import check_ids, check_metric, check_names
from toolbench.settings.convert import Path, Reader, frozen
from toolbench.settings.faults import did_you_mean
from toolbench.settings.tools import QUANTITIES

_SUPPLIES = ("air", "battery", "mains")
_PATH: Path = ("scorecard",)


def to_scorecard(
    model: models.ScorecardModel, setups: Sequence[str], protocols: Mapping[str, Protocol], known: Sequence[str],
    columns: Sequence[str] | None, reader: Reader,
) -> Mapping[str, Any]:  # fmt: skip
    """The scorecard as a mapping: `title`, `setups`, `show`, `retest`, `criteria` (each with its keys; weights are shares,
    anchors and `at` in SI). `columns` are those of tools.csv, None without one."""
    faults = reader.faults
    for kind, setup in model.setups.items():
        if kind not in _SUPPLIES:
            faults.bench((*_PATH, "setups", kind), f'unknown key "{kind}"', did_you_mean(kind, _SUPPLIES))
        check_names([setup], setups, "setup", (*_PATH, "setups", kind), faults, many=False)
    paths: list[Path] = [(*_PATH, "criteria", i) for i in range(len(model.criteria))]
    check_ids("the scorecard", [c.id for c in model.criteria], [(*path, "id") for path in paths], faults)
    total = math.fsum(c.weight for c in model.criteria)
    if not model.criteria:
        faults.bench(_PATH, "the scorecard has no criteria", "add [[scorecard.criteria]]")
    elif abs(total - 1) > 1e-6:
        faults.bench((*_PATH, "criteria"), f"the weights add up to {100 * total:.6g} %, and must to 100 %")
    criteria = [
        _criterion(c, path, protocols, known, columns, reader) for c, path in zip(model.criteria, paths, strict=True)
    ]
    return frozen(
        {
            "title": model.title,
            "setups": frozen(model.setups),
            "show": model.show,
            "retest": model.retest,
            "criteria": tuple(criteria),
        }
    )


def _criterion(
    model: models.CriterionModel, path: Path, protocols: Mapping[str, Protocol], known: Sequence[str],
    columns: Sequence[str] | None, reader: Reader,
) -> Mapping[str, Any]:  # fmt: skip
    faults = reader.faults
    check_names([model.protocol], known, "protocol", (*path, "protocol"), faults, many=False)
    protocol = protocols.get(model.protocol)
    response = protocol.response[0] if protocol and protocol.response else "torque"
    good = check_metric(model.metric, (*path, "metric"), faults)
    if model.per is not None and columns is not None and model.per not in columns:
        faults.bench((*path, "per"), f'tools.csv has no column "{model.per}"', did_you_mean(model.per, columns))
    quantity = _quantity(model.metric, response) if good else ""
    worst = _anchor(model.worst_at, quantity, model.per, (*path, "worst_at"), reader)
    best = _anchor(model.best_at, quantity, model.per, (*path, "best_at"), reader)
    if worst == best:
        faults.bench((*path, "best_at"), "the two anchors are the same value", "they are the values of 0 and of 1")
    return frozen(
        {
            "id": model.id,
            "label": model.label or model.id,
            "weight": model.weight,
            "protocol": model.protocol,
            "metric": model.metric,
            "at": _at(model, response, path, reader),
            "per": model.per or "",
            "worst_at": worst,
            "best_at": best,
        }
    )


def _quantity(metric: str, response: str) -> str:
    return GLOSSARY[metric].dimension_key or channel_quantity(response)


def _at(model: models.CriterionModel, response: str, path: Path, reader: Reader) -> float | None:
    """Seconds for a mark, the level for the time to it; no place elsewhere."""
    if model.metric in ("at_mark", "time_to"):
        if model.at is None:
            example = KINDS["time" if model.metric == "at_mark" else "torque"].example
            reader.faults.bench(path, f'the metric "{model.metric}" needs the key "at"', f'such as at = "{example}"')
            return None
        quantity = "time" if model.metric == "at_mark" else channel_quantity(response)
        return reader.si((*path, "at"), model.at, quantity)
    if model.at is not None:
        reader.faults.bench((*path, "at"), f'the metric "{model.metric}" has no "at"', "leave it out")
    return None


def _anchor(written: str | float, quantity: str, per: str | None, path: Path, reader: Reader) -> float:
    """A value that earns nothing or all, in SI; with `per` in the metric's unit over the column's: `"300 N*m/kg"`."""
    if not isinstance(written, str):
        return float(written)
    if per is None:
        return reader.si(path, written, quantity)
    number, _, unit = written.strip().partition(" ")
    above, _, below = unit.rpartition("/")
    try:
        scale = unit_factor(above, quantity or None).scale if above else 1.0
        under = unit_factor(below, QUANTITIES[per]).scale if per in QUANTITIES and below else 1.0
        return float(number) * scale / under
    except QuantityError as error:
        reader.faults.bench(path, str(error))
    except ValueError:
        reader.faults.bench(path, f'"{written}" is not a number with a unit')
    return math.nan
