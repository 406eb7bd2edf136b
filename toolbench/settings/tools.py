"""tools.csv -> records: one row per tool under test."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from toolbench.records.settings import Tool
from toolbench.settings.convert import frozen
from toolbench.settings.faults import Faults, did_you_mean, id_fault, nearest
from toolbench.settings.spreadsheet import Row, Table, read_table

TOOLS = "tools.csv"

QUANTITIES = {
    "drive": "length",
    "length": "length",
    "mass": "mass",
    "claimed_torque": "torque",
    "claim_pressure": "pressure",
    "rated_pressure": "pressure",
    "air_consumption": "air_flow",
}
_MAY_BE_ZERO = ("air_consumption",)
"""A battery tool takes no air; a mass, a length, a torque or a rating of nothing is none."""

_TEXTS = (
    "family", "introduced", "supply", "price_date", "price_source", "claim_kind", "claim_source", "specimen", "obtained",
    "returned", "modified", "role", "status", "note",
)  # fmt: skip
_WORDS = {
    "supply": ("air", "battery", "mains"),
    "claim_kind": ("tightening", "loosening", "peak"),
    "obtained": ("bought", "lent", "given", "paid"),
    "status": ("retired", "superseded", "withdrawn"),
}
WORDS_ONLY = ("tool", "name", "from", *_TEXTS)
"""Columns that hold words, or a day."""
COLUMNS = ("tool", "name", "price", "from", *QUANTITIES, *_TEXTS)


def read_tools(folder: Path, faults: Faults) -> dict[str, Tool] | None:
    """Read tools.csv; None where there is none, or where it cannot be read (a fault) and so cannot say what is known."""
    table = read_table(folder, TOOLS, faults)
    if table is None:
        return None
    if "tool" not in table.columns:
        close = nearest("tool", [c for c in table.columns if c not in COLUMNS])
        table.fault(None, "tool", 'the column "tool" is needed', f'is "{close}" meant?' if close else None)
        return None
    tools: dict[str, Tool] = {}
    seen: dict[str, int] = {}
    for row in table.rows:
        id = row.text("tool")
        problem = id_fault(id) if id else "the tool's id is missing"
        if problem:
            table.fault(row, "tool", problem)
        elif id.casefold() in seen:
            table.fault(row, "tool", f'tool "{id}" stands already on line {seen[id.casefold()]} (case does not count)')
            continue
        seen[id.casefold()] = row.line
        if id:
            tools[id] = _tool(id, row, table)
    return tools


def bare_tools(ids: Iterable[str]) -> dict[str, Tool]:
    """Tools that are only named, where a season has no tools.csv."""
    return {id: Tool(id=id, name=id) for id in ids}


def _tool(id: str, row: Row, table: Table) -> Tool:
    values = {name: table.quantity(row, name, quantity) for name, quantity in QUANTITIES.items() if row.text(name)}
    for name, value in values.items():
        if value is not None and value < 0:
            table.fault(row, name, f'"{row.text(name)}" must not be negative')
        elif value == 0 and name not in _MAY_BE_ZERO:
            table.fault(
                row, name, f'"{row.text(name)}" must be greater than zero', "leave the cell empty where it is not known"
            )
    words = {name: _word(name, row, table) for name in _TEXTS}
    return Tool(
        id=id,
        name=row.text("name") or id,
        drive_m=values.get("drive"),
        length_m=values.get("length"),
        mass_kg=values.get("mass"),
        price=_price(row, table),
        price_currency=table.columns["price"].unit if row.text("price") else "",
        claimed_torque=values.get("claimed_torque"),
        claim_pressure_pa=values.get("claim_pressure"),
        rated_pressure_pa=values.get("rated_pressure"),
        air_consumption_m3_s=values.get("air_consumption"),
        obtained_from=row.text("from"),
        extra=frozen({table.columns[name].written: cell for name, cell in row.cells.items() if name not in COLUMNS}),
        line=row.line,
        **words,
    )


def _word(name: str, row: Row, table: Table) -> str:
    """A text cell; where the words are fixed, one of them, in any case."""
    text = row.text(name)
    if name == "role" and text and nearest(text, ["check standard"]):
        if text.casefold().replace("-", " ").replace("_", " ") != "check standard":
            table.fault(row, name, f'"{text}" is not known here', 'did you mean "check standard"?')
        return "check standard"
    known = _WORDS.get(name)
    if not text or known is None or text.casefold() in known:
        return text.casefold() if known else text
    table.fault(row, name, f'"{text}" is not known here', did_you_mean(text, known))
    return text


def _price(row: Row, table: Table) -> float | None:
    if not row.text("price"):
        return None
    if not table.columns["price"].unit:
        table.fault(None, "price", "the column names no currency", 'write it in the header: "price [EUR]"')
    price = table.number(row, "price")
    if price is not None and price < 0:
        table.fault(row, "price", f'"{row.text("price")}" must not be negative')
    return price
