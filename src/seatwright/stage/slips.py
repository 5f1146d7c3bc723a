"""What a scene may hold but hardly means: seats nobody placed yet, levels far too high."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from seatwright.errors import Fault
from seatwright.stage.description import dotted_key
from seatwright.stage.draft import UNASSIGNED
from seatwright.stage.scene import Scene
from seatwright.stage.seats import Perspectives, SeatKeys, Section

USUAL_DB = 12.0
"""Above it a gain or level is doubted; common practice, no source."""

_NAMED = 8


def slips(scene: Scene) -> Iterator[Fault]:
    """Doubts about seats a draft left undecided, and about levels above what is usual.

    Parameters
    ----------
    scene : Scene

    Yields
    ------
    Fault
        With full keys; one for all undecided seats together, one for each level.
    """
    yield from _unplaced(scene)
    for name, section in scene.sections.items():
        yield from _loud(section, ("sections", name))
    for name, seat in scene.seats.items():
        yield from _loud(seat, ("seats", name))
    for seating, changes in scene.seatings.items():
        for name, change in changes.items():
            yield from _loud(change, ("seatings", seating, name))


def _unplaced(scene: Scene) -> Iterator[Fault]:
    names = [name for name, seat in scene.seats.items() if seat.section == UNASSIGNED]
    if not names:
        return
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    count, them = ("1 seat is", "it") if len(names) == 1 else (f"{len(names)} seats are", "them")
    yield Fault(
        f"{count} not placed yet: {', '.join(names[:_NAMED])}{more}; "
        f"give {them} an instrument and a place",
        key=dotted_key("seats", names[0], "section"),
        hint=f'and take out section = "{UNASSIGNED}"',
    )


def _loud(table: Section | SeatKeys, path: tuple[str, ...]) -> Iterator[Fault]:
    """Doubts about the levels written in one table."""
    levels: list[tuple[tuple[str, ...], float | None]] = [(("gain",), table.gain)]
    levels += _perspective_levels(table.perspectives)
    for key, level in levels:
        if level is not None and level > USUAL_DB:
            yield Fault(
                f"found {level:+g} dB, usual is up to {USUAL_DB:+g} dB",
                key=dotted_key(*path, *key),
                hint="is it a slip?",
            )


def _perspective_levels(
    perspectives: Perspectives | None,
) -> Iterable[tuple[tuple[str, ...], float | None]]:
    written = perspectives.model_dump(exclude_none=True) if perspectives else {}
    return [(("perspectives", name), level) for name, level in written.items()]
