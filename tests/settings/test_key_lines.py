import tomllib
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from toolbench.settings.reference import commented_bench
from toolbench.settings.scan import key_lines

TEXT = '''\
a = 1
"q.x" = "a # no" # yes
b.c = [1, # one
 2, { d = 3 }, [4,
 5]]
s = """
[x]
"""
l = \'\'\'
y = 2
\'\'\'
[t.u]   # x
v = { a = "1", b = { c = [ "x",
 "y" ] } }
w = 2026-01-01
[[e]]
id = "1"
[[e.c]]
z = 1
[[e.c]]
z = 2
[e.sub]
k = true
[[e]]
id = 'two'
'''


def test_lines_of_all_kinds_of_keys() -> None:
    lines = key_lines(TEXT)
    # counted by hand in the text above
    expected = {
        ("a",): 1, ("q.x",): 2, ("b", "c"): 3, ("b", "c", 0): 3, ("b", "c", 1): 4, ("b", "c", 2, "d"): 4,
        ("b", "c", 3, 1): 5, ("s",): 6, ("l",): 9, ("t", "u"): 12, ("t", "u", "v"): 13, ("t", "u", "v", "b", "c", 1): 14,
        ("t", "u", "w"): 15, ("e",): 16, ("e", 0): 16, ("e", 0, "id"): 17, ("e", 0, "c", 0, "z"): 19,
        ("e", 0, "c", 1): 20, ("e", 0, "c", 1, "z"): 21, ("e", 0, "sub", "k"): 23, ("e", 1): 24, ("e", 1, "id"): 25,
    }  # fmt: skip
    assert {path: lines.get(path) for path in expected} == expected


def _paths(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    found = []
    for key, inner in items:
        found += [(*path, key), *_paths(inner, (*path, key))]
    return found


def test_no_key_of_a_parsed_text_is_missed() -> None:
    for text in (TEXT, commented_bench()):
        found = set(_paths(tomllib.loads(text)))
        # a table that is only named inside a longer header has no line of its own
        implied = {path[:n] for path in found for n in range(1, len(path))}
        assert found - set(key_lines(text)) <= implied
        assert set(key_lines(text)) <= found


@given(st.lists(st.sampled_from(["x = 1", "# c", "", 'y = "]{"', "z = [1,\n2]", "w = '''\n[t]\n'''"]), unique=True))
def test_a_key_is_found_whatever_stands_before_it(before: list[str]) -> None:
    text = "\n".join([*before, "last = true"])
    assert key_lines(text)["last",] == text.count("\n") + 1
