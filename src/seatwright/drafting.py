"""Draft: from a folder of stems to a first scene, in reading order."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf
from pathlib import Path

from seatwright.disk.draft_file import (
    existing_scene,
    folder_stems,
    grown,
    relative_stems,
    write_scene,
)
from seatwright.disk.inspection_shelf import InspectionShelf
from seatwright.disk.scene_file import ReadScene
from seatwright.disk.stem_halves import unfit_halves
from seatwright.disk.stem_inspection import inspect_readable
from seatwright.disk.store import Store
from seatwright.errors import Fault, SceneError, StemError
from seatwright.sound.inspection import StemInspection
from seatwright.sound.stem_treatments import starts_apart, stem_faults, treated
from seatwright.stage.draft import DraftSeat, draft_seats, known_layouts
from seatwright.stage.layouts import layout_for
from seatwright.stage.naming import NameGuess, mix_words, read_names
from seatwright.stage.rules import nearest
from seatwright.views.draft_text import scene_notes, scene_text, seats_text, section_lines

Ask = Callable[[NameGuess], str]
"""Gives the part a person chooses for a name, "" for none."""

PLAIN_NAME = re.compile(
    r"(dry|audio|my)?[ _-]*(stems?|bounces?|exports?|audio|tracks?|files?|scene|seating|wavs?)",
    re.IGNORECASE,
)
"""Names of folders and scenes that do not tell which piece it is."""


@dataclass(frozen=True)
class Draft:
    """What was drafted.

    Parameters
    ----------
    scene : Path
        As written.
    seats : tuple of DraftSeat
        New ones.
    kept : int
        Stems that the scene seated already.
    open_names : tuple of NameGuess
        Names nobody has explained: ambiguous or unknown.
    layout, layout_why : str
    stems : dict of str to StemInspection
        What was heard of each stem that was seated.
    refused : tuple of str
        Names of stems that no render would take, and of mixes; they are not seated.
    faults : tuple of Fault
        Why they are refused, and doubts about the others.
    """

    scene: Path
    seats: tuple[DraftSeat, ...]
    kept: int
    open_names: tuple[NameGuess, ...]
    layout: str
    layout_why: str
    stems: dict[str, StemInspection]
    refused: tuple[str, ...]
    faults: tuple[Fault, ...]


def draft(
    folder: Path,
    scene: Path,
    layout: str | None = None,
    ask: Ask = lambda _guess: "",
    store: Store | None = None,
) -> Draft:
    """Draft a scene for the stems of a folder, or add to one that is there.

    Parameters
    ----------
    folder : Path
        Of stems.
    scene : Path
        Scene file to write; where it is there already, only stems it does not seat are added.
    layout : str, optional
        One of `known_layouts()`; chosen by the parts that are there where not given.
    ask : callable
        Asked for every name with more than one meaning.
    store : Store, optional
        Inspections of stems are found and kept there, in full, as a check needs them.

    Returns
    -------
    Draft

    Raises
    ------
    SeatwrightError
        SceneError, StemError or DiskError; nothing is written then. A stem that cannot be read,
        or is the half of a pair that cannot be rendered, is listed and not seated; it is an error
        only where no stem can be.
    """
    if layout is not None and layout not in known_layouts():
        known = ", ".join(known_layouts())
        raise SceneError(
            Fault(
                f'found layout "{layout}", wanted one of: {known}',
                hint=nearest(layout, known_layouts()),
            )
        )
    names = folder_stems(folder)
    read, seated = existing_scene(scene, folder)
    new = [name for name in names if name not in seated]
    mixes = {name: _no_stem(folder / name, word) for name, word in mix_words(names).items()}
    fresh = [folder / name for name in new if name not in mixes]
    inspected, unread = inspect_readable(
        fresh, os.cpu_count() or 1, InspectionShelf(store) if store else None
    )
    halves = unfit_halves(inspected, unread)
    refused = {path.name: error for path, error in (unread | halves).items()}
    refused |= {name: mixes[name] for name in new if name in mixes}
    if refused and len(refused) == len(names):
        raise StemError(fault for error in refused.values() for fault in error.faults)
    stems = {path.name: stem for path, stem in inspected.items() if path not in halves}
    guesses = answered([guess for guess in read_names(names) if guess.name in stems], ask)
    chosen, why = layout_for({guess.part for guess in guesses})
    if layout is not None:
        chosen, why = layout, "as asked for"  # type: ignore[assignment]
    old = read.scene.seats if read else {}
    places = [seat.position[:2] for seat in old.values()]
    hall = read.scene.hall if read else None
    room = (hall.size.width / 2.0, hall.podium_depth) if hall else (inf, inf)
    drafted = draft_seats(guesses, chosen, frozenset(old), places, room)
    seats = [treated(seat, stems) for seat in drafted]
    notes = scene_notes(refused, starts_apart(list(stems.values())))
    if seats:
        write_scene(scene, drafted_bytes(folder, scene, read, seats, chosen, why, notes))
    unexplained = tuple(guess for guess in guesses if not guess.part)
    return Draft(
        scene, tuple(seats), len(seated), unexplained, chosen, why, stems,
        tuple(refused), stem_faults(list(stems.values()), refused),
    )  # fmt: skip


def _no_stem(path: Path, words: str) -> StemError:
    what = f'its name says it is a mix or a guide ("{words}"), wanted a stem'
    hint = "write a seat for it by hand if it is one"
    return StemError(Fault(what, file=str(path), hint=hint))


def answered(guesses: list[NameGuess], ask: Ask) -> list[NameGuess]:
    """Guesses with a person's answers where names alone cannot decide; a pair is asked once."""
    said: dict[str, str] = {}
    for guess in guesses:
        if not guess.part and guess.unsided not in said:
            said[guess.unsided] = ask(guess)
    return [
        replace(guess, part=part, candidates=(), confidence=1.0, why=f"asked: {part}")
        if not guess.part and (part := said[guess.unsided])
        else guess
        for guess in guesses
    ]


def drafted_title(folder: Path, scene: Path) -> str:
    """What a new scene is called: after its stems' folder, else after itself, else what holds them.

    Most folders of stems are called so, and a title such as "stems" says nothing on a page.

    Parameters
    ----------
    folder : Path
        Of the stems, absolute.
    scene : Path

    Returns
    -------
    str
    """
    names = (folder.name, scene.stem, folder.parent.name)
    telling = [name for name in names if name and not PLAIN_NAME.fullmatch(name)]
    return (telling or [folder.name])[0].replace("_", " ").replace("-", " ")


def drafted_bytes(
    folder: Path,
    scene: Path,
    read: ReadScene | None,
    seats: list[DraftSeat],
    layout: str,
    why: str,
    notes: list[str],
) -> bytes:
    """The scene: a new one, or the old one with new seats behind it."""
    if read is None:
        title = drafted_title(folder.resolve(), scene)
        text = scene_text(title, relative_stems(scene, folder), seats, layout, why, notes)
        return text.encode()
    sections = dict.fromkeys(seat.section for seat in seats)
    lines = [
        line
        for section in sections
        if section not in read.scene.sections
        for line in section_lines(section)
    ]
    return grown(read, "\n".join([*notes, *lines, seats_text(seats)]))
