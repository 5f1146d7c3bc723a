"""A drafted scene as TOML with comments, and its guesses as a table."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence

from seatwright.errors import Fault, StemError, printable
from seatwright.sound.gathered_doubts import gathered
from seatwright.sound.inspection import StemInspection
from seatwright.stage.draft import SECTION_BALANCES, UNASSIGNED, DraftSeat, room_needed
from seatwright.stage.naming import NameGuess
from seatwright.views.stem_table import room_words
from seatwright.views.text_table import text_table

_LONG = 200
"""Letters from which on a list is written over several lines."""

_HALLS = {
    "chamber": ("a chamber hall", (18.0, 28.0, 12.0), 1.6),
    "scoring-stage": ("a scoring stage", (26.0, 36.0, 13.0), 1.3),
}
_CONCERT = ("a concert hall", (24.0, 42.0, 17.0), 2.0)

_BALANCE_REASONS = {
    "strings": "the tree first",
    "woodwinds": "close first, for detail",
    "brass": "the room first, so that it can breathe",
    "percussion": "the tree first, the room behind it",
    "keyboards": "the tree, with detail from close",
    "choir": "furthest back: the room first, close only for its place",
}


def toml_string(text: str) -> str:
    """A TOML basic string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def scene_notes(refused: Mapping[str, StemError], starts_apart: float) -> list[str]:
    """Comments on what a draft leaves to a person: refused stems, starts that differ."""
    lines = [
        f"# CHECK, not seated: {printable(name)}: {printable(error.faults[0].what)}"
        for name, error in refused.items()
    ]
    if starts_apart > 0.0:
        lines.append(
            f'# align = "timestamp"  # broadcast starts differ by up to {starts_apart:.3f} s: '
            "uncomment above the first table to start each stem at its own time"
        )
    return lines


def scene_text(
    title: str,
    stems: str,
    seats: list[DraftSeat],
    layout: str,
    layout_why: str,
    notes: Sequence[str] = (),
) -> str:
    """A whole scene.

    Parameters
    ----------
    title : str
    stems : str
        Folder of the stems, as written in the scene.
    seats : list of DraftSeat
    layout, layout_why : str
        For the comment on top.
    notes : sequence of str
        Comment lines.

    Returns
    -------
    str
        TOML, in comments what was guessed and how surely.
    """
    lines = [
        f"# Drafted from the names and the sound of {sum(len(s.stems) for s in seats)} stems.",
        f"# Layout {layout}: {printable(layout_why)}.",
        "# Places and microphone balances are common practice, no source: move what you like.",
        "# Lines that say CHECK are guesses somebody should look at.",
        "",
        f"title = {toml_string(title)}",
        f"stems = {toml_string(stems)}",
        *notes,
        "",
        *_hall_lines(seats, layout),
    ]
    for section in dict.fromkeys(seat.section for seat in seats):
        lines += section_lines(section)
    return "\n".join(lines) + "\n" + seats_text(seats)


def _hall_lines(seats: list[DraftSeat], layout: str) -> list[str]:
    kind, (width, depth, height), seconds = _HALLS.get(layout, _CONCERT)
    side, back = room_needed(seats)
    width, podium = max(width, 2.0 * side), max(10.0, back)
    depth = max(depth, podium + 18.0)
    return [
        f"[hall]  # {kind}; the podium {podium:.1f} m from the wall behind the orchestra",
        f"size = {{ width = {width:.1f}, depth = {depth:.1f}, height = {height:.1f} }}",
        f"podium = {podium:.1f}",
        f"reverberation = {seconds}",
        "",
    ]


def section_lines(section: str) -> list[str]:
    """The table of a section; nothing for one without a balance of its own."""
    if section not in SECTION_BALANCES:
        return []
    levels = ", ".join(f"{name} = {level:g}" for name, level in SECTION_BALANCES[section].items())
    return [
        f"[sections.{section}]  # {_BALANCE_REASONS[section]} (dB)",
        f"perspectives = {{ {levels} }}",
        "",
    ]


def seats_text(seats: Iterable[DraftSeat]) -> str:
    """The tables of seats, each with what it was guessed from."""
    return "\n".join(line for seat in seats for line in _seat_lines(seat))


def _seat_lines(seat: DraftSeat) -> list[str]:
    sure = f"{100 * seat.confidence:.0f} % sure"
    mark = "CHECK, " if seat.confidence < 0.75 else ""
    names = [toml_string(name) for name in seat.stems]
    lines = [
        *_comments(f"{mark}{sure}: ", seat.why),
        *(f"# heard: {printable(line)}" for line in seat.heard),
        f"[seats.{toml_string(seat.name)}]",
        *_stem_lines(names),
        f"section = {toml_string(seat.section)}",
        f"instrument = {toml_string(seat.instrument)}",
    ]
    if seat.treatment == "untouched":
        return [*lines, 'treatment = "untouched"', ""]
    lines += [f"bearing = {seat.bearing:.1f}", f"distance = {seat.distance:.2f}"]
    if seat.riser:
        lines.append(f"riser = {seat.riser:g}")
    lines += [f"players = {seat.players}", f"width = {seat.width:.1f}"]
    if seat.treatment != "placed":
        lines.append(f"treatment = {toml_string(seat.treatment)}")
    return [*lines, ""]


def _comments(start: str, why: tuple[str, ...]) -> list[str]:
    """What was guessed from what: in one line, or a line each where that grows long."""
    reasons = [printable(reason) for reason in why]
    if sum(map(len, reasons)) < _LONG:
        return [f"# {start}{'; '.join(reasons)}"]
    return [f"# {start}{reasons[0]}", *(f"#   {reason}" for reason in reasons[1:])]


def _stem_lines(names: list[str]) -> list[str]:
    """A list of stems in one line, or a line each where that grows long."""
    if len(names) == 1:
        return [f"stem = {names[0]}"]
    if sum(map(len, names)) < _LONG:
        return [f"stem = [{', '.join(names)}]"]
    return ["stem = [", *(f"    {name}," for name in names), "]"]


def draft_table(seats: Iterable[DraftSeat], stems: Mapping[str, StemInspection]) -> str:
    """Every guess with its confidence, as a table to be read."""
    rows = [
        [
            printable(stem),
            printable(seat.name) if seat.section != UNASSIGNED else "?",
            seat.section,
            "-" if seat.treatment == "untouched" else f"{seat.bearing:+.0f}",
            "-" if seat.treatment == "untouched" else f"{seat.distance:.1f}",
            seat.treatment,
            f"{stems[stem].seconds:.1f}",
            "silent" if stems[stem].sound.silent else room_words(stems[stem].sound.room),
            f"{100 * seat.confidence:.0f} %",
            printable(why.partition(": ")[2]),
        ]
        for seat in seats
        for stem, why in zip(seat.stems, seat.why, strict=False)
    ]
    head = ["stem", "seat", "section", "bearing", "distance", "treatment", "s", "heard"]
    head += ["sure", "why"]
    return text_table(head, rows)


def draft_report(
    seats: Iterable[DraftSeat],
    open_names: Iterable[NameGuess],
    layout: str,
    layout_why: str,
    scene: str,
    kept: int,
    as_json: bool,
    stems: Mapping[str, StemInspection],
    refused: Iterable[str],
    faults: Iterable[Fault],
) -> str:
    """What a draft did, for people or for machines."""
    seats, open_names = list(seats), list(open_names)
    if as_json:
        asked = [
            {"stem": guess.name, "can_mean": list(guess.candidates), "why": guess.why}
            for guess in open_names
        ]
        table = {"scene": scene, "layout": layout, "kept": kept, "seats": draft_json(seats)}
        table |= {"open": asked, "stems": {name: stem.as_json() for name, stem in stems.items()}}
        told = [{"stem": fault.file, "what": fault.what, "hint": fault.hint} for fault in faults]
        table |= {"not_seated": list(refused), "warnings": told}
        return json.dumps(table, indent=2, ensure_ascii=True) + "\n"
    broken = [f"not seated: {printable(name)}" for name in refused]
    broken += [f"  {fault}" for fault in gathered(list(faults), list(stems.values()))]
    if not seats:
        unchanged = f"{printable(scene)} has all {kept} stems that can be seated already; "
        return "\n".join([*broken, f"{unchanged}nothing was changed"]) + "\n"
    lines = [draft_table(seats, stems), "", *broken, f"layout {layout}: {printable(layout_why)}"]
    for guess in open_names:
        meaning = printable(guess.why) or "nothing known in this name"
        lines.append(f"to be decided: {printable(guess.name)}: {meaning}")
    if open_names:
        lines.append(
            f"they sit in front of the podium in section {UNASSIGNED}; write their instrument and "
            "place, or answer the questions on a terminal"
        )
    lines += ["", f"written to {printable(scene)}", f"next: seatwright render {printable(scene)}"]
    return "\n".join(lines) + "\n"


def draft_json(seats: Iterable[DraftSeat]) -> list[dict[str, object]]:
    """Every seat as plain values."""
    return [
        {
            "seat": seat.name,
            "stems": list(seat.stems),
            "part": seat.part or None,
            "section": seat.section,
            "instrument": seat.instrument,
            "bearing": None if seat.treatment == "untouched" else round(seat.bearing, 1),
            "distance": None if seat.treatment == "untouched" else round(seat.distance, 2),
            "treatment": seat.treatment,
            "confidence": round(seat.confidence, 2),
            "why": list(seat.why),
            "heard": list(seat.heard),
        }
        for seat in seats
    ]
