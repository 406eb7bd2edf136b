"""Mutates logger files byte by byte: every reading must end with a Log or a RecordingError, soon, without a warning and without growth.

Run from the checkout: `python tests/dialects/fuzz.py --mutations 200000 [--seed 1]`. It stops at the first fault and prints the seed and
the mutation that give it again. The mutated files live in a temporary folder; nothing else is written.
"""

from __future__ import annotations

import argparse
import resource
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from random import Random

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
sys.path.insert(0, str(HERE.parents[1]))

import made_files  # noqa: E402

from toolbench.errors import RecordingError  # noqa: E402
from toolbench.logs import describe, read_log, suggest_table  # noqa: E402
from toolbench.quantities.units import is_unit  # noqa: E402

SECONDS_EACH = 5.0
"""Processor time: a file of a few kilobytes takes milliseconds, more than this is a hang. Others on the machine do not count."""
GROWTH = 150 * 1024 * 1024
"""Bytes that the process may grow after the first files: what a single file takes is far less."""
WARM = 500

Mutate = Callable[[Random, bytes, Sequence[bytes]], bytes]
TOKENS = (
    b"\x00",
    b"\xff",
    b"\x00\x00\x00\x00",
    b'"',
    b",",
    b";",
    b"\t",
    b"\n",
    b"\r",
    b"\r\r\n",
    b"1e999",
    b"-",
    b"nan",
    b"inf",
    b"[s]",
    b"24:00:00",
    b"9" * 400,
    b"\xef\xbb\xbf",
    b"\xfe\xff",
    b"0x1p3",
    b"1_000",
    b"29.02.2026 00:00:00",
    b"99/99/9999",
    b"12:61:61 PM",
    b"Sample rate: 0 Hz\n",
    b"-1 Hz",
    b"e",
    b"#",
    b"\xe2\x88\x92",
    b"\xd9\xa1",
)


def flip(random: Random, content: bytes, _: Sequence[bytes]) -> bytes:
    changed = bytearray(content)
    for _ in range(random.choice([1, 1, 2, 8, 40])):
        changed[random.randrange(len(changed))] ^= 1 << random.randrange(8)
    return bytes(changed)


def overwrite(random: Random, content: bytes, _: Sequence[bytes]) -> bytes:
    changed = bytearray(content)
    for _ in range(random.choice([1, 3, 10])):
        changed[random.randrange(len(changed))] = random.randrange(256)
    return bytes(changed)


def cut(random: Random, content: bytes, _: Sequence[bytes]) -> bytes:
    first, second = sorted((random.randrange(len(content) + 1), random.randrange(len(content) + 1)))
    return random.choice([content[:first], content[first:], content[:first] + content[second:]])


def insert(random: Random, content: bytes, _: Sequence[bytes]) -> bytes:
    at = random.randrange(len(content) + 1)
    return content[:at] + random.choice(TOKENS) * random.choice([1, 1, 1, 3, 200]) + content[at:]


def replace_number(random: Random, content: bytes, _: Sequence[bytes]) -> bytes:
    """A token in place of the bytes between two delimiters."""
    at = random.randrange(len(content))
    ends = [content.find(mark, at) for mark in (b",", b";", b"\t", b"\n")]
    end = min((place for place in ends if place >= 0), default=len(content))
    return content[:at] + random.choice(TOKENS) + content[end:]


def lines(random: Random, content: bytes, _: Sequence[bytes]) -> bytes:
    """Lines swapped, doubled, dropped or repeated many times."""
    parts = content.split(b"\n")
    first, second = random.randrange(len(parts)), random.randrange(len(parts))
    match random.randrange(4):
        case 0:
            parts[first], parts[second] = parts[second], parts[first]
        case 1:
            parts.insert(second, parts[first])
        case 2:
            del parts[first]
        case _:
            parts[first:first] = [parts[second]] * random.choice([3, 60])
    return b"\n".join(parts)


def swap(random: Random, content: bytes, _: Sequence[bytes]) -> bytes:
    """One delimiter or decimal mark for another, throughout or once."""
    old, new = random.sample([b",", b";", b"\t", b".", b":", b"/", b"-", b" ", b'"', b"\n"], 2)
    return content.replace(old, new, random.choice([-1, 1, 5]))


def nuls(random: Random, content: bytes, _: Sequence[bytes]) -> bytes:
    at = random.randrange(len(content) + 1)
    return content[:at] + b"\x00" * random.choice([1, 16, 4096]) + content[at:]


def splice(random: Random, content: bytes, others: Sequence[bytes]) -> bytes:
    other = random.choice(others) or b"\n"
    return content[: random.randrange(len(content) + 1)] + other[random.randrange(len(other)) :]


MUTATIONS: tuple[Mutate, ...] = (flip, overwrite, cut, insert, replace_number, lines, swap, nuls, splice)


def seeds() -> list[bytes]:
    """The corpus, and a made file of every clock and of every structure."""
    corpus = [path.read_bytes() for path in sorted((HERE / "corpus").iterdir()) if path.suffix != ".json"]
    clocks, structures = made_files.clocks(), made_files.structures()
    crossed = [(clock, structures[k % len(structures)]) for k, clock in enumerate(clocks)]
    crossed += [(clocks[(7 * k) % len(clocks)], structure) for k, structure in enumerate(structures)]
    made = [made_files.make(clock, structure, 1) for clock, structure in crossed]
    return [*corpus, *(file.content for file in made if file)]


def mutated(seed: int, count: int) -> Iterator[bytes]:
    """Mutated files by seed: one to four mutations each. The same seed and count give the same files."""
    sources = seeds()
    for number in range(count):
        random = Random(f"{seed}/{number}")
        content = random.choice(sources)
        for _ in range(random.choice([1, 1, 1, 2, 4])):
            content = random.choice(MUTATIONS)(random, content or b"\n", sources)
        # A file of some hundred kilobytes shows a hang as well as a larger one does.
        yield content[:200_000]


def outcome(content: bytes, path: Path) -> str:
    """Read a file in all ways a user would; "read" or "refused". Raises whatever else happens, a warning too."""
    path.write_bytes(content)
    begin = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            log = read_log(path)
            described, table, shown = describe(log), suggest_table(log), repr(log)
        except RecordingError as error:
            done, words = "refused", str(error)
        else:
            words = "read"
            assert described, "nothing is described"
            assert table, "no table is suggested"
            assert shown, "the log shows nothing"
            assert len(log.data) == len(log.data.index)
            assert not log.data.index.hasnans, "a row without a time"
            done = "read"
    assert words, "a refusal without words"
    spent = time.process_time() - begin
    assert spent < SECONDS_EACH, f"took {spent:.1f} s"
    return done


@contextmanager
def stopped_when_hung() -> Iterator[None]:
    """Raise TimeoutError in a reading that hangs, where the system has alarms."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def ring(*_: object) -> None:
        raise TimeoutError(f"not done after {2 * SECONDS_EACH:.0f} s")

    before = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, 2 * SECONDS_EACH)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def resident() -> int:
    """The highest this process has held [bytes]."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak if sys.platform == "darwin" else peak * 1024


def run(seed: int, count: int, folder: Path) -> Counter[str]:
    """Read that many mutated files. Raises AssertionError that names the seed and the number of the first one that goes wrong."""
    outcomes: Counter[str] = Counter()
    settled = 0
    is_unit("N/mm")  # the library of units is loaded once, and not by the first file that needs it
    for number, content in enumerate(mutated(seed, count)):
        try:
            with stopped_when_hung():
                outcomes[outcome(content, folder / "mutated.csv")] += 1
        except Exception as error:
            told = "".join(traceback.format_exception(error)[-3:])
            raise AssertionError(f"seed {seed}, mutation {number} ({len(content)} bytes): {told}") from error
        if number == WARM:
            settled = resident()
    grown = resident() - settled if settled else 0
    assert grown < GROWTH, f"seed {seed}: the process grew by {grown / 1e6:.0f} MB"
    return outcomes


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--mutations", type=int, default=200_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    begin = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        outcomes = run(asked.seed, asked.mutations, Path(folder))
    spent = time.perf_counter() - begin
    print(f"{asked.mutations} mutated files: {dict(outcomes)}, {spent:.0f} s, at most {resident() / 1e6:.0f} MB")


if __name__ == "__main__":
    main()
