"""The store: finds what it was given, notices what is damaged, gives way where it must."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright.disk import store_place
from seatwright.disk.store import Store
from seatwright.disk.store_keys import key_of
from seatwright.disk.store_place import open_store, store_folder, usual_store
from seatwright.errors import DiskError

KEYS = [key_of("levels", number) for number in range(6)]
BLOCK = np.arange(1000, dtype=np.float32)


def store_in(folder: Path) -> Store:
    return Store(folder / "store")


def found(store: Store, key: str) -> NDArray[Any] | None:
    reader = store.find("sums", key)
    if reader is None:
        return None
    array = reader.read(0)
    reader.close()
    return array


def files(store: Store) -> list[Path]:
    return sorted(store.folder.rglob("*.kept"))


def test_what_is_kept_is_found_by_its_key_alone(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    store.keep("sums", KEYS[0], {"n": 1}, [BLOCK])
    other = store_in(tmp_path)
    assert other.facts("sums", KEYS[0]) == {"n": 1, "key": KEYS[0]}
    array = found(other, KEYS[0])
    assert array is not None
    assert np.array_equal(array, BLOCK)
    assert found(other, KEYS[1]) is None
    assert other.facts("levels", KEYS[0]) is None
    assert (store.doubts, other.doubts) == ([], [])


def test_a_damaged_result_is_removed_and_told(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    store.keep("levels", KEYS[0], {"n": 1})
    (path,) = files(store)
    path.write_bytes(path.read_bytes()[:-9] + b"swkept-0?")
    assert store.facts("levels", KEYS[0]) is None
    assert not path.exists()
    (doubt,) = store.doubts
    assert "computed again: found" in doubt.what
    assert doubt.file == str(path)


def test_a_result_under_another_name_is_not_taken(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    store.keep("levels", KEYS[0], {})
    (path,) = files(store)
    wrong = store.folder / "levels" / KEYS[1][:2] / f"{KEYS[1]}.kept"
    wrong.parent.mkdir(exist_ok=True)
    path.rename(wrong)
    assert store.facts("levels", KEYS[1]) is None
    assert "something else" in store.doubts[0].what


def test_what_was_used_longest_ago_goes_first(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    for number, key in enumerate(KEYS):
        store.keep("sums", key, {}, [BLOCK])
        path = store.folder / "sums" / key[:2] / f"{key}.kept"
        os.utime(path, (1e9 + number, 1e9 + number))
    size = files(store)[0].stat().st_size
    later = store_in(tmp_path)
    assert found(later, KEYS[0]) is not None  # used just now
    later.limit = 3 * size
    assert later.shrink() == 3 * size
    left = {path.stem for path in files(store)}
    assert left == {KEYS[0], KEYS[4], KEYS[5]}
    assert store_in(tmp_path).limit == 3 * size


def test_a_render_s_own_results_stay_to_the_last(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    store.keep("sums", KEYS[0], {}, [BLOCK])
    os.utime(files(store)[0], (0, 0))
    other = store_in(tmp_path)
    other.keep("sums", KEYS[1], {}, [BLOCK])
    store.shrink(files(store)[0].stat().st_size)
    assert [path.stem for path in files(store)] == [KEYS[0]]


def test_clearing_leaves_an_empty_store(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    store.keep("sums", KEYS[0], {}, [BLOCK])
    size = files(store)[0].stat().st_size
    assert store.clear() == size
    assert all(each.count == 0 for each in store.holdings())
    assert store_in(tmp_path).holdings() == store.holdings()


def test_reading_through_finds_flipped_bits(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    for key in KEYS[:3]:
        store.keep("sums", key, {}, [BLOCK])
    path = files(store)[1]
    data = bytearray(path.read_bytes())
    data[77] ^= 4
    path.write_bytes(data)
    assert [each.path for each in store.damaged()] == [path]
    assert len(files(store)) == 2
    assert store.damaged() == ()


def test_abandoned_temporaries_go_after_a_day(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    store.keep("sums", KEYS[0], {}, [BLOCK])
    folder = files(store)[0].parent
    old, new = folder / ".being-written-1", folder / ".being-written-2"
    for path in (old, new):
        path.write_bytes(b"x")
    os.utime(old, (1e9, 1e9))
    store.shrink()
    assert (old.exists(), new.exists()) == (False, True)


def test_a_full_disk_is_told_once_and_stops_keeping(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, limits[1]))
    try:
        for key in KEYS[:3]:
            store.keep("sums", key, {}, [BLOCK])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert len(store.doubts) == 1
    assert "results are not kept: File too large" in store.doubts[0].what
    assert not store.keeping
    assert [path for path in store.folder.rglob("*") if path.is_file()] == [
        store.folder / "CACHEDIR.TAG"
    ]


def test_a_folder_with_other_things_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(DiskError, match="found a folder with other things in it"):
        Store(tmp_path)
    with pytest.raises(DiskError, match="cannot be used as a store"):
        Store(tmp_path / "letter.txt")
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_threads_may_keep_and_find_at_once(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    wrong: list[str] = []

    def work(seed: int) -> None:
        for round_ in range(40):
            key = KEYS[(seed + round_) % 6]
            store.keep("sums", key, {}, [BLOCK])
            array = found(store, key)
            if array is not None and not np.array_equal(array, BLOCK):
                wrong.append(key)
            if round_ % 7 == 0:
                store.shrink(10_000)

    threads = [threading.Thread(target=work, args=(seed,)) for seed in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (wrong, store.doubts) == ([], [])


def test_processes_may_share_a_folder(tmp_path: Path) -> None:
    code = (
        "import sys, numpy as np\n"
        "from pathlib import Path\n"
        "from seatwright.disk.store import Store\n"
        "from seatwright.disk.store_keys import key_of\n"
        "store = Store(Path(sys.argv[1]))\n"
        "for number in range(60):\n"
        "    key = key_of('levels', number % 6)\n"
        "    store.keep('sums', key, {}, [np.arange(1000, dtype=np.float32)])\n"
        "    reader = store.find('sums', key)\n"
        "    if reader: assert reader.read(0)[999] == 999.0; reader.close()\n"
        "    if number % 9 == 0: store.shrink(8000)\n"
        "assert store.doubts == [], store.doubts\n"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "store")]
    path = os.pathsep.join(sys.path)
    running = [subprocess.Popen(command, env={**os.environ, "PYTHONPATH": path}) for _ in range(3)]
    assert [each.wait(60) for each in running] == [0, 0, 0]


def test_where_the_store_is(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert store_folder() is None
    assert usual_store() == (None, [])
    monkeypatch.setenv("SEATWRIGHT_STORE", str(tmp_path / "here"))
    store, doubts = usual_store()
    assert store is not None
    assert (store.folder, doubts) == (tmp_path / "here", [])
    monkeypatch.setenv("SEATWRIGHT_STORE", str(tmp_path / "here" / "CACHEDIR.TAG"))
    store, doubts = usual_store()
    assert store is None
    assert "cannot be used as a store" in doubts[0].what
    monkeypatch.delenv("SEATWRIGHT_STORE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    assert store_folder() == tmp_path / "cache" / "seatwright" / "results"


def test_results_of_another_version_are_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    assert open_store(tmp_path / "s").doubts == []
    assert open_store(tmp_path / "s").doubts == []
    monkeypatch.setattr(store_place, "engine_digest", lambda: "0" * 64)
    (doubt,) = open_store(tmp_path / "s").doubts
    assert "another version of this program" in doubt.what
    assert open_store(tmp_path / "s").doubts == []


def test_links_in_a_store_lead_nowhere(tmp_path: Path) -> None:
    store = open_store(tmp_path / "store")
    letter, other = tmp_path / "letter", tmp_path / "other"
    letter.write_text("dear")
    (other / "ab").mkdir(parents=True)
    (other / "ab" / "x.kept").write_text("mine")
    (store.folder / "sums").symlink_to(other)
    (store.folder / "levels").mkdir()
    (store.folder / "levels" / "ab").symlink_to(other / "ab")
    for name in ("computed-by", "limit-bytes"):
        (store.folder / name).unlink(missing_ok=True)
        (store.folder / name).symlink_to(letter)
    again = open_store(store.folder)
    again.limit = 5
    again.clear()
    assert letter.read_text() == "dear"
    assert (other / "ab" / "x.kept").read_text() == "mine"


def test_pipes_and_devices_in_a_store_keep_nobody_waiting(tmp_path: Path) -> None:
    store = open_store(tmp_path / "store")
    store.keep("sums", KEYS[0], {}, [BLOCK])
    (path,) = files(store)
    for place in (path, store.folder / "computed-by", store.folder / "limit-bytes"):
        place.unlink(missing_ok=True)
        os.mkfifo(place)
    again = open_store(store.folder)
    assert again.limit > 0
    assert found(again, KEYS[0]) is None
    assert again.damaged() == ()
    (store.folder / "limit-bytes").unlink()
    (store.folder / "limit-bytes").symlink_to("/dev/zero")
    assert again.limit == Store(store.folder).limit > 0


def test_one_place_that_is_taken_stops_no_other(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    taken = store.folder / "sums" / KEYS[0][:2] / f"{KEYS[0]}.kept"
    taken.mkdir(parents=True)
    store.keep("sums", KEYS[0], {}, [BLOCK])
    store.keep("sums", KEYS[1], {}, [BLOCK])
    assert found(store, KEYS[1]) is not None
    (doubt,) = store.doubts
    assert (doubt.file, "not kept here" in doubt.what) == (str(taken), True)


def test_a_temporary_that_is_written_is_not_abandoned_whatever_the_clock(tmp_path: Path) -> None:
    store = store_in(tmp_path)
    writer = store.writer("sums", KEYS[0])
    writer.add(BLOCK)
    os.utime(writer.temporary, (1e9, 1e9))
    store_in(tmp_path).shrink()
    writer.finish({"key": KEYS[0]})
    assert found(store, KEYS[0]) is not None


def test_a_home_that_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SEATWRIGHT_STORE", "~nobody-of-that-name/x")
    store, (doubt,) = usual_store()
    assert store is None
    assert "found no home folder" in doubt.what
