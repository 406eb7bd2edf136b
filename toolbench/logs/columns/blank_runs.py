"""Millions of blank lines among the rows: each would be an entry in every list of lines, and the file is no recording."""

from __future__ import annotations

from toolbench.logs.source import HEAD_SIZES, TAIL_SIZE, Source, refusal

MOST_BLANK = 1_000_000
_PLACES = 16


def refuse_blank_runs(source: Source) -> None:
    """Refuse a file with more than a million blank lines in runs among its rows; behind the last row they do no harm.

    Some places are looked at first, and the whole file only where one of them is blank.
    """
    if source.size < HEAD_SIZES[-1] or not _is_blank_somewhere(source):
        return
    data = source.everything().replace(b"\r\n", b"\n").rstrip(b"\n")
    # Two line ends in a row are what a double-spaced file has behind every row; from three on it is a run.
    if 3 * data.count(b"\n\n\n") > MOST_BLANK:
        raise refusal(
            source.name,
            f"holds more than {MOST_BLANK} blank lines among its rows",
            mend="leave the blank lines out in a copy of the file, or export it again from the logger",
        )


def _is_blank_somewhere(source: Source) -> bool:
    with source.path.open("rb") as stream:
        for place in range(1, _PLACES):
            stream.seek(place * source.size // _PLACES)
            if not stream.read(TAIL_SIZE // _PLACES).strip(b"\r\n"):
                return True
    return False
