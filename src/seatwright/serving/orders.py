"""Orders: what the page may ask for, each checked whole before anything is done."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError, model_validator

from seatwright.errors import Fault, SceneError
from seatwright.stage.description import Decibels, Name
from seatwright.stage.microphones import PERSPECTIVES

Coordinate = Annotated[float, Field(ge=-1000.0, le=1000.0)]
Turn = Annotated[float, Field(ge=-720.0, le=720.0)]


class _Order(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class Move(_Order):
    """A chair to be moved, turned, or both; `try` only wants its figures."""

    do: Literal["move", "try"]
    seat: Name
    x: Coordinate | None = None
    y: Coordinate | None = None
    facing: Turn | None = None
    joined: bool = False

    @model_validator(mode="after")
    def _whole(self) -> Move:
        if (self.x is None) != (self.y is None) or (self.x is None and self.facing is None):
            raise ValueError("wanted x and y, or facing, or all three")
        return self

    @property
    def place(self) -> tuple[float, float] | None:
        return None if self.x is None or self.y is None else (self.x, self.y)


class Balance(_Order):
    """A section's microphone balance, dB."""

    do: Literal["balance"]
    section: Name
    levels: Annotated[dict[str, Decibels], Field(min_length=1, max_length=len(PERSPECTIVES))]
    joined: bool = False


class Choose(_Order):
    """Another seating; None is the scene as written."""

    do: Literal["choose"]
    seating: Name | None


class Plain(_Order):
    """What needs no more said."""

    do: Literal["undo", "redo", "save", "reload"]


class SaveAs(_Order):
    """A new seating; `beside` what others have written meanwhile."""

    do: Literal["save-as"]
    name: Name
    beside: bool = False


Order = Annotated[Move | Balance | Choose | Plain | SaveAs, Field(discriminator="do")]
_ORDER: TypeAdapter[Move | Balance | Choose | Plain | SaveAs] = TypeAdapter(Order)


def order_of(data: bytes) -> Move | Balance | Choose | Plain | SaveAs:
    """Read an order.

    Parameters
    ----------
    data : bytes
        JSON.

    Returns
    -------
    Move, Balance, Choose, Plain or SaveAs

    Raises
    ------
    SceneError
        With what was found and what was wanted.
    """
    try:
        return _ORDER.validate_json(data)
    except ValidationError as error:
        raise SceneError([_fault(problem) for problem in error.errors()[:8]]) from None


def _fault(problem: Any) -> Fault:
    where = ".".join(str(part) for part in problem["loc"][1:])
    return Fault(f"found {problem.get('input')!r:.80}: {problem['msg']}", key=where)
