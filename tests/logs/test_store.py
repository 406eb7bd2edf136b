"""What is kept between calls: exact, whole or nothing, bounded, and never in the way."""

from __future__ import annotations

import math
import os
import struct
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest

from toolbench.files import digest, digest_bytes
from toolbench.logs.kept import known, store
from toolbench.logs.kept.container import Kept, pack, unpack
from toolbench.logs.kept.known import find_digest, state_of
from toolbench.logs.kept.store import PLACE, Store, cache_folder, open_store

KEY = "ab" * 32
HARD = [0.1, -0.0, 5e-324, 1.7976931348623157e308, math.inf, -math.inf, math.nan, 2**53 + 1.0, 1 / 3]


def key(number: int) -> str:
    return digest_bytes(str(number).encode("ascii"))


def bits(values: object) -> bytes:
    return np.asarray(values, dtype="<f8").tobytes()


def test_numbers_come_back_to_the_last_bit() -> None:
    kept = unpack(KEY, pack(KEY, Kept({"value": HARD, "none": None, "name": "Größe µ"}, [np.array(HARD), np.empty(0)])))
    assert kept is not None
    assert bits(kept.facts["value"]) == bits(HARD)
    assert kept.facts["none"] is None
    assert kept.facts["name"] == "Größe µ"
    assert [bits(array) for array in kept.arrays] == [bits(HARD), b""]
    assert kept.arrays[0].flags.writeable  # as a fresh array is


def test_numbers_of_numpy_are_kept_as_what_they_are() -> None:
    kept = unpack(KEY, pack(KEY, Kept({"met": np.bool_(True), "n": np.int64(2**53 + 1), "x": np.float64(0.1)})))
    assert kept is not None
    assert kept.facts == {"met": True, "n": 2**53 + 1, "x": 0.1}


@pytest.mark.parametrize("array", [np.zeros(3, dtype=np.float32), np.zeros((2, 2)), np.zeros(3, dtype=np.int64)])
def test_an_array_that_would_come_back_otherwise_is_refused(array: np.ndarray) -> None:
    with pytest.raises(ValueError, match="cannot be kept"):
        pack(KEY, Kept({}, [array]))


def test_any_damaged_byte_and_any_cut_is_a_miss() -> None:
    data = pack(KEY, Kept({"a": 1.5}, [np.arange(5.0)]))
    assert unpack(KEY, data) is not None
    for place in range(len(data)):
        assert unpack(KEY, data[:place]) is None
        assert unpack(KEY, data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]) is None
    assert unpack(KEY, data + b"\0") is None


def test_what_was_kept_under_one_key_does_not_answer_another(tmp_path: Path) -> None:
    kept, other = Store(tmp_path), "cd" * 32
    kept.put("run", KEY, Kept({"a": 1}))
    kept.path("run", other).parent.mkdir(parents=True)
    kept.path("run", KEY).rename(kept.path("run", other))
    assert kept.get("run", other) is None


def test_a_damaged_file_is_a_miss_and_is_replaced(tmp_path: Path) -> None:
    kept = Store(tmp_path)
    kept.put("run", KEY, Kept({"a": 1}))
    whole = kept.path("run", KEY).read_bytes()
    kept.path("run", KEY).write_bytes(whole[:-3])
    assert kept.get("run", KEY) is None
    kept.put("run", KEY, Kept({"a": 1}))
    assert kept.path("run", KEY).read_bytes() == whole


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with a name")
def test_a_pipe_in_the_place_of_an_entry_is_not_waited_for(tmp_path: Path) -> None:
    kept = Store(tmp_path)
    path = kept.path("run", KEY)
    path.parent.mkdir(parents=True)
    os.mkfifo(path)
    assert kept.get("run", KEY) is None


def test_an_entry_larger_than_its_part_may_be_is_not_read(tmp_path: Path) -> None:
    kept = Store(tmp_path)
    kept.put("run", KEY, Kept({"value": "x" * 1000}))
    assert kept.get("run", KEY) is not None
    kept.bound = 16 * 1000  # a part holds at most a sixteenth
    assert kept.get("run", KEY) is None


def test_no_file_can_run_anything(tmp_path: Path) -> None:
    """By construction of the attack: a pickle under the right name, which would call os.mkdir when loaded."""
    import pickle

    class Attack:
        def __reduce__(self) -> tuple[object, tuple[str]]:
            return os.mkdir, (str(tmp_path / "attacked"),)

    kept = Store(tmp_path)
    kept.path("run", KEY).parent.mkdir(parents=True)
    kept.path("run", KEY).write_bytes(pickle.dumps(Attack()))
    assert kept.get("run", KEY) is None
    assert not (tmp_path / "attacked").exists()


# ---- bounded


def test_the_folder_stays_within_its_bound(tmp_path: Path) -> None:
    bound = 16 * 10 * 4096  # ten of the smallest files in each of the sixteen parts
    kept = Store(tmp_path, bound)
    for number in range(1000):
        kept.put("digest", key(number), Kept({"number": number}))
    for part in store.PARTS:
        kept.prune(part)
    assert 0 < kept.held().size <= bound
    # Without the pruning by the way it would have been 1000 files; one write in sixteen prunes its part.
    assert kept.held().counts["digest"] <= 160


def test_writing_alone_keeps_the_folder_near_its_bound(tmp_path: Path) -> None:
    bound = 16 * 10 * 4096
    kept = Store(tmp_path, bound)
    for number in range(1000):
        kept.put("digest", key(number), Kept({}))
    assert kept.held().size <= 3 * bound


def test_what_was_not_used_for_longest_goes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = Store(tmp_path, bound=16 * 2 * 4096)
    keys = ["a" + key(number)[1:] for number in range(4)]
    for age, one in zip((4000, 3000, 2000, 1000), keys, strict=True):
        kept.put("run", one, Kept({}))
        path = kept.path("run", one)
        os.utime(path, (path.stat().st_mtime - age,) * 2)
    assert kept.get("run", keys[0]) is not None  # the oldest is used, so it is the newest now
    kept.prune("a")
    assert [kept.path("run", one).exists() for one in keys] == [True, False, False, True]


def test_leftovers_of_a_writer_that_was_killed_go_after_an_hour(tmp_path: Path) -> None:
    kept = Store(tmp_path)
    kept.put("run", KEY, Kept({}))
    folder = kept.path("run", KEY).parent
    old, new = (folder / f".{KEY[1:41]}.x{number}.part" for number in range(2))
    for path in (old, new):
        path.write_bytes(b"half")
    os.utime(old, (1e9, 1e9))
    kept.prune(KEY[0])
    assert (old.exists(), new.exists(), kept.get("run", KEY) is not None) == (False, True, True)


# ---- removable


def test_clear_removes_what_was_kept_and_nothing_else(tmp_path: Path) -> None:
    kept = Store(tmp_path / "cache")
    for number in range(40):
        kept.put(("run", "start", "digest")[number % 3], key(number), Kept({}, [np.arange(100.0)]))
    held = kept.held()
    part = kept.path("run", key(0)).parent
    outside = tmp_path / "outside"
    outside.mkdir()
    mine = [tmp_path / "cache" / "note.txt", part / "mine.txt", part / ("a" * 63 + ".csv"), outside / f"{KEY[1:]}.run"]
    for path in mine:
        path.write_text("keep me", encoding="utf-8")
    link = kept.folder / PLACE / "x"
    link.symlink_to(outside)
    removed = kept.clear()
    assert removed.counts == {"run": 14, "start": 13, "digest": 13}  # by hand: 40 in turn
    assert removed.size == held.size > 0
    assert all(path.read_text(encoding="utf-8") == "keep me" for path in mine)
    assert sum(kept.held().counts.values()) == 0


def test_a_part_that_is_a_link_is_not_followed(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    mine = outside / f"{KEY[1:]}.run"
    mine.write_bytes(b"mine")
    (tmp_path / "cache" / PLACE).mkdir(parents=True)
    (tmp_path / "cache" / PLACE / KEY[0]).symlink_to(outside)
    assert sum(Store(tmp_path / "cache").clear().counts.values()) == 0
    assert mine.exists()


def test_clearing_while_others_write_and_read_disturbs_nobody(tmp_path: Path) -> None:
    kept, wrong, stop = Store(tmp_path), [], threading.Event()

    def use() -> None:
        while not stop.is_set():
            for number in range(20):
                found = kept.get("run", key(number))
                if found is not None and found.facts["number"] != number:
                    wrong.append(number)
                kept.put("run", key(number), Kept({"number": number}))

    threads = [threading.Thread(target=use) for _ in range(3)]
    for thread in threads:
        thread.start()
    for _ in range(60):
        kept.clear()
    stop.set()
    for thread in threads:
        thread.join()
    assert wrong == []


# ---- never in the way


def test_a_folder_that_cannot_be_made_is_tried_once(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    kept = Store(tmp_path / "file" / "below")
    kept.put("run", KEY, Kept({}))
    assert not kept.writable
    assert kept.get("run", KEY) is None
    assert kept.held().size == 0
    assert kept.clear().size == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_is_no_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import tempfile

    def full(**options: object) -> tuple[int, str]:
        return os.open("/dev/full", os.O_WRONLY), str(tmp_path / "half")

    monkeypatch.setattr(tempfile, "mkstemp", full)
    kept = Store(tmp_path)
    kept.put("run", KEY, Kept({}))
    assert not kept.writable


# ---- where


def test_the_place_is_what_the_environment_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TOOLBENCH_CACHE", str(tmp_path))
    assert cache_folder() == tmp_path
    monkeypatch.setenv("TOOLBENCH_CACHE", "off")
    assert cache_folder() is None
    assert open_store() is None


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="the rule of other systems")
def test_the_place_follows_the_xdg_rule(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TOOLBENCH_CACHE")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert cache_folder() == tmp_path / "xdg" / "toolbench"
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")  # to be passed over, says the specification
    assert cache_folder() == tmp_path / ".cache" / "toolbench"


# ---- digests


def test_a_file_is_hashed_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known, "NEAR_NS", -1)
    path, kept = tmp_path / "a.csv", Store(tmp_path / "cache")
    path.write_bytes(b"1,2\n")
    first = find_digest(path, kept)
    monkeypatch.setattr(known, "digest", lambda path: pytest.fail("hashed again"))
    assert first is not None
    assert first == find_digest(path, kept)
    # By `printf '1,2\n' | sha256sum`.
    assert first.digest == "52186c933993da4082b3cdc7c40bb4bf735b391ff54a2ef78c037dda6c38a680"


def test_a_file_changed_a_moment_ago_is_hashed_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two changes within one tick of the file system's clock: constructed by a state that does not tell them apart."""
    path, kept = tmp_path / "a.csv", Store(tmp_path / "cache")
    path.write_bytes(b"1,2\n")
    same = state_of(path)
    monkeypatch.setattr(known, "state_of", lambda path: same)
    one = find_digest(path, kept)
    path.write_bytes(b"1,3\n")
    two = find_digest(path, kept)
    assert one is not None
    assert two is not None
    assert one.digest != two.digest == digest(path)


def test_a_change_of_the_same_size_and_time_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Constructed: the time of change is put back, as copying tools do; the system's own time of the entry is not."""
    monkeypatch.setattr(known, "NEAR_NS", -1)
    path, kept = tmp_path / "a.csv", Store(tmp_path / "cache")
    path.write_bytes(b"1,2\n")
    before = path.stat()
    find_digest(path, kept)
    path.write_bytes(b"1,3\n")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    found = find_digest(path, kept)
    assert found is not None
    assert found.digest == digest(path)


def test_a_file_that_grows_while_it_is_hashed_has_no_digest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, kept = tmp_path / "a.csv", Store(tmp_path / "cache")
    path.write_bytes(b"1,2\n")

    def growing(path: Path) -> str:
        found = digest(path)
        path.write_bytes(b"1,2\n3,4\n")
        return found

    monkeypatch.setattr(known, "digest", growing)
    assert find_digest(path, kept) is None


@pytest.mark.parametrize("make", [Path.mkdir, os.mkfifo, lambda path: path.symlink_to(path), lambda path: None])
def test_what_is_no_file_has_no_state(tmp_path: Path, make: object) -> None:
    make(tmp_path / "x")  # type: ignore[operator]
    assert state_of(tmp_path / "x") is None


def test_processes_share_one_folder(tmp_path: Path) -> None:
    """Three processes keep and read the same twenty things at once; whatever is read is whole and right."""
    code = (
        "import sys; from pathlib import Path; import numpy as np\n"
        "from toolbench.logs.kept.container import Kept; from toolbench.logs.kept.store import Store\n"
        "kept = Store(Path(sys.argv[1]))\n"
        "for turn in range(20):\n"
        "    for n in range(20):\n"
        "        key = f'{n:064x}'[::-1]\n"
        "        found = kept.get('run', key)\n"
        "        assert found is None or (found.arrays[0] == n).all()\n"
        "        kept.put('run', key, Kept({}, [np.full(2000, float(n))]))\n"
        "assert kept.writable\n"
    )
    running = [subprocess.Popen([sys.executable, "-c", code, str(tmp_path)], stderr=subprocess.PIPE) for _ in range(3)]
    said = [process.communicate()[1] for process in running]
    assert [process.returncode for process in running] == [0] * 3, said
    assert Store(tmp_path).held().counts["run"] == 20
    assert struct.calcsize("d") * 20 * 2000 < Store(tmp_path).held().size
