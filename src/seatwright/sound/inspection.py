"""What is known of a stem once it was read from end to end, and the meter that reads it.

Conventions: blocks are float32, shape (frames, channels), at +-1 full scale. One pass; what is kept
is a few numbers for each 10 ms.
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass, field
from itertools import combinations_with_replacement
from math import inf, isfinite, log10, nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.band_envelopes import STEP_SECONDS
from seatwright.sound.clipping import ClipMeter
from seatwright.sound.loudness import LoudnessMeter
from seatwright.sound.octave_steps import OctaveMeter, OctaveSteps
from seatwright.sound.peaks import PeakMeter, decibels
from seatwright.sound.room_in_stem import RoomEstimate, room_estimate
from seatwright.sound.room_part import SILENCE_DBFS, RoomPart

CUT_OFF_DB = -50.0
"""A stem that ends louder than this, relative to its loud part, ends in the middle of sound."""

_SILENCE = np.float32(10.0 ** (SILENCE_DBFS / 20.0))
_ENDING_SECONDS = 0.02
_LOUD_PERCENTILE = 95.0
_GOLDEN = 0.5 * (5.0**0.5 - 1.0)

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
        self._image = _Image(channels)
        self._steps = _Steps(rate, channels)
        self._hash = hashlib.sha256(f"{channels} {rate} ".encode(), usedforsecurity=False)
        self._frames, self._first, self._last = 0, -1, -1

    def add(self, block: Block) -> None:
        """Take in the next samples, shape (frames, channels); any cut gives the same result."""
        for meter in (self._loudness, self._octaves, self._peaks, self._room, self._clipping):
            if meter is not None:
                meter.add(block)
        self._image.add(block)
        self._steps.add(block)
        self._hash.update((block + np.float32(0.0)).astype("<f4").data)  # -0.0 is 0.0
        self._mark_sounding(block)
        self._frames += len(block)

    def _mark_sounding(self, block: Block) -> None:
        sounding = np.abs(block).reshape(-1) >= _SILENCE
        first = int(np.argmax(sounding)) if len(sounding) else 0
        if len(sounding) == 0 or not sounding[first]:
            return
        if self._first < 0:
            self._first = self._frames + first // self._channels
        last = len(sounding) - 1 - int(np.argmax(sounding[::-1]))
        self._last = self._frames + last // self._channels

    @property
    def figures(self) -> SoundFigures:
        """Of all that was taken in."""
        silent = self._first < 0
        return SoundFigures(
            frames=self._frames,
            integrated_lufs=self._loudness.integrated if self._loudness else nan,
            true_peak_dbtp=self._peaks.true_peak_db if self._loudness else nan,
            sample_peak_dbfs=self._peaks.sample_peak_db,
            dc_dbfs=self._image.dc_dbfs,
            leading_silence=(self._frames if silent else self._first) / self._rate,
            trailing_silence=(self._frames - 1 - self._last) / self._rate,
            clipped_runs=self._clipping.runs,
            clipped_samples=self._clipping.samples,
            ending_db=self._steps.ending_db,
            balance_db=self._image.balance_db,
            correlation=self._image.correlation,
            same_channels=self._image.same_channels,
            audio_hash=self._hash.hexdigest(),
            room=room_estimate(self._room.envelopes),
            excerpt=self._steps.excerpt,
            octaves=self._octaves.steps if self._octaves else None,
        )


class _Image:
    """Sums over both channels: mean, balance, correlation."""

    def __init__(self, channels: int):
        self._frames = 0
        self._sums = np.zeros(channels)
        self._products = np.zeros((channels, channels))
        self._same = channels == 2

    def add(self, block: Block) -> None:
        self._frames += len(block)
        wide = np.ascontiguousarray(block.T, dtype=np.float64)
        self._sums += wide.sum(axis=1)
        for one, two in combinations_with_replacement(range(len(wide)), 2):
            # einsum rather than BLAS, whose own threads would be in the way
            self._products[one, two] += np.einsum("f,f->", wide[one], wide[two])
        self._same = self._same and bool(np.array_equal(block[:, 0], block[:, 1]))

    @property
    def dc_dbfs(self) -> float:
        return decibels(float(np.abs(self._sums).max()) / max(self._frames, 1))

    @property
    def balance_db(self) -> float | None:
        powers = np.diag(self._products)
        if len(powers) == 1 or not powers.any():
            return None
        left, right = map(float, powers)
        return 10.0 * log10(left / right) if left and right else (inf if left else -inf)

    @property
    def correlation(self) -> float | None:
        powers = np.diag(self._products)
        if len(powers) == 1 or not powers.all():
            return None
        return float(self._products[0, 1] / np.sqrt(powers.prod()))

    @property
    def same_channels(self) -> bool:
        return self._same


class _Steps:
    """Energy of each 10 ms, one frame of each, and the last 20 ms as they are."""

    def __init__(self, rate: int, channels: int):
        self._step = round(rate * STEP_SECONDS)
        self._ending_frames = round(rate * _ENDING_SECONDS)
        self._rest = np.zeros((0, channels), dtype=np.float32)
        self._ending = np.zeros((0, channels), dtype=np.float32)
        self._counted = 0
        self._energies: list[Block] = []
        self._excerpts: list[Block] = []

    def add(self, block: Block) -> None:
        joined = np.concatenate([self._rest, block])
        whole = len(joined) // self._step * self._step
        steps = joined[:whole].reshape(-1, self._step * joined.shape[1])
        self._energies.append(np.einsum("sf,sf->s", steps, steps))
        self._excerpts.append(self._picked(joined[:whole]))
        self._rest = joined[whole:]
        self._ending = np.concatenate([self._ending, block])[-self._ending_frames :]

    @property
    def ending_db(self) -> float:
        """Level of the ending over that of the loud steps; -inf where either is nothing."""
        energies = np.concatenate([*self._energies, np.zeros(1)])
        sounding = energies[energies > 0.0] / self._step
        ending = np.square(self._ending, dtype=np.float64).sum() / max(len(self._ending), 1)
        if len(sounding) == 0 or ending <= 0.0:
            return -inf
        return 10.0 * log10(ending / float(np.percentile(sounding, _LOUD_PERCENTILE)))

    @property
    def excerpt(self) -> Block:
        return np.concatenate([*self._excerpts, self._rest[:0]])

    def _picked(self, whole: Block) -> Block:
        """One frame of each step, at a place scattered so that no two tones look alike."""
        steps = np.arange(len(whole) // self._step)
        number = (steps + self._counted).astype(np.float64)
        self._counted += len(steps)
        places = (number**2 * _GOLDEN) % 1.0 * self._step
        return whole[steps * self._step + places.astype(np.int64)]
