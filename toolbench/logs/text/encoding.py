"""Which encoding a file is in, judged by what the text then says, not by the absence of an error."""

from __future__ import annotations

import codecs
import re
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
_WESTERN = frozenset("°²³µ±·×÷ÄÖÜäöüßÀÁÂÇÈÉÊÍÎÓÔØÅÆàáâãçèéêëíîïñóôõøùúûåæ€–—‰§©®½¼¹ªº«»‘’“”…¡¿\xa0Œœ")
# A sharp s follows a letter: standing alone in front of a C it is the half-width ring of a Japanese logger.
_ALONE = re.compile(r"(?<![^\W\d_])ß")
# No western word has four letters beyond ASCII in a row.
_RUN = re.compile(r"[À-ÖØ-öø-ÿŒœŠšŽžŸ]{4,}")
# Two signs in a row are no word either, but how two bytes of a Japanese letter look.
_SIGNS = re.compile(r"[³µ±·×÷‰“”‘’«»©®¹ªº¡¿…–—§¼½¾¸´¨¯¬¦¤]{2,}|(?<=[^\W\d_])[‰“”«»©®¡¿…§¼½¾](?=[^\W\d_])")
# In the codecs of a DOS prompt the degree sign is what others show as a slashed o: [øC] is no word of any language.
_DOS_DEGREE = re.compile(r"(?<![^\W\d_])ø(?=[CFK]\b)")
_CONTROL = bytes(set(range(32)) - {9, 10, 11, 12, 13, 26, 27}) + b"\x7f"
_LEAST_PLAUSIBLE = 0.4
_JAPANESE = ("\u3000", "\u30ff"), ("\u4e00", "\u9fff"), ("\uff01", "\uff9f"), ("\u2100", "\u214f"), ("\u0391", "\u03c9")


@dataclass(frozen=True, slots=True)
class Encoding:
    """A codec name, and how many bytes it could not decode where the file was looked at."""

    name: str
    undecodable: int = 0
    guessed: bool = False

    @property
    def like_utf8(self) -> bool:
        """Whether the bytes can go to the parser as they are: numbers look the same in every ASCII-based encoding."""
        return self.name in ("utf-8", "utf-8-sig", "cp1252", "latin-1", "cp850")

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
    if not head.strip(b"\0"):
        raise refusal(
            source.name, f"holds zero bytes only ({len(head)} looked at)", mend="the logger lost it: record again"
        )
    wide = _wide_without_mark(head)
    if wide:
        return Encoding(wide, guessed=True)
    _refuse_binary(source, head)
    # A window may cut a character in two: pieces between line ends are whole.
    sample = head if head.isascii() else head.rpartition(b"\n")[0] or head
    tail = source.tail
    overlap = len(sample) - (source.size - len(tail))
    if overlap > 0:  # what both windows show is looked at once, and counted once
        tail = tail[overlap:]
    elif not tail.isascii() and source.size > len(tail):
        tail = tail.partition(b"\n")[2]
    return _of_bytes(source, sample + b"\n" + tail if source.size > len(head) else head)


def _refuse_binary(source: Source, head: bytes) -> None:
    """Refuse what is no text: control bytes in many lines. In one line they are junk, at the end the power went."""
    bare = re.sub(rb"\0{8,}", b"", head)
    controls = len(bare) - len(bare.translate(None, _CONTROL))
    if controls <= max(8, len(bare) // 50):
        return
    lines = [line for line in re.split(rb"[\r\n]+", bare) if line]
    odd = sum(len(line) != len(line.translate(None, _CONTROL)) for line in lines)
    if odd > max(2, len(lines) // 20) or odd == len(lines):
        raise refusal(
            source.name,
            f"is not text: {controls} control bytes among the first {len(head)}",
            mend="export it as CSV from the logger's own software",
        )


def _of_bytes(source: Source, data: bytes) -> Encoding:
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
    # Lines with control bytes are junk, not words: they tell nothing about the encoding.
    words = b"\n".join(
        line
        for line in re.split(rb"[\r\n]+", data)
        if not line.isascii() and len(line) == len(line.translate(None, _CONTROL))
    )
    if not words:
        return Encoding("utf-8", undecodable=bad)
    scores = {name: _plausible(words, name) for name in ("cp1252", "latin-1", "cp932", "cp850")}
    best = max(scores, key=lambda name: scores[name])  # the first of equals
    if scores[best] < _LEAST_PLAUSIBLE and bad <= 8:
        return Encoding("utf-8", undecodable=bad)
    if scores[best] < _LEAST_PLAUSIBLE:
        shown = "; ".join(
            f"as {name} {words[:400].decode(name, 'replace').strip()[:24]!r}" for name in ("cp1252", "cp932")
        )
        raise refusal(
            source.name,
            f"its letters beyond ASCII make sense in none of UTF-8, UTF-16, cp1252, latin-1 and Shift-JIS ({shown})",
            key="encoding",
            mend='state it for this logger, for example `encoding = "cp1251"`',
        )
    return Encoding(best, guessed=True)


def _plausible(data: bytes, name: str) -> float:
    """Share of the letters beyond ASCII that a logger would write, minus one where the codec does not fit at all."""
    try:
        text = data.decode(name)
    except UnicodeDecodeError:
        return -1.0
    beyond = [letter for letter in text if letter > "\x7f"]
    if not beyond:
        return 0.0
    if name == "cp932":
        likely = sum(1 for letter in beyond if any(low <= letter <= high for low, high in _JAPANESE))
    elif name == "cp850":  # only where it turns a slashed o that makes no sense into a degree sign
        likely = len(beyond) if re.search(r"°[CFK]\b", text) and _DOS_DEGREE.search(data.decode("latin-1")) else 0
    else:
        likely = sum(1 for letter in beyond if letter in _WESTERN)
        likely -= len(_ALONE.findall(text)) + len(_DOS_DEGREE.findall(text))
        likely -= sum(len(run) for run in (*_RUN.findall(text), *_SIGNS.findall(text)))
    return likely / len(beyond)


def _wide_without_mark(head: bytes) -> str:
    """UTF-16 without a mark: every other byte of plain text is zero."""
    if len(head) < 4:
        return ""  # one letter tells nothing
    sample = head[:4096].rstrip(b"\0")
    sample += b"\0" * (len(sample) % 2)
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
