"""Plain data of the store as the descriptions they were."""

from __future__ import annotations

from functools import cache
from typing import Any, TypeVar

from pydantic import TypeAdapter

Description = TypeVar("Description")


def typed(kind: type[Description], facts: Any) -> Description:
    """A description from plain data.

    Parameters
    ----------
    kind : type
        A dataclass of plain data.
    facts : Any
        As `dataclasses.asdict` gave it, by way of JSON.

    Returns
    -------
    Description

    Raises
    ------
    ValueError
        If the data are none of that kind.
    """
    adapter: TypeAdapter[Any] = _adapter(kind)  # type: ignore[arg-type]
    found: Description = adapter.validate_python(facts)
    return found


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    return TypeAdapter(kind)
