"""A page taken apart with the standard library: tags, texts, tables and pictures."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "img", "br", "hr", "input", "col", "area", "base", "embed", "source", "track", "wbr"}


@dataclass
class Node:
    """One element with its attributes, its children and its own text pieces in order."""

    tag: str
    attributes: dict[str, str]
    parts: list[Node | str] = field(default_factory=list)

    @property
    def text(self) -> str:
        return "".join(part if isinstance(part, str) else part.text for part in self.parts)

    def all(self, tag: str = "") -> list[Node]:
        """Every element below of that tag, in order."""
        found = []
        for part in self.parts:
            if isinstance(part, Node):
                found += ([part] if tag in ("", part.tag) else []) + part.all(tag)
        return found

    def by_class(self, name: str) -> list[Node]:
        return [node for node in self.all() if name in node.attributes.get("class", "").split()]


class _Builder(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        node = Node(tag, {name: value or "" for name, value in attrs})
        self.open[-1].parts.append(node)
        if tag not in VOID:
            self.open.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].parts.append(Node(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].parts.append(data)


def parse(text: str) -> Node:
    """The page as a tree. Fails where elements are not closed in order."""
    builder = _Builder()
    builder.feed(text)
    builder.close()
    assert [node.tag for node in builder.open] == [""]
    return builder.root


def without_pictures(text: str) -> str:
    """The page's text without its inline pictures."""
    return re.sub(r"<svg\b.*?</svg>", "", text, flags=re.DOTALL)


def alternative_texts(page: Node) -> list[str]:
    """What stands for each picture: `alt` of an img, title and description of an svg that is an image."""
    ids = {node.attributes["id"]: node for node in page.all() if "id" in node.attributes}
    texts = [image.attributes.get("alt", "") for image in page.all("img")]
    for picture in page.all("svg"):
        if picture.attributes.get("aria-hidden") == "true":
            continue
        named = picture.attributes.get("aria-labelledby", "").split()
        texts.append(" ".join(ids[name].text.strip() for name in named) or picture.attributes.get("aria-label", ""))
    return texts


def difference_rows(page: Node) -> list[list[str]]:
    """Cells of every row of the table of differences; the rows that head a group are left out."""
    (table,) = page.by_class("tb-differences")
    rows = [row for body in table.all("tbody") for row in body.all("tr")]
    return [
        [cell.text.strip() for cell in row.all() if cell.tag in ("th", "td")]
        for row in rows
        if "tb-group" not in row.attributes.get("class", "").split()
    ]
