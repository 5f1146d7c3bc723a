"""Sums of groups: silent blocks take no place, and what is read is what was written."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from seatwright.disk.group_sums import GroupSums
from seatwright.disk.kept_file import DamagedFile
from seatwright.disk.store import Store
from seatwright.errors import DiskError
from seatwright.sound.mix import Signal

RNG = np.random.default_rng(3)
BLOCKS: list[list[Signal]] = [
    [RNG.normal(size=(2, 500)).astype(np.float32), None],
    [None, None],
    [RNG.normal(size=(2, 300)).astype(np.float32), RNG.normal(size=(2, 300)).astype(np.float32)],
]
LENGTHS = (500, 400, 300)
KEYS = ("a" * 64, "b" * 64)


def fill(sums: GroupSums) -> None:
    for block in BLOCKS:
        for group in sums.missing:
            sums.write(group, block)
    sums.finish()


def same(sums: GroupSums, group: int) -> bool:
    for number, block in enumerate(BLOCKS):
        for place, wanted in enumerate(block):
            found = sums.signal(group, place, number, LENGTHS[number])
            if wanted is None or found is None:
                if not (wanted is None and found is None):
                    return False
            elif not np.array_equal(found, wanted):
                return False
    return True


@pytest.mark.parametrize("with_store", [False, True])
def test_what_is_written_is_read_and_nothing_stays_beside(tmp_path: Path, with_store: bool) -> None:
    store = Store(tmp_path / "store") if with_store else None
    out = tmp_path / "out"
    out.mkdir()
    with GroupSums(KEYS, out, store) as sums:
        assert sums.missing == (0, 1)
        fill(sums)
        assert same(sums, 0)
        assert same(sums, 1)
        assert bool(list(out.iterdir())) != with_store
    assert list(out.iterdir()) == []
    if store is None:
        return
    size = sum(path.stat().st_size for path in store.folder.rglob("*.kept"))
    assert size < 2 * (2 * 4 * (500 + 300 + 300) + 1500)  # the silent block takes no place
    with GroupSums((KEYS[1], "c" * 64), out, store) as sums:
        assert sums.missing == (1,)
        assert same(sums, 0)
    with GroupSums(KEYS, out, store, known=False) as sums:
        assert sums.missing == (0, 1)


def test_what_is_not_finished_is_not_kept(tmp_path: Path) -> None:
    store = Store(tmp_path / "store")
    with pytest.raises(KeyboardInterrupt), GroupSums(KEYS, tmp_path, store) as sums:
        sums.write(0, BLOCKS[0])
        raise KeyboardInterrupt
    assert not list(store.folder.rglob("*.kept"))
    assert not list(store.folder.rglob(".being-written-*"))


def test_a_block_that_is_not_there_is_damage(tmp_path: Path) -> None:
    store = Store(tmp_path / "store")
    with GroupSums(KEYS, tmp_path, store) as sums:
        fill(sums)
        with pytest.raises(DamagedFile, match="no signal 0 in block 3"):
            sums.signal(0, 0, 3, 500)
        with pytest.raises(DamagedFile, match="of shape"):
            sums.signal(0, 0, 0, 499)


def test_no_place_beside_the_outputs_is_told(tmp_path: Path) -> None:
    with (
        pytest.raises(DiskError, match="cannot keep rendered blocks: No such file"),
        GroupSums(KEYS, tmp_path / "gone") as sums,
    ):
        sums.write(0, BLOCKS[0])


def test_samples_that_are_no_numbers_are_damage_in_the_store(tmp_path: Path) -> None:
    store = Store(tmp_path / "store")
    wrong = np.zeros((2, 500), np.float32)
    wrong[1, 7] = np.nan
    store.keep("sums", KEYS[0], {"blocks": [[0]]}, [wrong])
    with GroupSums(KEYS[:1], tmp_path, store) as sums:
        assert sums.missing == ()
        with pytest.raises(DamagedFile, match="no numbers"):
            sums.signal(0, 0, 0, 500)
