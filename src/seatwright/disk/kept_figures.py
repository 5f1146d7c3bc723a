"""Figures of a hall, found in the store or computed and kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any, TypeVar

from seatwright.disk.store import Store
from seatwright.disk.store_keys import key_of
from seatwright.disk.typed_facts import typed

Figures = TypeVar("Figures")


def kept_figures(
    store: Store | None,
    kind: type[Figures],
    things: tuple[Any, ...],
    computed: Callable[[], Figures],
) -> Figures:
    """Figures that follow from some descriptions alone.

    Parameters
    ----------
    store : Store or None
        None computes them.
    kind : type
        A dataclass of plain data.
    things : tuple
        All that the figures follow from.
    computed : callable
        Gives them.

    Returns
    -------
    Figures
    """
    if store is None:
        return computed()
    key = key_of(f"figures {kind.__name__}", *things)
    if (known := store.facts("figures", key)) is not None:
        try:
            return typed(kind, known["figures"])
        except (KeyError, ValueError):
            pass  # kept by hand: computed again
    figures = computed()
    store.keep("figures", key, {"figures": asdict(figures)})  # type: ignore[call-overload]
    return figures
