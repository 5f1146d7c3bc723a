"""Inspections kept by the audio: found for a copy, not for another stem, never damaged."""

from __future__ import annotations

import os
import shutil
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seatwright.disk import file_contents, stem_inspection
from seatwright.disk.inspection_shelf import InspectionShelf
from seatwright.disk.stem_inspection import inspect_sound
from seatwright.disk.store import Store
from seatwright.sound.inspection import StemInspection


def same(one: StemInspection, other: StemInspection) -> bool:
    bare = [
        replace(each, sound=replace(each.sound, excerpt=0, octaves=None)) for each in (one, other)
    ]
    octaves = [each.sound.octaves for each in (one, other)]
    assert octaves[0] is not None
    assert octaves[1] is not None
    return (
        repr(bare[0]) == repr(bare[1])
        and np.array_equal(one.sound.excerpt, other.sound.excerpt)
        and np.array_equal(octaves[0].powers, octaves[1].powers)
        and np.array_equal(octaves[0].cross, octaves[1].cross)
    )


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of stems that are read through."""
    done: list[str] = []
    inspect = stem_inspection.inspect_audio

    def noted(reader: Any, levels: bool = True) -> StemInspection:
        done.append(reader.stem.path.name)
        return inspect(reader, levels)

    monkeypatch.setattr(stem_inspection, "inspect_audio", noted)
    return done


def test_a_stem_is_read_once(stage: Any, tmp_path: Path, read: list[str]) -> None:
    store = Store(tmp_path / "store")
    first = stage.stem("a.wav", stage.noise(1, 1.0, 2))
    silent = stage.stem("b.wav", np.zeros((8_000, 1)))
    before = inspect_sound([first, silent], 2, shelf=InspectionShelf(store))
    copy = tmp_path / "copy.wav"
    shutil.copyfile(first, copy)
    again = inspect_sound([copy, silent, first], 2, shelf=InspectionShelf(Store(store.folder)))
    assert sorted(read) == ["a.wav", "b.wav"]
    assert same(again[2], before[0])
    assert same(again[1], before[1])
    assert same(again[0], replace(before[0], file=str(copy)))


def test_other_audio_and_damaged_records_are_read_again(
    stage: Any, tmp_path: Path, read: list[str]
) -> None:
    store = Store(tmp_path / "store")
    path = stage.stem("a.wav", stage.noise(1, 0.5))
    shelf = InspectionShelf(store)
    (before,) = inspect_sound([path], 1, shelf=shelf)
    for kept in (store.folder / "stems").rglob("*.kept"):
        kept.write_bytes(kept.read_bytes()[:-40])
    (again,) = inspect_sound([path], 1, shelf=shelf)
    assert same(before, again)
    assert len(store.doubts) == 1
    stage.stem("a.wav", stage.noise(2, 0.5))
    (other,) = inspect_sound([path], 1, shelf=shelf)
    assert other.sound.integrated_lufs != before.sound.integrated_lufs
    assert read == ["a.wav"] * 3


def test_a_settled_stem_is_found_without_reading_it_at_all(
    stage: Any, tmp_path: Path, read: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store(tmp_path / "store")
    path = stage.stem("a.wav", stage.noise(1, 0.5))
    now = time.time()
    monkeypatch.setattr(file_contents.time, "time", lambda: now + 10.0)
    monkeypatch.setattr(file_contents, "_read", lambda _path: pytest.fail("read for its digest"))
    (before,) = inspect_sound([path], 1, shelf=InspectionShelf(store))
    (again,) = inspect_sound([path], 1, shelf=InspectionShelf(store))
    assert same(before, again)
    assert read == ["a.wav"]
    path.write_bytes(path.read_bytes())
    os.utime(path, (now + 1.0, now + 1.0))
    inspect_sound([path], 1, shelf=InspectionShelf(store))
    assert read == ["a.wav"] * 2


@pytest.mark.parametrize("settled", [0.0, 3600.0])
def test_a_stem_replaced_before_its_turn_is_not_kept_as_what_it_was(
    stage: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, settled: float
) -> None:
    paths = [stage.stem(f"{n}.wav", stage.noise(n, 0.5)) for n in range(2)]
    other = stage.stem("other.wav", stage.noise(7, 0.5))
    inspect = stem_inspection.inspect_audio

    def replaced(reader: Any, levels: bool = True) -> StemInspection:
        found = inspect(reader, levels)
        if reader.stem.path == paths[1]:  # done, but the one before it takes long
            shutil.copyfile(other, paths[1])
        return found

    monkeypatch.setattr(stem_inspection, "inspect_audio", replaced)
    monkeypatch.setattr(file_contents, "_SETTLED_SECONDS", -settled)
    shelf = InspectionShelf(Store(tmp_path / "store"))
    inspect_sound(paths, 1, shelf=shelf)
    monkeypatch.setattr(stem_inspection, "inspect_audio", inspect)
    (found,) = inspect_sound(paths[1:], 1, shelf=shelf)
    assert same(found, inspect_sound(paths[1:], 1)[0])
