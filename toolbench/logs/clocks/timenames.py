"""Words that name a column of time, in the languages loggers speak: the one list of them."""

from __future__ import annotations

import re

_WORDS = (
    "t time zeit temps tempo tiempo tid tijd czas elapsed timestamp zeitstempel datetime date clock seconds millis sekunden "
    "stamp epoch uptime uhrzeit datum heure hora ora fecha uhr laufzeit messzeit testtime tstamp ts timecode sec secs time_s "
    "время čas aika idő tempo horodatage zeitpunkt runtime unixtime systime localtime utc gmt ticks x-axis"
)
TIME_NAMES = frozenset(_WORDS.split())
_TIME_SIGNS = ("時間", "日時", "时间", "時刻", "时刻", "日期", "日付", "시간", "タイム")


def is_time_name(name: str) -> bool:
    """Whether a column's name says that it holds the time.

    >>> is_time_name("testTime"), is_time_name("Real time"), is_time_name("Torque")
    (True, True, False)
    """
    words = {*re.split(r"[\s_.\-/()\[\],:]+", name.casefold()), name.strip().casefold()}
    camel = re.split(r"(?<=[a-z])(?=[A-Z])", name)
    return bool(
        TIME_NAMES.intersection(words)
        or TIME_NAMES.intersection(word.casefold() for word in camel)
        or any(sign in name for sign in _TIME_SIGNS)
    )
