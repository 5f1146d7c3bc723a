"""Voices of the demo cue that ring after a stroke, and the low support line.

Everything struck or plucked is a sum of decaying partials, each with its own
ring time, behind the noise of finger, mallet or wires:

- harp: a string plucked at a third of its length, slightly stiff, with the
  soundboard's knock; the two channels hear the soundboard differently
- timpani: membrane in air, ratios 1, 1.50, 1.99, 2.44, 2.89 of the preferred
  modes, with the short-lived ring-symmetric ones (T. D. Rossing, "The physics of
  kettledrums", Scientific American 247, 1982)
- glockenspiel: free bar, ratios 1, 2.756, 5.404, 8.933
- snare: modes of two coupled heads and the rattle of the wires

The low support is a plain sine that follows the basses an octave below.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from ferry_score import Note, level_at, phrases, slide
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

Signal = NDArray[np.float64]
Stroke = Callable[[Note, float, np.random.Generator], Signal]

RATE = 48_000
TIMPANI_MODES = (
    # ratio, size, ring time in s
    (0.82, 0.45, 0.25),
    (1.0, 1.0, 2.6),
    (1.50, 0.75, 2.2),
    (1.74, 0.22, 0.35),
    (1.99, 0.42, 1.7),
    (2.44, 0.24, 1.3),
    (2.89, 0.14, 0.9),
    (3.36, 0.08, 0.6),
)
BAR_MODES = ((1.0, 1.0, 2.6), (2.756, 0.32, 0.8), (5.404, 0.16, 0.3), (8.933, 0.06, 0.12))
SNARE_MODES = (
    (182.0, 0.8, 0.16),
    (278.0, 0.35, 0.12),
    (331.0, 0.6, 0.13),
    (398.0, 0.3, 0.10),
    (475.0, 0.25, 0.09),
    (610.0, 0.15, 0.07),
)
ROLL_RATE = {"timpani": 12.5, "snare": 23.0}


def ring(
    hz: Signal, sizes: Signal, ring_s: Signal, rng: np.random.Generator, bend: float = 0.0
) -> Signal:
    """Let partials ring together after one stroke.

    Parameters
    ----------
    hz, sizes, ring_s : ndarray, shape (partials,)
        Frequency in Hz, amplitude, and time to fall by 60 dB in seconds.
    bend : float
        How much higher than `hz` the stroke begins, as a fraction.

    Returns
    -------
    ndarray, shape (frames,)
        Until the slowest partial has fallen by 96 dB.
    """
    out = np.zeros(int(1.6 * ring_s.max() * RATE))
    phases = rng.uniform(-0.6, 0.6, len(hz))
    for one_hz, size, seconds, phase in zip(hz, sizes, ring_s, phases, strict=True):
        frames = int(1.6 * seconds * RATE)
        turning = _spiral(2j * np.pi * one_hz - 6.908 / seconds, frames)
        if bend:
            lead = 0.06 * bend * one_hz * (1.0 - np.exp(-np.arange(frames) / (0.06 * RATE)))
            turning *= np.exp(2j * np.pi * lead)
        out[:frames] += size * (turning * np.exp(1j * phase)).imag
    return out * (1.0 - np.exp(-np.arange(len(out)) / (0.0006 * RATE)))


def pluck_harp(note: Note, level: float, rng: np.random.Generator) -> Signal:
    """Pluck a harp string, shape (frames, 2)."""
    partial = np.arange(1, max(3, min(36, int(9000 / note.hz))) + 1)
    hz = partial * note.hz * np.sqrt(1.0 + 6e-5 * partial**2)
    fall = 1.9 - 0.5 * level
    sizes = np.abs(np.sin(np.pi * partial * 0.34)) / partial**fall
    ring_s = 3.6 * (196.0 / note.hz) ** 0.4 / (1.0 + (hz / 1500.0))
    board = np.array([118.0, 176.0, 243.0, 390.0])
    side = np.clip(np.log2(note.hz / 220.0) / 3.2, -0.55, 0.55)
    channels = []
    for gain in (np.cos((1 + side) * np.pi / 4), np.sin((1 + side) * np.pi / 4)):
        heard = sizes * 10 ** (rng.normal(0.0, 1.5, len(partial)) / 20)
        string = ring(hz, heard, ring_s, rng)
        _add(string, 0, 0.12 * ring(board, np.ones(4), np.full(4, 0.16), rng))
        _add(string, 0, 0.10 * _burst(0.004, 900.0, 5000.0, rng))
        channels.append(gain * string)
    return _damped(np.stack(channels, axis=1), max(note.length * 3.0, 1.2), 0.25)


def strike_timpani(note: Note, level: float, rng: np.random.Generator) -> Signal:
    """Strike a kettledrum with a felt mallet, shape (frames, 1)."""
    ratio, size, seconds = np.array(TIMPANI_MODES).T
    size = size * rng.uniform(0.8, 1.2, len(size)) * (0.35 + 0.65 * level) ** (ratio - 1.0)
    drum = ring(ratio * note.hz, size, seconds * (110.0 / note.hz) ** 0.3, rng, 0.006 * level)
    _add(drum, 0, 1.1 * _burst(0.012, 60.0, 500.0 + 900.0 * level, rng))
    return _damped(drum[:, None], max(note.length * 1.6, 0.9), 0.18)


def strike_glockenspiel(note: Note, level: float, rng: np.random.Generator) -> Signal:
    """Strike a steel bar with a hard mallet, shape (frames, 1)."""
    ratio, size, seconds = np.array(BAR_MODES).T
    kept = ratio * note.hz < 19_000
    hz, size = ratio[kept] * note.hz, size[kept] * level ** (0.3 * (ratio[kept] - 1))
    bar = ring(hz, size, seconds[kept] * (1760.0 / note.hz) ** 0.5, rng)
    _add(bar, 0, 0.25 * _burst(0.002, 2500.0, 9000.0, rng))
    return bar[:, None]


def strike_snare(_note: Note, level: float, rng: np.random.Generator) -> Signal:
    """Strike a snare drum, shape (frames, 1)."""
    hz, size, seconds = np.array(SNARE_MODES).T
    drum = ring(hz, size * rng.uniform(0.7, 1.3, len(hz)), seconds, rng, 0.03 * level)
    wires = _burst(0.03 + 0.02 * level, 1100.0, 4500.0 + 3500.0 * level, rng)
    _add(drum, int(0.0012 * RATE), 1.3 * wires)
    _add(drum, 0, 0.8 * _burst(0.003, 300.0, 6000.0, rng))
    return drum[:, None]


def play_struck(
    stem: str, parts: tuple[str, ...], stroke: Stroke, frames: int, rng: np.random.Generator
) -> Signal:
    """Play all strokes of a stem, shape (frames, channels of `stroke`)."""
    out: Signal | None = None
    for note in [n for part in parts for phrase in phrases(part) for n in phrase]:
        for start, length in _strokes(stem, note, rng):
            level = float(level_at(stem, np.array([start]))[0]) * rng.uniform(0.94, 1.06)
            sound = stroke(Note(start, length, note.hz, False), min(level, 1.0), rng)
            if out is None:
                out = np.zeros((frames, sound.shape[1]))
            _add(out, int(start * RATE), 10 ** (30.0 * (level - 1.0) / 20) * sound)
    if out is None:
        raise ValueError(f"{stem}: found no note in its part, wanted at least one")
    return out


def play_support(parts: tuple[str, ...], frames: int) -> Signal:
    """Follow the written line with a sine, shape (frames, 1), without a click anywhere."""
    times = np.arange(frames) / RATE
    turns, gate = np.zeros(frames), np.zeros(frames)
    for phrase in [phrase for part in parts for phrase in phrases(part)]:
        onsets = np.array([note.start for note in phrase])
        end = phrase[-1].start + phrase[-1].length
        sounding = (times > onsets[0] - 0.5) & (times < end + 0.5)
        here = times[sounding]
        line = slide(onsets, np.log2([note.hz for note in phrase]), here, 0.04)
        turns[sounding] = np.cumsum(2.0**line) / RATE
        gate[sounding] = slide(np.array([0.0, onsets[0], end]), np.array([0, 1, 0]), here, 0.08)
    gain = 10 ** (30.0 * (level_at("low_support", times) - 1.0) / 20)
    return (gain * gate * np.sin(2 * np.pi * turns))[:, None]


def _strokes(stem: str, note: Note, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Give (start, length) in seconds of the strokes a note needs: one, or a roll."""
    start = note.start + max(rng.normal(0.0, 0.004), -0.01)
    if not note.roll:
        return [(start, note.length)]
    count = int(note.length * ROLL_RATE[stem])
    starts = note.start + (np.arange(count) + rng.uniform(-0.12, 0.12, count)) * (
        note.length / count
    )
    return [(float(one), max(note.start + note.length - float(one), 0.2)) for one in starts]


def _spiral(per_second: complex, frames: int) -> NDArray[np.complex128]:
    """Give exp(`per_second` t) at every frame, as a product of coarse and fine steps."""
    fine = np.exp(per_second * np.arange(512) / RATE)
    coarse = np.exp(per_second * np.arange(0, frames, 512) / RATE)
    return np.outer(coarse, fine).ravel()[:frames]


def _burst(seconds: float, low_hz: float, high_hz: float, rng: np.random.Generator) -> Signal:
    """Make a burst of noise between two frequencies that falls by 9 dB in `seconds`."""
    frames = int(12 * seconds * RATE)
    band = butter(2, (low_hz, high_hz), "bandpass", fs=RATE, output="sos")
    shape = np.exp(-np.arange(frames) / (seconds * RATE)) * np.linspace(1, 0, frames)
    return np.asarray(sosfilt(band, rng.standard_normal(frames))) * shape


def _damped(sound: Signal, after_s: float, fade_s: float) -> Signal:
    """Damp a ringing sound (frames, channels) from `after_s` on, and end it."""
    times = np.arange(len(sound)) / RATE
    late = np.maximum(times - after_s, 0.0) / fade_s
    return (sound * np.exp(-1.4 * late)[:, None])[times < after_s + 6.5 * fade_s]


def _add(out: Signal, first: int, sound: Signal) -> None:
    """Add `sound` into `out` from frame `first`; what passes the end is dropped."""
    room = max(min(len(sound), len(out) - first), 0)
    out[first : first + room] += sound[:room]
