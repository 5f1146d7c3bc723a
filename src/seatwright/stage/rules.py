"""What a scene must obey beyond its types: who may stand where, which names must exist.

Each rule returns faults with the full key of the scene; the disk side adds file and line.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator
from itertools import count
from math import dist

from pydantic import ValidationError

from seatwright.errors import Fault
from seatwright.stage.arrays import ARRAYS
from seatwright.stage.description import dotted_key
from seatwright.stage.hall import CLEARANCE
from seatwright.stage.microphones import HEAD_MODELS, hall_microphones, listener
from seatwright.stage.scene import SCENE_FORMAT, Scene
from seatwright.stage.seat_rules import placed_seats, seat_faults
from seatwright.stage.seats import Position

SAME_PLACE = 0.05

_WHY_IDLE = {
    "forward": "a pair has no centre",
    "centre": "a pair has no centre",
    "side": "no other array has a side microphone",
    "width": "mid and side hang in one place",
    "aim": "its angle follows from pattern and side",
}

_COMPARED_LETTERS = 40
_HINTED_FAULTS = 50


def nearest(name: str, names: Iterable[str]) -> str:
    """A hint naming the closest known names, or all of a short list."""
    known = list(names)
    near = _close(name, known, most=3, cutoff=0.5)
    if near:
        return "nearest: " + ", ".join(near)
    return "known: " + ", ".join(known[:12]) if known else ""


def _close(name: str, names: Iterable[str], most: int, cutoff: float) -> list[str]:
    """The names most alike; only their beginnings are compared, which bounds the time."""
    begins = {known[:_COMPARED_LETTERS]: known for known in names}
    near = difflib.get_close_matches(name[:_COMPARED_LETTERS], begins, n=most, cutoff=cutoff)
    return [begins[begin] for begin in near]


def scene_faults(scene: Scene) -> list[Fault]:
    """Every mistake of a scene that can be told without its stems.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    list of Fault
        With full keys; empty when the scene can be rendered.
    """
    faults = [*_format_faults(scene), *_section_faults(scene)]
    if podium := list(_podium_faults(scene)):
        return faults + podium  # everything else would stand outside as well
    faults += _array_faults(scene)
    faults += _microphone_faults(scene)
    faults += seat_faults(scene)
    faults += _seating_faults(scene)
    return faults


def scene_doubts(scene: Scene) -> list[Fault]:
    """What is probably not meant: two seats at one place, a section nobody sits in."""
    doubts = [*_same_places(scene), *_idle_aims(scene)]
    used = {seat.section_name for seat in scene.seats.values()}
    doubts += [
        Fault(
            "found no seat in this section",
            key=dotted_key("sections", name),
            hint=nearest(name, used),
        )
        for name in scene.sections
        if name not in used
    ]
    return doubts


def _same_places(scene: Scene) -> Iterator[Fault]:
    """One doubt for each seat that sits where an earlier one does."""
    earlier: list[tuple[str, Position]] = []
    for name, seat in placed_seats(scene):
        here = seat.position
        other = next((first for first, at in earlier if dist(here, at) < SAME_PLACE), None)
        if other is not None:
            yield Fault(
                f'found at the same place as "{other}" (within {SAME_PLACE * 100:.0f} cm), '
                "wanted seats apart",
                key=dotted_key("seats", name),
            )
        earlier.append((name, here))


def _format_faults(scene: Scene) -> Iterator[Fault]:
    if scene.format > SCENE_FORMAT:
        yield Fault(
            f"found scene format {scene.format}, wanted {SCENE_FORMAT} or older",
            key="format",
            hint="made for a newer seatwright",
        )


def _podium_faults(scene: Scene) -> Iterator[Fault]:
    podium, depth = scene.hall.podium_depth, scene.hall.size.depth
    if podium > depth - CLEARANCE:
        yield Fault(
            f"found the podium {podium:.2f} m from the wall behind the orchestra, "
            f"wanted less than the hall's depth of {depth:.2f} m",
            key="hall.podium",
        )


def _section_faults(scene: Scene) -> Iterator[Fault]:
    named = {seat.section for seat in scene.seats.values() if seat.section is not None}
    undescribed = sorted(named - scene.sections.keys())[:_HINTED_FAULTS]
    meant = {name: _close(name, scene.sections, most=1, cutoff=0.8) for name in undescribed}
    for name, seat in scene.seats.items():
        if close := meant.get(seat.section or ""):
            yield Fault(
                f'found section "{seat.section}" that is not described',
                key=dotted_key("seats", name, "section"),
                hint=f"did you mean {close[0]}?",
            )


def _array_faults(scene: Scene) -> Iterator[Fault]:
    """Keys of the tree that its array has nothing for."""
    tree = scene.microphones.tree
    placed: list[str] = [name for name in ARRAYS if name != "mid-side"]
    wanted_at: dict[str, list[str]] = {
        "forward": ["three"],
        "centre": ["three"],
        "side": ["mid-side"],
        "width": placed,
        "aim": placed,
    }
    for key, arrays in wanted_at.items():
        if getattr(tree, key) is not None and tree.array not in arrays:
            names = " or ".join(f'"{name}"' for name in arrays)
            yield Fault(
                f'found {key} with the array "{tree.array}", wanted it with {names} alone',
                key=f"microphones.tree.{key}",
                hint=_WHY_IDLE[key],
            )


def _idle_aims(scene: Scene) -> Iterator[Fault]:
    """Omnis that are aimed: probably a pattern was meant."""
    microphones = scene.microphones
    patterns = {
        "tree": microphones.tree.heard_pattern,
        "outriggers": microphones.outriggers.pattern,
        "ambient": microphones.ambient.pattern,
    }
    for name, pattern in patterns.items():
        array = getattr(microphones, name)
        idle = pattern == "omni" and not (name == "tree" and array.array == "mid-side")
        for key in ("aim", "tilt"):
            if idle and getattr(array, key):
                yield Fault(
                    f"found {key} of omnis, which hear alike from everywhere; wanted a pattern",
                    key=f"microphones.{name}.{key}",
                )


def _microphone_faults(scene: Scene) -> Iterator[Fault]:
    heard = {
        perspective
        for name in scene.sounding()
        for perspective in scene.balance_of(scene.seats[name])
    }
    for microphone in hall_microphones(scene.microphones, scene.hall):
        outside = scene.hall.outside(microphone.position)
        if outside and (
            microphone.perspective in heard
            or microphone.perspective in scene.microphones.model_fields_set
        ):
            yield Fault(
                f"{microphone.name} stands outside the hall: {outside}",
                key=f"microphones.{microphone.perspective}",
            )
    model = scene.microphones.head.model
    if model not in HEAD_MODELS and not model.lower().endswith(".sofa"):
        yield Fault(
            f'found model "{model}", wanted "measured", "sphere" or the path of a .sofa file',
            key="microphones.head.model",
            hint=nearest(model, HEAD_MODELS),
        )
    outside = scene.hall.outside(listener(scene.microphones, scene.hall).position)
    if outside and ("head" in heard or "head" in scene.microphones.model_fields_set):
        yield Fault(f"the head is outside the hall: {outside}", key="microphones.head")


def _seating_faults(scene: Scene) -> Iterator[Fault]:
    numbers = count()
    for seating, changes in scene.seatings.items():
        prefix = ("seatings", seating)
        known = [name for name in changes if name in scene.seats]
        for name in (name for name in changes if name not in scene.seats):
            yield Fault(
                f'found unknown seat "{name}", wanted one of seats',
                key=dotted_key(*prefix, name),
                hint=nearest(name, scene.seats) if next(numbers) < _HINTED_FAULTS else "",
            )
        try:
            seated = scene.seated(seating)
        except ValidationError:
            yield from _change_faults(scene, seating, known)
            continue
        yield from seat_faults(seated, seating, known)


def _change_faults(scene: Scene, seating: str, names: Iterable[str]) -> Iterator[Fault]:
    """Changes that leave a seat with half a place, for example only the x of one without y."""
    for name in names:
        try:
            scene.seats[name].changed(scene.seatings[seating][name])
        except ValidationError as error:
            what = str(error.errors()[0].get("ctx", {}).get("error", error))
            yield Fault(what, key=dotted_key("seatings", seating, name))
