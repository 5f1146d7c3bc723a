"""What is known of a stem once it was read from end to end, and the meter that reads it.

Conventions: blocks are float32, shape (frames, channels), at +-1 full scale. One pass; what is kept
is a few numbers for each 10 ms.
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass, field
from math import isfinite, nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.clipping import ClipMeter
from seatwright.sound.loudness import LoudnessMeter
from seatwright.sound.octave_steps import OctaveMeter, OctaveSteps
from seatwright.sound.peaks import PeakMeter
from seatwright.sound.room_in_stem import RoomEstimate, room_estimate
from seatwright.sound.room_part import SILENCE_DBFS, RoomPart
from seatwright.sound.stem_steps import SoundingSpan, StepMeter

CUT_OFF_DB = -50.0
"""A stem that ends louder than this, relative to its loud part, ends in the middle of sound."""

_ZERO = np.float32(0.0)

_NOT_TOLD = ("excerpt", "octaves", "room")

Block = NDArray[np.float32]


@dataclass(frozen=True)
class SoundFigures:
    """What a stem's samples tell.

    Parameters
    ----------
    frames : int
    integrated_lufs : float
        ITU-R BS.1770; -inf for silence, nan where it was not measured.
    true_peak_dbtp, sample_peak_dbfs : float
        The true peak nan where it was not measured.
    dc_dbfs : float
        Mean of the channel with the largest.
    leading_silence, trailing_silence : float
        Seconds below -70 dBFS at both ends; the whole length for a silent stem.
    clipped_runs, clipped_samples : int
        Crests of three or more equal samples at the stem's own limit near full scale.
    ending_db : float
        Level of the last 20 ms relative to the loud part.
    balance_db : float or None
        Left over right, by energy; None for one channel or silence.
    correlation : float or None
        Of left and right, -1 to 1; None where either is silent.
    same_channels : bool
        Left and right are equal sample for sample.
    audio_hash : str
        SHA-256 of channels, rate and decoded samples.
    room : RoomEstimate
    excerpt : ndarray of float32
        One frame of each 10 ms; to find the same audio at another gain.
    octaves : OctaveSteps or None
        None where levels were not measured.
    """

    frames: int
    integrated_lufs: float
    true_peak_dbtp: float
    sample_peak_dbfs: float
    dc_dbfs: float
    leading_silence: float
    trailing_silence: float
    clipped_runs: int
    clipped_samples: int
    ending_db: float
    balance_db: float | None
    correlation: float | None
    same_channels: bool
    audio_hash: str
    room: RoomEstimate
    excerpt: Block = field(repr=False, compare=False)
    octaves: OctaveSteps | None = field(default=None, repr=False, compare=False)

    @property
    def silent(self) -> bool:
        """Nothing in it rises to -70 dBFS."""
        return self.sample_peak_dbfs < SILENCE_DBFS

    @property
    def cut_off(self) -> bool:
        """It ends in the middle of sound."""
        return not self.silent and self.ending_db > CUT_OFF_DB


@dataclass(frozen=True)
class StemInspection:
    """A stem's file and sound.

    Parameters
    ----------
    file : str
        Its path.
    rate, channels, bits : int
        In Hz; 1 or 2; per sample.
    encoding : str
        Such as "PCM_24".
    start_seconds : float or None
        Where the broadcast extension places its first sample, after midnight.
    sound : SoundFigures
    """

    file: str
    rate: int
    channels: int
    bits: int
    encoding: str
    start_seconds: float | None
    sound: SoundFigures

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return self.sound.frames / self.rate

    def as_json(self) -> dict[str, Any]:
        """All figures by name, flat but for the room; None for what is infinite or unknown."""
        sound = {k: v for k, v in vars(self.sound).items() if k not in _NOT_TOLD}
        mine = {k: v for k, v in vars(self).items() if k != "sound"}
        judged = {"silent": self.sound.silent, "cut_off": self.sound.cut_off}
        flat = {**mine, "seconds": self.seconds, **sound, **judged}
        return {**_plain(flat), "room": _plain(asdict(self.sound.room))}


def _plain(values: dict[str, Any]) -> dict[str, Any]:
    return {
        name: None if isinstance(value, float) and not isfinite(value) else value
        for name, value in values.items()
    }


class StemMeter:
    """Everything about a stem's sound, measured while it streams by.

    Parameters
    ----------
    rate : int
        Samples per second.
    channels : int
        1 or 2.
    levels : bool
        False leaves loudness, true peak and octaves out, which take half of the time.
    """

    def __init__(self, rate: int, channels: int, levels: bool = True):
        self._rate, self._channels = rate, channels
        self._loudness = LoudnessMeter(rate, channels) if levels else None
        self._octaves = OctaveMeter(rate, channels) if levels else None
        self._peaks = PeakMeter(rate, channels, between=levels)
        self._room = RoomPart(rate, channels)
        self._clipping = ClipMeter(channels)
        self._steps = StepMeter(rate, channels)
        self._span = SoundingSpan()
        self._hash = hashlib.sha256(f"{channels} {rate} ".encode(), usedforsecurity=False)
        self._frames = 0

    def add(self, block: Block) -> None:
        """Take in the next samples, shape (frames, channels); any cut gives the same result."""
        planes = np.ascontiguousarray(block.T)
        for meter in (self._loudness, self._octaves, self._peaks, self._room, self._clipping):
            if meter is not None:
                meter.add(planes.T)
        self._steps.add(planes)
        self._span.add(planes)
        self._hash.update(np.asarray(block + _ZERO, "<f4").data)  # -0.0 is 0.0
        self._frames += len(block)

    @property
    def figures(self) -> SoundFigures:
        """Of all that was taken in."""
        silent, span = self._span.first < 0, self._span
        return SoundFigures(
            frames=self._frames,
            integrated_lufs=self._loudness.integrated if self._loudness else nan,
            true_peak_dbtp=self._peaks.true_peak_db if self._loudness else nan,
            sample_peak_dbfs=self._peaks.sample_peak_db,
            dc_dbfs=self._steps.dc_dbfs,
            leading_silence=(self._frames if silent else span.first) / self._rate,
            trailing_silence=(self._frames - 1 - span.last) / self._rate,
            clipped_runs=self._clipping.runs,
            clipped_samples=self._clipping.samples,
            ending_db=self._steps.ending_db,
            balance_db=self._steps.balance_db,
            correlation=self._steps.correlation,
            same_channels=self._steps.same_channels,
            audio_hash=self._hash.hexdigest(),
            room=room_estimate(self._room.envelopes),
            excerpt=self._steps.excerpt,
            octaves=self._octaves.steps if self._octaves else None,
        )
