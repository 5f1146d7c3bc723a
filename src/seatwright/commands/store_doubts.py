"""What a command says of the store of results, beside what it was asked for."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from seatwright.disk.store import Store
    from seatwright.errors import Fault


def let_go(store: Store | None, doubts: Iterable[Fault]) -> None:
    """Keep a store within its limit; a line on standard error for all that was wrong with it.

    Parameters
    ----------
    store : Store or None
        As it was used.
    doubts : iterable of Fault
        Why there is none.
    """
    if store is not None:
        store.shrink()
    for doubt in (*doubts, *(store.doubts if store else ())):
        typer.echo(f"warning: {doubt}", err=True)
