"""Every notebook is thin: a title, literals, one import, then pairs of a sentence and one call. Nothing is stored in it."""

from __future__ import annotations

import ast
import json
from pathlib import Path
from typing import Any

import pytest

import toolbench

FOLDER = Path(toolbench.__file__).parent.parent / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
FORBIDDEN = (
    ast.For, ast.While, ast.If, ast.IfExp, ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda, ast.Try,
    ast.With, ast.ListComp, ast.SetComp, ast.DictComp, ast.GeneratorExp, ast.Match,
)  # fmt: skip


def test_there_is_a_notebook() -> None:
    assert NOTEBOOKS


def _cells(path: Path) -> list[dict[str, Any]]:
    return list(json.loads(path.read_text(encoding="utf-8"))["cells"])


def _code(cell: dict[str, Any]) -> ast.Module:
    return ast.parse("".join(cell["source"]))


@pytest.fixture(params=NOTEBOOKS, ids=lambda path: path.name)
def cells(request: pytest.FixtureRequest) -> list[dict[str, Any]]:
    return _cells(request.param)


def test_it_opens_with_title_parameters_and_one_import(cells: list[dict[str, Any]]) -> None:
    title, parameters, imports = cells[:3]
    assert title["cell_type"] == "markdown"
    assert "".join(title["source"]).startswith("# ")
    assert parameters["metadata"]["tags"] == ["parameters"]
    for statement in _code(parameters).body:
        assert isinstance(statement, ast.Assign)
        ast.literal_eval(statement.value)
    assert [type(s) for s in _code(imports).body] == [ast.Import]
    tagged = [c for c in cells if "parameters" in c["metadata"].get("tags", [])]
    assert len(tagged) == 1


def test_the_rest_are_pairs_of_a_sentence_and_one_call(cells: list[dict[str, Any]]) -> None:
    rest = cells[3:]
    assert len(rest) % 2 == 0
    for sentence, call in zip(rest[::2], rest[1::2], strict=True):
        assert sentence["cell_type"] == "markdown"
        assert "".join(sentence["source"]).endswith(".")
        assert call["cell_type"] == "code"
        (statement,) = _code(call).body
        assert isinstance(statement, ast.Expr | ast.Assign)
        assert isinstance(statement.value, ast.Call)


def test_there_is_no_logic_and_only_our_package(cells: list[dict[str, Any]]) -> None:
    for cell in cells:
        if cell["cell_type"] != "code":
            continue
        for node in ast.walk(_code(cell)):
            assert not isinstance(node, FORBIDDEN)
            if isinstance(node, ast.Import):
                assert [alias.name for alias in node.names] == ["toolbench"]
            assert not isinstance(node, ast.ImportFrom)


def test_nothing_is_stored(cells: list[dict[str, Any]]) -> None:
    for cell in cells:
        if cell["cell_type"] == "code":
            assert cell["outputs"] == []
            assert cell["execution_count"] is None


def test_every_call_of_the_notebook_is_a_name_of_the_facade(cells: list[dict[str, Any]]) -> None:
    for cell in cells:
        if cell["cell_type"] != "code":
            continue
        for node in ast.walk(_code(cell)):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "tb":
                assert node.attr in toolbench.__all__
