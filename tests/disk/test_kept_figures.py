"""Figures in the store: computed once, and again where they are not what they were."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isnan, nan
from pathlib import Path

import pytest

from seatwright.disk.kept_figures import kept_figures
from seatwright.disk.store import Store


@dataclass(frozen=True)
class Inner:
    values: tuple[float, ...]


@dataclass(frozen=True)
class Outer:
    name: str
    single: dict[str, float]
    rows: tuple[Inner, ...]


FIGURES = Outer("hall", {"t30": 0.1 + 0.2, "gap": nan}, (Inner((1.0, -inf)), Inner(())))


def test_figures_are_computed_once_and_come_back_bit_for_bit(tmp_path: Path) -> None:
    computed: list[int] = []

    def compute() -> Outer:
        computed.append(1)
        return FIGURES

    first = kept_figures(Store(tmp_path / "s"), Outer, ("room", 1.0), compute)
    again = kept_figures(Store(tmp_path / "s"), Outer, ("room", 1.0), compute)
    assert first is FIGURES
    assert again.rows == FIGURES.rows
    assert again.single["t30"] == FIGURES.single["t30"]
    assert isnan(again.single["gap"])
    assert len(computed) == 1
    kept_figures(Store(tmp_path / "s"), Outer, ("room", 1.5), compute)
    kept_figures(None, Outer, ("room", 1.0), compute)
    assert len(computed) == 3


@pytest.mark.parametrize("facts", [{}, {"figures": {"name": "hall"}}, {"figures": 3}])
def test_what_is_no_such_figures_is_computed_again(
    tmp_path: Path, facts: dict[str, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store(tmp_path / "s")
    monkeypatch.setattr(store, "facts", lambda kind, key: facts)
    assert kept_figures(store, Outer, (), lambda: FIGURES) is FIGURES
