"""The score of "Ferry through the ice": notes, dynamics and time of the demo cue.

D minor, 6/8, fourteen bars. The theme is a rocking swell: up a fifth to the
ninth, down to the tonic (A, E, D). Oboe first, horns second, everybody third,
glockenspiel and clarinet last.

Notation of a part: ``@bar`` or ``@bar.eighth`` moves to a place (bars from 1,
eighths from 0); ``A4:2`` is a note lasting two eighths; ``-:3`` rests; ``,``
ends a slur (new bow, breath or tongue); ``|`` must fall on a barline;
``~`` after a pitch is a roll. ``X`` is a stroke without pitch. All pitches sound
as written, C4 = middle C, A4 = 440 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

TITLE = "Ferry through the ice"
LENGTH_S = 31.5
EIGHTHS = 6
FIRST_DOWNBEAT_S = 0.10
BAR_SECONDS = (2.1, 2.1, 2.1, 2.15, 2.0, 2.0, 1.95, 1.95, 2.0, 2.0, 2.3, 2.35, 2.6, 1.5)
STEPS = {"C": -9, "D": -7, "E": -5, "F": -4, "G": -2, "A": 0, "B": 2}

# Harmony by half bars:
#  1 Dm9 .         2 Dm  Dm/C     3 Bbmaj7 .     4 Gm7   Asus4-A
#  5 Dm  Dm/C      6 F   C/E      7 Gm7/D Ebmaj7 8 Asus4 A
#  9 Dm  Bb       10 F   C       11 Eb     A
# 12 Dm  .        13 Gm/D Dm     14 (held)
PARTS: dict[str, tuple[str, ...]] = {
    "violins1": (
        "@6 C5:3 , E5:3 | D5:6 , | E5:3 , E5:1 F5:1 G5:1 , | A5:2 E6:1 , D6:3 ,"
        "| F6:2 A6:1 , G6:3 , | G6:2 Bb6:1 , A6:9",
    ),
    "violins2": (
        "@6 A4:3 , G4:3 | Bb4:6 , | D5:3 , C#5:1 D5:1 E5:1 , | A4:2 E5:1 , D5:3 ,"
        "| F5:2 A5:1 , G5:3 , | G5:2 Bb5:1 , A5:3",
    ),
    "violas": (
        "@2 F3:6 | F3:6 , | F3:3 E3:3 , | F3:3 , F3:3 , | A3:3 G3:3 , | G3:6 , | A3:6 ,"
        "| A3:3 , Bb3:3 , | A3:3 , G3:3 , | Bb3:3 , A3:3 , @13 G3:3 , F3:9",
        "@2 A3:6 | A3:6 , | Bb3:3 A3:3 , | A3:3 , A3:3 , | C4:3 C4:3 , | Bb3:3 D4:3 ,"
        "| D4:3 C#4:3 , | D4:3 , D4:3 , | C4:3 , E4:3 , | Eb4:3 , C#4:3 , @13 Bb3:3 , A3:9",
    ),
    "cellos": (
        "@1 A2:6 , | D3:6 | D3:6 , | D3:3 D3:1 C#3:2 , | D2:1 A2:1 D3:1 F3:1 D3:1 A2:1 ,"
        "| F2:1 C3:1 F3:1 , E2:1 C3:1 G3:1 , | D2:1 Bb2:1 F3:1 , Eb2:1 Bb2:1 G3:1 ,"
        "| A2:1 D3:1 E3:1 , A2:1 C#3:1 E3:1 , | D3:3 , F3:3 , | A3:3 , G3:3 , | G3:3 ,"
        "E3:2 C#3:1 , @13 D3:3 , D3:9",
        "@1 D2:6 , | A2:6 , | Bb2:6 , | Bb2:3 A2:3 , | D2:1 A2:1 D3:1 F3:1 D3:1 A2:1 ,"
        "| F2:1 C3:1 F3:1 , E2:1 C3:1 G3:1 , | D2:1 Bb2:1 F3:1 , Eb2:1 Bb2:1 G3:1 ,"
        "| A2:1 D3:1 E3:1 , A2:1 C#3:1 E3:1 , | D3:3 , Bb2:3 , | F2:3 , C3:3 , | Eb3:3 ,"
        "A2:3 , @13 Bb2:3 , A2:9",
    ),
    "basses": (
        "@2 D2:3 C2:3 | Bb1:6 , | G1:3 A1:3 , | D2:3 , C2:3 , | F2:3 , E2:3 , | D2:3 , Eb2:3 ,"
        "| A1:6 , | D2:3 , Bb1:3 , | F2:3 , C2:3 , | Eb2:3 , A1:3 , @13 D2:3 , D2:9",
    ),
    "low_support": (
        "@2 D1:3 C1:3 | Bb1:6 | G1:3 A1:3 | D1:3 C1:3 | F1:3 E1:3 | D1:3 Eb1:3"
        "| A1:6 | D1:3 Bb1:3 | F1:3 C1:3 | Eb1:3 A1:3 , @13 D1:12",
    ),
    "oboe": ("@2 A4:2 E5:1 D5:3 | F5:2 C5:1 D5:2 A4:1 , | Bb4:2 D5:1 E5:3",),
    "flutes": (
        "@6 C6:1 A5:1 F5:1 G5:1 E5:1 C5:1 , | D6:1 Bb5:1 G5:1 Eb6:1 Bb5:1 G5:1 ,"
        "@9 A5:2 E6:1 D6:3 , | F6:2 A6:1 G6:3 , | G6:2 Bb6:1 A6:3",
        "@6 A5:1 F5:1 C5:1 E5:1 C5:1 G4:1 , | Bb5:1 G5:1 D5:1 Bb5:1 G5:1 Eb5:1 ,"
        "@9 A5:2 E6:1 D6:3 , | F6:2 A6:1 G6:3 , | G6:2 Bb6:1 A6:3",
    ),
    "clarinets": (
        "@5 A4:1 D5:1 A4:1 F4:1 A4:1 F4:1 , | C5:1 A4:1 F4:1 G4:1 E4:1 G4:1 ,"
        "| F4:3 G4:3 , @12 A3:2 E4:1 D4:3",
        "@5 F4:3 D4:3 , | C4:3 C4:3 , | D4:3 Eb4:3",
    ),
    "bassoons": (
        "@6 C3:3 , C3:3 , | Bb2:3 , Bb2:3 , | A2:1 , A2:1 , A2:1 , A2:1 , A2:1 , A2:1 ,"
        "| D3:2 , D3:1 , D3:2 , D3:1 , | C3:2 , C3:1 , C3:2 , C3:1 , | Eb3:2 , Eb3:1 , C#3:2",
        "@6 F2:3 , E2:3 , | D2:3 , Eb2:3 , | A2:1 , A2:1 , A2:1 , A2:1 , A2:1 , A2:1 ,"
        "| D2:2 , D2:1 , Bb1:2 , Bb1:1 , | F2:2 , F2:1 , C2:2 , C2:1 , | Eb2:2 , Eb2:1 , A2:2",
    ),
    "horns": (
        "@5 A3:2 E4:1 D4:3 , | F4:2 G4:1 E4:2 C4:1 , | Bb3:2 F4:1 G4:3 , | A4:6 ,"
        "| F4:3 , F4:3 , | F4:3 , E4:3 , | G4:3 , E4:3",
        "@5 A3:2 E4:1 D4:3 , | F4:2 G4:1 E4:2 C4:1 , | Bb3:2 F4:1 G4:3 , | E4:6 ,"
        "| D4:3 , D4:3 , | C4:3 , C4:3 , | Bb3:3 , A3:3",
    ),
    "trumpets": (
        "@9 A4:2 , E5:1 , D5:3 , | F5:2 , A5:1 , G5:3 , | G5:2 , Bb5:1 , A5:3",
        "@9 F4:2 , A4:1 , Bb4:3 , | A4:2 , F5:1 , E5:3 , | Eb5:2 , G5:1 , E5:3",
    ),
    "trombones": (
        "@8.3 A3:3 , | A3:3 , Bb3:3 , | A3:3 , G3:3 , | G3:3 , A3:3",
        "@8.3 E3:3 , | F3:3 , F3:3 , | F3:3 , E3:3 , | Eb3:3 , E3:3",
        "@8.3 A2:3 , | D2:3 , Bb1:3 , | F2:3 , C2:3 , | Eb2:3 , A1:3",
    ),
    "choir": (
        "@5 A4:3 A4:3 | A4:3 G4:3 , | Bb4:6 | A4:6 , | F5:3 F5:3 | A5:3 G5:3 , | G5:3 A5:3 ,| A4:6",
        "@5 F4:3 F4:3 | F4:3 E4:3 , | F4:3 G4:3 | E4:6 , | D5:3 D5:3 | C5:3 E5:3 , | Eb5:3 E5:3 ,"
        "| F4:6",
        "@5 D4:3 D4:3 | C4:3 C4:3 , | D4:3 Eb4:3 | D4:3 C#4:3 , | A3:3 Bb3:3 | A3:3 G3:3 ,"
        "| Bb3:3 C#4:3 , | D4:6",
        "@5 D3:3 C3:3 | F3:3 E3:3 , | D3:3 Eb3:3 | A2:6 , | D3:3 Bb2:3 | F3:3 C3:3 , | Eb3:3 A2:3 ,"
        "| D3:6",
    ),
    "harp": (
        "@1 D3:1 A3:1 E4:1 A4:1 E4:1 A3:1 | D3:1 A3:1 D4:1 F4:1 D4:1 A3:1"
        "| Bb2:1 F3:1 D4:1 A4:1 D4:1 F3:1 | G2:1 D3:1 Bb3:1 A2:1 E3:1 C#4:1 | D2:3"
        "@8.3 A3:.2 Bb3:.2 C#4:.2 D4:.2 E4:.2 F4:.2 G4:.2 A4:.2 Bb4:.2 C#5:.2 D5:.2 E5:.2 "
        "F5:.2 G5:.2 A5:.2 | D6:3 @12 D3:1 A3:1 E4:1 A4:1 F4:1 D4:1 | G2:1 D3:1 Bb3:1 D2:3",
        "@13.3 A2:3 @14 A3:2",
    ),
    "timpani": ("@8 A2~:6 | D3:2 D3:1 F3:3 | F3:2 F3:1 C3:3 | D3:2 D3:1 A2~:3 | D3:6",),
    "snare": (
        "@8 X~:6 | X:3 X:1 X:1 X:1 | X:2 X:1 X:1 X:.5 X:.5 X:.5 X:.5 | X:1 X:.5 X:.5 X:1 X:3",
    ),
    "glockenspiel": ("@1.3 E7:3 @4.3 E6:3 @12 A6:2 E7:1 D7:3 | Bb6:3 A6:3 | E7:6",),
}

# Dynamics: (bar and fraction of a bar, level); 0 is nothing, 1 the cue's loudest.
DYNAMICS: dict[str, tuple[tuple[float, float], ...]] = {
    "violins1": (
        (6, 0.42),
        (7, 0.52),
        (8, 0.6),
        (9, 0.92),
        (11.2, 1),
        (11.8, 0.6),
        (12.2, 0.25),
        (12.6, 0.18),
        (13, 0.05),
    ),
    "violins2": ((6, 0.42), (7, 0.52), (8, 0.6), (9, 0.92), (11.2, 1), (11.6, 0.8), (12, 0.3)),
    "violas": (
        (2, 0.3),
        (2.5, 0.38),
        (4.9, 0.36),
        (5, 0.45),
        (8, 0.62),
        (9, 0.9),
        (11.3, 1),
        (12, 0.3),
        (13, 0.42),
        (14, 0.36),
        (15, 0.12),
    ),
    "cellos": (
        (1, 0.28),
        (1.8, 0.42),
        (4.9, 0.4),
        (5, 0.5),
        (8, 0.66),
        (9, 0.92),
        (11.3, 1),
        (12, 0.3),
        (13, 0.44),
        (14, 0.4),
        (15, 0.12),
    ),
    "basses": (
        (2, 0.36),
        (4.9, 0.4),
        (5, 0.5),
        (8, 0.66),
        (9, 0.92),
        (11.3, 1),
        (12, 0.3),
        (13, 0.44),
        (14, 0.4),
        (15, 0.12),
    ),
    "low_support": (
        (2, 0.3),
        (5, 0.45),
        (8, 0.6),
        (9, 0.95),
        (11.3, 1),
        (12, 0.3),
        (13, 0.4),
        (14, 0.35),
        (15, 0.1),
    ),
    "oboe": ((2, 0.5), (3, 0.85), (3.8, 0.65), (4, 0.75), (4.6, 1), (5, 0.4)),
    "flutes": ((6, 0.45), (7, 0.5), (8, 0.55), (9, 0.9), (11.5, 1), (12, 0.4)),
    "clarinets": ((5, 0.6), (6, 0.8), (7.5, 1), (8, 0.6), (12, 0.62), (12.4, 0.75), (13, 0.3)),
    "bassoons": ((6, 0.45), (8, 0.6), (9, 0.95), (11.5, 1), (12, 0.6)),
    "horns": (
        (5, 0.55),
        (6, 0.7),
        (6.9, 0.6),
        (7, 0.66),
        (8, 0.66),
        (9, 0.95),
        (11.3, 1),
        (12, 0.4),
    ),
    "trumpets": ((9, 0.85), (10, 0.9), (11.3, 1), (11.7, 0.9), (12, 0.35)),
    "trombones": ((8.5, 0.4), (9, 0.92), (10, 0.88), (11.3, 1), (11.6, 0.85), (12, 0.3)),
    "choir": (
        (5, 0.42),
        (7, 0.55),
        (8, 0.62),
        (9, 0.9),
        (11.3, 1),
        (11.95, 0.6),
        (12, 0.46),
        (12.5, 0.4),
        (13, 0.2),
    ),
    "harp": ((1, 0.6), (3, 0.75), (4.9, 0.6), (8.5, 0.7), (9, 1), (12, 0.6), (13, 0.5), (14, 0.4)),
    "timpani": ((8, 0.3), (8.95, 0.85), (9, 1), (11, 1), (11.55, 0.9), (12, 0.3)),
    "snare": ((8, 0.1), (8.98, 0.8), (9, 0.95), (10, 0.8), (11, 0.95), (11.5, 1)),
    "glockenspiel": ((1, 0.6), (4, 0.5), (12, 1), (13, 0.85), (14, 0.7)),
}

# How far the choir opens its mouth: 0 is "oo", 1 is "ah".
VOWEL = ((5, 0.0), (8, 0.1), (8.9, 0.9), (9, 1.0), (11.7, 1.0), (12, 0.0))


@dataclass(frozen=True)
class Note:
    """One note: start and length in seconds, pitch in Hz (0 without pitch)."""

    start: float
    length: float
    hz: float
    roll: bool


Phrase = tuple[Note, ...]


def seconds_at(bar: float) -> float:
    """Tell when a place in the score sounds, in seconds; 2.5 is the middle of bar 2."""
    places = np.arange(1, len(BAR_SECONDS) + 2)
    times = FIRST_DOWNBEAT_S + np.concatenate(([0.0], np.cumsum(BAR_SECONDS)))
    return float(np.interp(bar, places, times))


def pitch_hz(name: str) -> float:
    """Tell the frequency of a pitch name such as ``Bb3``; 0.0 for the stroke ``X``."""
    if name == "X":
        return 0.0
    semitones = STEPS[name[0]] + name.count("#") - name.count("b") + 12 * (int(name[-1]) - 4)
    return float(440.0 * 2.0 ** (semitones / 12))


def phrases(part: str) -> list[Phrase]:
    """Read one part into its slurred phrases.

    Raises
    ------
    ValueError
        If a barline does not fall where a bar ends.
    """
    done: list[Phrase] = []
    slur: list[Note] = []
    eighth = 0.0
    for word in _words(part):
        if word == "|":
            _check_barline(part, eighth)
        elif word == "," or word[0] in "@-":
            done, slur = [*done, tuple(slur)], []
        if word[0] == "@":
            bar, _, rest = word[1:].partition(".")
            eighth = (int(bar) - 1) * EIGHTHS + int(rest or 0)
        elif ":" in word:
            name, _, count = word.partition(":")
            if name != "-":
                slur.append(_note(name, eighth, float(count)))
            eighth += float(count)
    return [phrase for phrase in [*done, tuple(slur)] if phrase]


def level_at(stem: str, times: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the written dynamic of a stem, 0 to 1, at each of `times` (s)."""
    return curve_at(DYNAMICS[stem], times)


def curve_at(
    points: tuple[tuple[float, float], ...], times: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Draw straight lines through (bar, value) `points`, read at each of `times` (s)."""
    return np.interp(times, [seconds_at(bar) for bar, _ in points], [value for _, value in points])


def slide(
    onsets: NDArray[np.float64],
    values: NDArray[np.float64],
    times: NDArray[np.float64],
    seconds: float,
) -> NDArray[np.float64]:
    """Go from value to value at `onsets` (s), each step a smooth slide of about `seconds`."""
    line = np.full(len(times), float(values[0]))
    for onset, step in zip(onsets[1:], np.diff(values), strict=True):
        line += step * 0.5 * (1.0 + np.tanh((times - onset) / seconds))
    return line


def _words(part: str) -> list[str]:
    return part.replace("|", " | ").replace(",", " , ").replace("@", " @").split()


def _check_barline(part: str, eighth: float) -> None:
    over = (eighth + 1e-6) % EIGHTHS
    if over > 1e-3:
        raise ValueError(f"barline {over:.2f} eighths after a bar's start, expected 0: {part!r}")


def _note(name: str, eighth: float, count: float) -> Note:
    start = seconds_at(1 + eighth / EIGHTHS)
    end = seconds_at(1 + (eighth + count) / EIGHTHS)
    return Note(start, end - start, pitch_hz(name.rstrip("~")), name.endswith("~"))
