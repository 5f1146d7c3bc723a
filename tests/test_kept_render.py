"""Rendering as commands do: the usual store, and its doubts told."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from seatwright.errors import DiskError, Fault
from seatwright.kept_render import kept_render
from seatwright.stage.request import Request


@pytest.fixture
def asked(stage: Any) -> Any:
    stage.stem("a.wav", stage.noise(1, 0.2))
    stage.write('[seats.a]\nstem = "a"\nx = 1\ny = 2\n')
    return stage


def rendered(asked: Any, out: str, store: Path | None = None) -> list[Fault]:
    told: list[Fault] = []
    kept_render(asked.scene, asked.folder / out, Request(), lambda *_: None, told.append, store)
    return told


def test_doubts_of_the_store_are_told(asked: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    place = asked.folder / "results"
    monkeypatch.setenv("SEATWRIGHT_STORE", str(place))
    assert rendered(asked, "one") == []
    (path,) = (place / "sums").rglob("*.kept")
    path.write_bytes(b"nothing")
    (told,) = rendered(asked, "two")
    assert "computed again: found 7 bytes" in told.what
    assert asked.digests("one") == asked.digests("two")


def test_a_store_that_cannot_be_is_told_and_done_without(
    asked: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SEATWRIGHT_STORE", str(asked.scene))
    (told,) = rendered(asked, "one")
    assert "cannot be used as a store of results" in told.what
    assert (asked.folder / "one" / "mix.wav").stat().st_size > 0


def test_a_store_that_was_named_must_be_one(asked: Any) -> None:
    with pytest.raises(DiskError, match="other things in it"):
        rendered(asked, "one", asked.folder)
    assert not (asked.folder / "one").exists()
