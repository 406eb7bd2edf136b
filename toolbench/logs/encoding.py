"""Which encoding a file is in, judged by what the text then says, not by the absence of an error."""

from __future__ import annotations

import codecs
from dataclasses import dataclass

from toolbench.logs.source import Source, refusal

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# Letters and signs that occur in names and units of western loggers; anything else is a hint at a wrong guess.
_WESTERN = frozenset("°²³µ±·×÷ÄÖÜäöüßÀÁÂÇÈÉÊÍÎÓÔØÅÆàáâãçèéêëíîïñóôõøùúûåæ€–—‰§©®½¼¹ªº«»‘’“”…¡¿")
_CONTROL = bytes(set(range(32)) - {9, 10, 11, 12, 13, 26, 27}) + b"\x7f"


@dataclass(frozen=True, slots=True)
class Encoding:
    """A codec name, and how many bytes it could not decode where the file was looked at."""

    name: str
    undecodable: int = 0
    guessed: bool = False

    @property
    def like_utf8(self) -> bool:
        """Whether the bytes can go to the parser as they are: numbers look the same in every ASCII-based encoding."""
        return self.name in ("utf-8", "utf-8-sig", "cp1252", "latin-1")

    def decode(self, data: bytes) -> str:
        """Text of the bytes; what cannot be decoded becomes U+FFFD, a mark at the start goes."""
        return data.decode(self.name, errors="replace").removeprefix("\ufeff")


def find_encoding(source: Source, head: bytes, *, stated: str | None = None) -> Encoding:
    """The encoding that gives the most plausible text.

    Parameters
    ----------
    source : Source
        The file; its last 64 kB are looked at too, since the one odd byte is often in a footer.
    head : bytes
        The first bytes of the file.
    stated : str, optional
        What the user states; then only that is tried.

    Raises
    ------
    RecordingError
        The file is not text, or the stated encoding is unknown or does not fit.
    """
    if stated:
        return _stated(source, head, stated)
    for mark, name in _MARKS:
        if head.startswith(mark):
            return Encoding(name)
    wide = _wide_without_mark(head)
    if wide:
        return Encoding(wide, guessed=True)
    controls = len(head) - len(head.translate(None, _CONTROL))
    if controls > max(8, len(head) // 50):
        raise refusal(
            source.name,
            f"is not text: {controls} control bytes among the first {len(head)}",
            mend="export it as CSV from the logger's own software",
        )
    # A window may cut a character in two: pieces between line ends are whole.
    sample = head if head.isascii() else head.rpartition(b"\n")[0] or head
    tail = source.tail
    if not tail.isascii() and source.size > len(tail):
        tail = tail.partition(b"\n")[2]
    return _of_bytes(sample + b"\n" + tail if source.size > len(head) else head)


def _of_bytes(data: bytes) -> Encoding:
    if data.isascii():
        return Encoding("utf-8")
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        pass
    else:
        return Encoding("utf-8")
    lenient = data.decode("utf-8", errors="replace")
    bad = lenient.count("\ufffd")
    good = sum(1 for letter in lenient if letter > "\x7f" and letter != "\ufffd")
    if good > bad:
        return Encoding("utf-8", undecodable=bad)
    scores = {name: _plausible(data, name) for name in ("cp1252", "latin-1", "cp932")}
    best = max(scores, key=lambda name: scores[name])  # the first of equals
    return Encoding(best, guessed=True)


def _plausible(data: bytes, name: str) -> float:
    """Share of the letters beyond ASCII that a logger would write, minus one where the codec does not fit at all."""
    try:
        text = data.decode(name)
    except UnicodeDecodeError:
        return -1.0
    beyond = [letter for letter in text if letter > "\x7f"]
    if name == "cp932":
        likely = sum(1 for letter in beyond if "\u3040" <= letter <= "\u30ff" or "\u4e00" <= letter <= "\u9fff")
    else:
        likely = sum(1 for letter in beyond if letter in _WESTERN)
    return likely / len(beyond) if beyond else 0.0


def _wide_without_mark(head: bytes) -> str:
    """UTF-16 without a mark: every other byte of plain text is zero."""
    sample = head[:4096]
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    half = max(1, len(sample) // 2)
    if odd > 0.7 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.7 * half and odd < 0.1 * half:
        return "utf-16-be"
    return ""


def _stated(source: Source, head: bytes, stated: str) -> Encoding:
    try:
        name = codecs.lookup(stated).name
    except LookupError:
        raise refusal(
            source.name, f"no encoding is called {stated!r}", key="encoding", mend='for example "utf-8" or "cp1252"'
        ) from None
    known = {"iso8859-1": "latin-1", "utf-8": "utf-8-sig" if head.startswith(codecs.BOM_UTF8) else "utf-8"}
    name = known.get(name, name)
    bad = Encoding(name).decode(head).count("\ufffd")
    if bad > max(2, len(head) // 100):
        raise refusal(
            source.name,
            f"{bad} of its first {len(head)} bytes do not fit the stated encoding {stated!r}",
            key="encoding",
            mend="leave the key out and it is found",
        )
    return Encoding(name, undecodable=bad)
