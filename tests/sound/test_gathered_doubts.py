"""Doubts of one kind about many stems become one line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seatwright.errors import Fault
from seatwright.sound.gathered_doubts import gathered
from seatwright.sound.inspection import StemInspection, StemMeter
from seatwright.sound.inspection_warnings import inspection_warnings

RATE = 48_000


def inspected(samples: np.ndarray, file: str, start: float | None = None) -> StemInspection:
    signal = np.atleast_2d(samples.T.astype(np.float32)).T
    meter = StemMeter(RATE, signal.shape[1])
    meter.add(signal)
    return StemInspection(file, RATE, signal.shape[1], 24, "PCM_24", start, meter.figures)


def tone(hertz: float = 997.0, level: float = 0.5) -> np.ndarray:
    """A second of a sine that fades in and out over 50 ms, then 30 ms of silence."""
    time = np.arange(RATE) / RATE
    fade = np.clip(np.minimum(time, 0.97 - time) / 0.05, 0.0, 1.0)
    return np.asarray(level * fade * np.sin(2 * np.pi * hertz * time))


def told(stems: list[StemInspection]) -> list[str]:
    return [fault.what for fault in gathered(inspection_warnings(stems), stems)]


def noise(seed: int, seconds: float = 1.0) -> np.ndarray:
    return 0.1 * np.random.default_rng(seed).standard_normal(round(seconds * RATE))


def test_many_cut_off_stems_are_one_line_with_the_length() -> None:
    stems = [inspected(noise(k), f"folder/{k}.wav") for k in range(10)]
    assert told(stems) == [
        "10 stems end in the middle of sound at 1.00 s: 0.wav, 1.wav, 2.wav, 3.wav and 6 more"
    ]
    stems[0] = inspected(noise(0, 0.5), "folder/0.wav")
    assert told(stems[:3])[0].startswith("3 stems end in the middle of sound at 0.50 to 1.00 s: 0")
    assert all("its last 20 ms" in what for what in told(stems[:2]))


SIDE = np.stack([tone(), 0 * tone()], 1)
TWICE = np.stack([tone()] * 2, 1)


@pytest.mark.parametrize(
    ("samples", "says"),
    [
        (0 * tone(), "3 stems are silent: 0.wav, 1.wav, 2.wav"),
        (SIDE, "3 stems sound on one side only: 0.wav (left), 1.wav (left), 2.wav (left)"),
        (TWICE, "3 stems have two channels that are the same: 0.wav, 1.wav, 2.wav"),
        (np.clip(9 * tone(), -1, 1), "3 stems are clipped: 0.wav ("),
        (tone() + 0.01, "3 stems have a constant offset: 0.wav (-40.0 dBFS), "),
        (TWICE * (1, -1), "3 stems have left and right out of phase, "),
        (tone() * noise(1), "3 pairs of stems hold the same audio: 1.wav as 0.wav, 2.wav as 0"),
    ],
)
def test_every_kind_is_gathered(samples: np.ndarray, says: str) -> None:
    stems = [inspected(samples, f"{k}.wav") for k in range(3)]
    mine = [what for what in told(stems) if what.startswith(says)]
    assert len(mine) == 1, told(stems)
    kinds = {what.partition(":")[0] for what in told(stems)}
    assert len(told(stems)) == len(kinds)


def test_starts_are_gathered() -> None:
    stems = [inspected(tone(300.0 * k), f"{k}.wav", float(k)) for k in (1, 2, 4, 7)]
    assert told(stems) == [
        "3 stems begin later than the first: 2.wav (by 1.000 s), 4.wav (by 3.000 s), "
        "7.wav (by 6.000 s)"
    ]
    bare = [replace(stem, start_seconds=None) for stem in stems[1:]]
    assert told([stems[0], *bare]) == ["3 stems have no broadcast start: 2.wav, 4.wav, 7.wav"]


def test_others_stay_as_they_are_and_the_first_key_is_kept() -> None:
    silent = [Fault("silent: found only zeros", f"{k}.wav", key=f"seats.{k}") for k in range(3)]
    other = Fault("no such file", "x.wav")
    found = gathered([silent[0], other, *silent[1:]], [])
    assert found == [Fault("3 stems are silent: 0.wav, 1.wav, 2.wav", key="seats.0"), other]
