"""bench.toml: text -> parsed -> validated, with every fault at its line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, get_args, get_origin

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from toolbench.files import read_regular
from toolbench.quantities.units import STANDARD_ATMOSPHERE_PA, QuantityError, to_si
from toolbench.settings.faults import Faults, control_sign, did_you_mean, shown
from toolbench.settings.models import DocumentModel, Model
from toolbench.settings.scan import key_lines

BENCH = "bench.toml"
FORMAT = 1
_PLACE = re.compile(r"\s*\(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)")
_NEEDED = {
    "string_type": "a text in quotes",
    "int_type": "a whole number",
    "float_type": "a number",
    "bool_type": "true or false",
    "list_type": "a list: [...]",
    "dict_type": "a table of keys",
    "model_type": "a table of keys: { ... }",
    "date_type": "a date such as 2026-05-31",
    "date_from_datetime_parsing": "a date such as 2026-05-31",
}


@dataclass(frozen=True, slots=True)
class Document:
    """A validated bench.toml. `raw` is all that was written; `model` lacks what was faulty; `positions` are the places
    in the text of the episodes that `model` kept."""

    model: DocumentModel
    raw: Mapping[str, Any]
    positions: tuple[int, ...]

    def ids(self, table: str) -> tuple[str, ...]:
        """The ids that a table defines, also those whose entry holds a fault."""
        found = self.raw.get(table)
        if isinstance(found, list):
            return tuple(str(entry["id"]) for entry in found if isinstance(entry, dict) and "id" in entry)
        return tuple(found) if isinstance(found, dict) else ()


def read_document(folder: Path, faults: Faults) -> Document | None:
    """Read and validate bench.toml; faults are noted, and what stands beside them is kept so that it can be checked too.

    None when nothing can be read: no file, no TOML, or a newer format.
    """
    text = _text(folder / BENCH, faults)
    if text is None:
        return None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        _syntax(error, text, faults)
        return None
    except RecursionError:
        _too_deep(faults)
        return None
    try:
        faults.lines, faults.document = key_lines(text), data
        if _is_newer(data, faults):
            return None
        _check_texts(data, (), faults)
        return _validated(data, faults)
    except RecursionError:
        _too_deep(faults)
        return None


def _too_deep(faults: Faults) -> None:
    faults.add(
        "its brackets or dotted keys are nested too deep to be read",
        file=BENCH,
        mend="no key needs more than four levels",
    )


def _check_texts(value: Any, path: tuple[str | int, ...], faults: Faults) -> None:
    """Note every text that holds a control character."""
    if isinstance(value, str) and (sign := control_sign(value)):
        faults.bench(path, f"holds the control character {sign}, which cannot be shown", "take it out")
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in pairs:
        _check_texts(inner, (*path, key), faults)


def _validated(data: dict[str, Any], faults: Faults) -> Document | None:
    """Validate; report the faults of the first pass, then leave out what is faulty until the rest stands."""
    context = {"ambient_pressure_pa": ambient_pressure(data)}
    kept = deepcopy(data)
    episodes = kept.get("episodes")
    positions = list(range(len(episodes))) if isinstance(episodes, list) else []
    for attempt in range(12):
        try:
            return Document(DocumentModel.model_validate(kept, context=context), data, tuple(positions))
        except ValidationError as error:
            details = error.errors()
            for detail in details if attempt == 0 else ():
                _report(detail, faults)
            for path in sorted((_faulty(detail) for detail in details), key=_last_first, reverse=True):
                if _leave_out(kept, path) and path[0] == "episodes" and len(path) == 2:
                    del positions[int(path[1])]
    return None


def _last_first(path: tuple[str | int, ...]) -> tuple[tuple[str, int], ...]:
    return tuple((part, 0) if isinstance(part, str) else ("", part) for part in path)


def _faulty(detail: ErrorDetails) -> tuple[str | int, ...]:
    path = _path(detail)
    return path[:-1] if detail["type"] == "missing" else path


def _path(detail: ErrorDetails) -> tuple[str | int, ...]:
    """Where an error is, without the steps that pydantic adds for unions and dictionary keys."""
    return tuple(part for part in detail["loc"] if not (isinstance(part, str) and part in ("str", "float", "[key]")))


def _leave_out(data: Any, path: tuple[str | int, ...]) -> bool:
    """Remove what stands at a path, or the innermost table that exists on the way (a short form stands for a table)."""
    for part in path[:-1]:
        inner: Any = data[part] if _holds(data, part) else None
        if not isinstance(inner, dict | list):
            path = (*path[: path.index(part)], part)
            break
        data = inner
    if _holds(data, path[-1]):
        del data[path[-1]]
        return True
    return False


def _holds(data: Any, part: str | int) -> bool:
    return part in data if isinstance(data, dict) else isinstance(part, int) and part < len(data)


def ambient_pressure(data: Mapping[str, Any]) -> float:
    """Air pressure of the room [Pa, absolute], the standard atmosphere where none is stated or it cannot be read."""
    bench = data.get("bench")
    written = bench.get("ambient_pressure") if isinstance(bench, dict) else None
    try:
        return to_si(written, "absolute_pressure") if isinstance(written, str) else STANDARD_ATMOSPHERE_PA
    except QuantityError:
        return STANDARD_ATMOSPHERE_PA


def _text(path: Path, faults: Faults) -> str | None:
    try:
        data = read_regular(path)
    except OSError as error:
        missing = isinstance(error, FileNotFoundError | NotADirectoryError)
        faults.add(
            "there is no such file: a season folder holds a bench.toml"
            if missing
            else f"cannot be read: {error.strerror}",
            file=BENCH,
            mend='"toolbench new DIR" writes a commented starter season' if missing else None,
        )
        return None
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        faults.add(
            f"is not UTF-8: byte {data[error.start]:#04x} cannot be read",
            file=BENCH,
            line=data.count(b"\n", 0, error.start) + 1,
            mend="save the file as UTF-8",
        )
        return None


def _syntax(error: tomllib.TOMLDecodeError, text: str, faults: Faults) -> None:
    match = _PLACE.search(str(error))
    line = int(match["line"]) if match and match["line"] else text.count("\n") + 1
    reason = _PLACE.sub("", str(error))
    seen = text.split("\n")[line - 1].strip() if line <= text.count("\n") + 1 else ""
    faults.add(
        f"is not valid TOML: {reason[:1].lower()}{reason[1:]}" + (f": {shown(seen)}" if seen else ""),
        file=BENCH,
        line=line,
        mend='texts stand in quotes, lists in [ ], one "key = value" to a line, each key once',
    )


def _is_newer(data: Mapping[str, Any], faults: Faults) -> bool:
    written = data.get("format", FORMAT)
    if isinstance(written, int) and not isinstance(written, bool) and written != FORMAT:
        faults.bench(
            ("format",),
            f"format {written} is {'newer than' if written > FORMAT else 'not one that'} this toolbench reads ({FORMAT})",
            "update toolbench" if written > FORMAT else f"write format = {FORMAT}",
        )
        return True
    return False


def _report(detail: ErrorDetails, faults: Faults) -> None:
    """One fault of the validation as a sentence."""
    path = _path(detail)
    kind, seen = detail["type"], detail["input"]
    if kind == "extra_forbidden":
        faults.bench(path, f'unknown key "{path[-1]}"', did_you_mean(str(path[-1]), known_keys(path[:-1])))
    elif kind == "missing":
        faults.bench(path[:-1], f'the key "{path[-1]}" is needed here')
    elif kind == "literal_error":
        allowed = re.findall(r"'([^']*)'", str(detail.get("ctx", {}).get("expected", "")))
        faults.bench(path, f"{shown(seen)} is not known here", did_you_mean(str(seen), allowed))
    elif kind == "value_error":
        reason = str(detail["ctx"]["error"])
        faults.bench(path, reason if reason.startswith('"') else f"{shown(seen)}: {reason}")
    else:
        needed = _NEEDED.get(kind, detail["msg"])
        mend = f"write [[{path[0]}]], with two brackets" if kind == "list_type" and isinstance(seen, dict) else None
        faults.bench(path, f"{'a table' if mend else shown(seen)} stands where {needed} is needed", mend)


def bench_schema() -> dict[str, Any]:
    """JSON Schema of bench.toml, for editors that complete keys and check them while one types."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **DocumentModel.model_json_schema()}


def known_keys(path: tuple[str | int, ...]) -> tuple[str, ...]:
    """The keys that the table at a path may hold."""
    for found in _at(DocumentModel, path):
        if isinstance(found, type) and issubclass(found, Model):
            return tuple(field.alias or name for name, field in found.model_fields.items())
    return ()


def _at(annotation: Any, path: tuple[str | int, ...]) -> Iterator[Any]:
    """Follow a path through models, lists, dictionaries, unions and annotated types."""
    if get_origin(annotation) is Annotated:
        yield from _at(get_args(annotation)[0], path)
    elif isinstance(annotation, type) and issubclass(annotation, Model):
        if not path:
            yield annotation
        for name, field in annotation.model_fields.items():
            if path and (field.alias or name) == path[0]:
                yield from _at(field.annotation, path[1:])
    elif get_origin(annotation) in (dict, list):
        if path:
            yield from _at(get_args(annotation)[-1], path[1:])
    else:
        for inner in get_args(annotation):
            yield from _at(inner, path)
