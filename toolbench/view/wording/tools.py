"""A tool in words: which specimen it is, and how it was obtained."""

from __future__ import annotations

from toolbench.records.settings import Tool


def tool_text(tool: Tool) -> str:
    """Name, id and specimen of a tool."""
    name = tool.name or tool.id
    words = [name if name == tool.id else f"{name} ({tool.id})"]
    if tool.specimen:
        words.append(f"specimen {tool.specimen}")
    if tool.modified:
        words.append(f"modified: {tool.modified}")
    return ", ".join(words)


def obtained_text(tool: Tool) -> str:
    """How a tool was obtained; what is not stated is said to be."""
    if not tool.obtained:
        return "not stated"
    text = f"{tool.obtained} {'by' if tool.obtained in ('lent', 'given', 'paid') else 'from'} {tool.obtained_from}"
    return (text if tool.obtained_from else tool.obtained) + _returned_text(tool.returned)


def _returned_text(returned: str) -> str:
    known = {"": "", "no": ", not returned", "yes": ", returned"}
    return known.get(returned.strip().lower(), f", returned {returned}")
