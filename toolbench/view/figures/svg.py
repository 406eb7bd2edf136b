"""matplotlib's SVG made fit for a page: no style sheet, no style attribute, no random id, text that can be read.

matplotlib's own output carries a `<style>` that applies to the whole page and style attributes that a strict content
policy blocks; both become presentation attributes here.
"""

from __future__ import annotations

import html
import io
import re
import warnings

from matplotlib.figure import Figure

from toolbench.view.figures.canvas import INK, LIGHT_GROUND, MUTED, RULE, SERIES

_NO_METADATA = {"Date": None, "Creator": None, "Format": None, "Type": None}
_VARIABLES = {
    **{look.light: f"--tb-{index}" for index, look in enumerate(SERIES)},
    INK: "--tb-ink",
    MUTED: "--tb-muted",
    RULE: "--tb-rule",
    LIGHT_GROUND: "--tb-ground",
}
_FAMILY = "system-ui, sans-serif"


def raw_svg(figure: Figure) -> str:
    """A figure as matplotlib writes it, without a date."""
    stream = io.StringIO()
    with warnings.catch_warnings():
        # Text stays text in an SVG: the reader's browser has the letters that matplotlib's own font lacks.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font", category=UserWarning)
        figure.savefig(stream, format="svg", metadata=_NO_METADATA)
    return stream.getvalue()


def _attributes(match: re.Match[str]) -> str:
    """One style attribute as presentation attributes; the font family is the page's own."""
    found = []
    for declaration in match[1].split(";"):
        name, _, value = declaration.partition(":")
        name, value = name.strip(), value.strip()
        if name and name not in ("font-family", "font-style", "font-variant", "font-stretch"):
            found.append(f'{name}="{html.escape(value, quote=True)}"')
    return " ".join(found)


def _short(match: re.Match[str]) -> str:
    text = f"{float(match[0]):.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _compact(svg: str) -> str:
    """Coordinates at two decimals, path data on one line, groups without a meaning undone."""
    svg = re.sub(r'(?<= d=")[^"]+', lambda m: re.sub(r"\s*\n", "", m[0]).strip(), svg)
    svg = re.sub(
        r'(?<= (?:d|x|y)=")[^"]+|(?<= transform=")[^"]+',
        lambda m: re.sub(r"-?\d+\.\d{3,}", _short, m[0]),
        svg,
    )
    svg = re.sub(r' transform="rotate\(-?0 [^"]*\)"', "", svg)
    svg = re.sub(r'<g id="[^"]*"', "<g", svg)  # nothing refers to a group
    return re.sub(r"\n\s*", "\n", svg)


def _own_ids(svg: str, name: str) -> str:
    """Every id and every reference to one carries the figure's name, so two figures of a page do not meet."""
    svg = re.sub(r' id="([^"]+)"', rf' id="{name}-\1"', svg)
    return re.sub(r'(url\(#|href="#)', rf"\1{name}-", svg)


def _head(svg: str, name: str, title: str, description: str, *, standalone: bool) -> str:
    body = svg[svg.index("<svg") :]
    box = re.search(r'viewBox="([^"]+)"', body)
    view_box = box[1] if box else "0 0 1 1"
    inner = body[body.index(">") + 1 :]
    inner = re.sub(r"\s*<defs>\s*<style.*?</style>\s*</defs>", "", inner, count=1, flags=re.DOTALL)
    inner = re.sub(r"\s*<metadata>.*?</metadata>", "", inner, flags=re.DOTALL)
    names = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    width, height = view_box.split()[2:]
    # matplotlib leaves black out as SVG's own default; on a page the first item's colour is not black in every theme.
    fill = f' fill="{SERIES[0].light}"'
    size = f' width="{width}pt" height="{height}pt"' if standalone else ""
    family = f' font-family="{_FAMILY}"' if standalone else ""
    return (
        f'<svg {names} viewBox="{view_box}"{size}{family}{fill} role="img" aria-labelledby="{name}-t {name}-d"'
        f' stroke-linejoin="round" stroke-linecap="butt">\n<title id="{name}-t">{html.escape(title)}</title>\n'
        f'<desc id="{name}-d">{html.escape(description)}</desc>{inner}'
    )


def page_svg(raw: str, name: str, title: str, description: str) -> str:
    """SVG for a page: colours are the page's variables, so light, dark and print each have their own.

    Parameters
    ----------
    raw : str
        What `raw_svg` gave.
    name : str
        Unique on the page; every id starts with it.
    title, description : str
        The text alternative, made from the numbers.
    """
    svg = _shared(raw, name, title, description, standalone=False)
    for colour, variable in _VARIABLES.items():
        svg = re.sub(rf'="{colour}"', f'="var({variable}, {colour})"', svg, flags=re.IGNORECASE)
    return svg


def file_svg(raw: str, name: str, title: str, description: str) -> str:
    """SVG as a file of its own: plain colours on a white ground, for any program that reads SVG."""
    return _shared(raw, name, title, description, standalone=True)


def _shared(raw: str, name: str, title: str, description: str, *, standalone: bool) -> str:
    body = raw[raw.index("<svg") :]
    body = re.sub(r'style="([^"]*)"', _attributes, body)
    body = _compact(_own_ids(body, name))
    return _head(body, name, title, description, standalone=standalone).rstrip() + "\n"
