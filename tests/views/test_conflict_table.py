"""Stems, conflicts and the mono sum in words."""

from __future__ import annotations

from dataclasses import replace
from math import nan

import numpy as np
import pytest

from seatwright.acoustics.conflicts import Conflict
from seatwright.acoustics.fold_down import FoldDown
from seatwright.acoustics.partings import Parting
from seatwright.sound.inspection import StemInspection, StemMeter
from seatwright.views.conflict_table import conflict_part, conflict_values, fold_part, move_words
from seatwright.views.stem_table import stem_part, stem_table

CONFLICT = Conflict(
    "violas", "horns", 0.625, ("250", "500"), 3.0, 7.5, 1.25, -2.0, 4.6, ("choir", "tubas")
)
TURN = Parting("bearing", 31.0, 21.0, 0.24, 6.0)


def words(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines()]


def test_a_conflict_and_its_move_on_one_line() -> None:
    told = words(conflict_part([(CONFLICT, TURN)]))
    line = "violas +1.2 horns (+2) -2.0 62 % 250, 500 3.0-7.5 bearing = 31.0 (now 21.0) 24 %"
    assert line in told
    assert "none by a quarter or more" in conflict_part([])


@pytest.mark.parametrize(
    ("move", "wanted"),
    [
        (Parting("perspectives.close", -4.0, -10.0, 0.2, 0.0), "close = -4 dB (now -10)"),
        (Parting("perspectives.close", -9.0, None, 0.2, 0.0), "close = -9 dB (now not heard)"),
        (Parting("gain", 3.5, 0.5, 0.2, 0.0), "gain = 3.5 dB (now 0.5)"),
        (Parting("distance", 4.0, 5.25, 0.2, 0.0), "distance = 4.00 m (now 5.25)"),
        (
            Parting("", 0.0, None, 0.6, 0.0),
            "no small move parts them: turn one down, or write them apart",
        ),
    ],
)
def test_moves_in_words(move: Parting, wanted: str) -> None:
    assert move_words(move) == wanted


def test_plain_values_leave_out_a_move_that_does_not_help() -> None:
    helped, lost = conflict_values([(CONFLICT, TURN), (CONFLICT, replace(TURN, key=""))])
    assert (helped["move"]["value"], helped["share"], lost["move"]) == (31.0, 0.625, None)


def test_mono_by_octave() -> None:
    fold = FoldDown((-0.5, -1.0, -1.5, -2.0, -2.5, -3.0, -3.5, nan), -1.75, (0.5,) * 8)
    told = words(fold_part(fold))
    assert "mono against stereo dB -0.5 -1.0 -1.5 -2.0 -2.5 -3.0 -3.5 - -1.8" in told


def test_a_line_a_stem() -> None:
    assert stem_part([]) == []
    meter = StemMeter(48_000, 2)
    signal = np.zeros((48_000, 2), dtype=np.float32)
    signal[12_000:36_000] = 0.1 * np.random.default_rng(0).standard_normal((24_000, 1))
    meter.add(signal)
    found = meter.figures
    stem = StemInspection("in/oboe\x1b.wav", 48_000, 2, 24, "PCM_24", None, found)
    row = words(stem_table([stem]))[1]
    assert row.startswith("oboe\\x1b.wav 1.00 48000 24 2 ")
    assert row.endswith(" 0.25 0.25 +0.0 +1.00 - -")
    assert f" {found.integrated_lufs:.1f} {found.true_peak_dbtp:.1f} " in row
    silent = StemMeter(48_000, 1)
    silent.add(np.zeros((48_000, 1), dtype=np.float32))
    row = words(stem_table([replace(stem, encoding="FLOAT", sound=silent.figures)]))[1]
    assert " float " in row and " -inf -inf 1.00 1.00 - - - -" in row
