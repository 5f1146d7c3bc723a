"""Keys: the same for the same, new for whatever changes a result."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright.acoustics.listening import listening_of, seat_plan
from seatwright.disk import store_keys
from seatwright.disk.heads import scene_head
from seatwright.disk.scene_file import read_scene
from seatwright.disk.store_keys import engine_digest, key_of

SCENE = Path(__file__).parents[2] / "scenes" / "ferry.toml"


@dataclass(frozen=True, eq=False)
class Heavy:
    taps: NDArray[Any]
    name: str = field(default="", repr=False)


DIFFERENT = [
    1, 1.0, True, "1", b"1", None, (), (1,), ((1,),), (1, 2), ("1", "2"), ("12",), ("1", "", "2"),
    {"1": 2}, {"2": 1}, 0.0, -0.0, 0.1, float(np.nextafter(0.1, 1)), np.zeros(2),
    np.zeros(2, np.float32), np.zeros((1, 2)), np.array([0.0, 1e-300]), Heavy(np.zeros(2)),
    Heavy(np.zeros(2), "x"), Heavy(np.ones(2)),
]  # fmt: skip


def test_whatever_differs_has_another_key() -> None:
    keys = [key_of("levels", thing) for thing in DIFFERENT]
    assert len(set(keys)) == len(keys)
    assert keys == [key_of("levels", thing) for thing in DIFFERENT]
    assert key_of("sums", 1) != key_of("levels", 1)
    assert key_of("sums", 1, 2) != key_of("sums", (1, 2))


def test_arrays_count_by_what_is_in_them_not_by_where_they_are() -> None:
    assert key_of("x", Heavy(np.zeros(2))) == key_of("x", Heavy(np.zeros(2)))
    assert key_of("x", np.ones((2, 3)).T) == key_of("x", np.ones((3, 2)))
    assert key_of("x", [1, 2]) == key_of("x", (1, 2))


def test_what_may_not_tell_all_of_itself_is_refused() -> None:
    with pytest.raises(TypeError, match="found object, wanted plain data or a description"):
        key_of("x", object())
    with pytest.raises(TypeError, match="found set"):
        key_of("x", {1, 2})


def test_a_scene_s_listening_is_told_whole() -> None:
    """A changed number anywhere, and a changed filter of the head, make a new key."""
    read = read_scene(SCENE)
    listening = listening_of(read.scene, scene_head(read))
    key = key_of("room", listening)
    warmer = replace(listening, room=replace(listening.room, speed=listening.room.speed + 1e-9))
    assert key_of("room", warmer) != key
    taps = listening.head.taps.copy()  # type: ignore[attr-defined]
    taps[3, 0, 5] += 1e-7
    other = replace(listening.head, taps=taps)  # type: ignore[type-var]
    assert key_of("room", replace(listening, head=other)) != key
    assert key_of("room", listening_of(read.scene, scene_head(read))) == key


def test_every_key_of_a_plan_counts() -> None:
    scene = read_scene(SCENE).scene
    name = next(iter(scene.seats))
    plan = seat_plan(scene, name, 1)
    others = [
        replace(plan, name="other"), replace(plan, gain_db=0.5), replace(plan, held=False),
        replace(plan, balance=plan.balance[:-1]), replace(plan, tail_db=-7.0),
        seat_plan(scene, name, 2),
    ]  # fmt: skip
    assert len({key_of("r", each) for each in (plan, *others)}) == 7


def test_a_change_of_the_program_makes_all_keys_new(monkeypatch: pytest.MonkeyPatch) -> None:
    before, key = engine_digest(), key_of("x", 1)
    monkeypatch.setattr(store_keys, "version", lambda name: f"{name} 99")
    engine_digest.cache_clear()
    try:
        assert engine_digest() != before
        assert key_of("x", 1) != key
    finally:
        engine_digest.cache_clear()
