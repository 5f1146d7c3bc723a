"""Voices of the demo cue that sustain: bowed, blown and sung.

Source and filter, as the instruments do it. The source is one period of partials
in a table, in five layers from soft to loud, read with a phase that carries
vibrato, drift and the slide between slurred notes; noise of bow or breath joins
it. The filter is the body, bell or mouth: a minimum-phase response with the
instrument's formants, a little different for every player, so that vibrato
moves the partials through fixed resonances.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from ferry_score import Phrase, slide
from numpy.typing import NDArray
from scipy.signal import lfilter, oaconvolve

Signal = NDArray[np.float64]

RATE = 48_000
TABLE = 16_384
LAYERS = 5
TAPS = 2048
TOP_HZ = 17_000.0


@dataclass(frozen=True)
class Timbre:
    """What makes a family sound like itself.

    Attributes
    ----------
    formants : tuple of (Hz, dB, Hz)
        Centre, gain and width of each body or vowel resonance.
    tilt : float
        Partial k of the source has the amplitude k**-tilt below the corner.
    soft_hz, loud_hz : float
        Corner above which the partials fall by 12 dB/octave, at the softest and
        the loudest: brightness grows with level.
    even : float
        Amplitude of the first even partials relative to the odd ones; 1 for all
        but the clarinet. The difference fades out above the tenth partial.
    low_hz, high_hz : float
        Limits of the body (18 and 24 dB/octave outside).
    attack, release, glide : float
        In seconds; glide is the slide between slurred notes.
    vibrato_hz, vibrato_cents : float
        Rate and depth of the vibrato, which sets in after the attack.
    hiss, chiff : float
        Noise relative to the tone: while sounding, and at an attack.
    chiff_s : float
        How long the attack noise lasts, in seconds.
    scoop_cents : float
        How far below its pitch an attacked note begins.
    detune_cents, timing : float
        Spread among players: tuning in cents, entries in seconds.
    modes : int
        Number of random body resonances a player's own instrument adds.
    range_db : float
        Level difference between dynamics 0 and 1.
    """

    formants: tuple[tuple[float, float, float], ...]
    tilt: float
    soft_hz: float
    loud_hz: float
    low_hz: float
    high_hz: float
    attack: float
    release: float
    vibrato_hz: float
    vibrato_cents: float
    hiss: float
    chiff: float
    chiff_s: float
    even: float = 1.0
    glide: float = 0.02
    scoop_cents: float = 8.0
    detune_cents: float = 5.0
    timing: float = 0.010
    modes: int = 0
    range_db: float = 30.0


def play_phrase(
    phrase: Phrase, timbre: Timbre, level: Signal, rng: np.random.Generator
) -> tuple[int, Signal]:
    """Play one slurred phrase on the source, before the body.

    Parameters
    ----------
    phrase : tuple of Note
        The notes, in order.
    timbre : Timbre
        The family's sound.
    level : ndarray, shape (frames of the whole cue,)
        Dynamic from 0 to 1.
    rng : numpy.random.Generator
        The player's own.

    Returns
    -------
    int, ndarray
        First frame, and the samples from there.
    """
    onsets = np.array([note.start for note in phrase])
    onsets = np.maximum(onsets + rng.normal(0.0, timbre.timing, len(phrase)), 0.005)
    end = phrase[-1].start + phrase[-1].length + rng.normal(0.0, timbre.timing)
    first = int(onsets[0] * RATE)
    frames = min(int((end + timbre.release * 1.5) * RATE), len(level)) - first
    times = onsets[0] + np.arange(frames) / RATE
    hz = _pitch(phrase, onsets, times, timbre, rng)
    dynamic = level[first : first + frames]
    envelope = _envelope(onsets, end, times, timbre) * _wander(frames, 4.0, 0.06, rng, 1.0)
    turns = rng.random() + np.cumsum(hz) / RATE
    brightness = np.clip(dynamic * envelope**0.6, 0.0, 1.0)
    tone = _read(_tables(phrase, timbre), turns, brightness)
    noise = _noise(onsets, end, times, envelope, timbre, rng)
    noise *= 0.6 + 0.4 * np.cos(2 * np.pi * turns)
    gain = 10.0 ** ((dynamic - 1.0) * timbre.range_db / 20.0)
    return first, gain * (envelope * tone + noise)


def through_body(dry: Signal, timbre: Timbre, rng: np.random.Generator) -> Signal:
    """Send a player's line (frames,) through his or her own body, bell or mouth."""
    return np.asarray(oaconvolve(dry, _body(timbre, rng))[: len(dry)])


def _pitch(
    phrase: Phrase, onsets: Signal, times: Signal, timbre: Timbre, rng: np.random.Generator
) -> Signal:
    """Draw the frequency in Hz: notes, glides, scoop, vibrato, drift."""
    cents = 1200 * np.log2([note.hz for note in phrase]) + rng.normal(0.0, 2.0, len(phrase))
    which = np.clip(np.searchsorted(onsets, times, side="right") - 1, 0, len(phrase) - 1)
    line = slide(onsets, cents, times, timbre.glide)
    age = times - onsets[which]
    line -= timbre.scoop_cents * np.exp(-(times - onsets[0]) / 0.045)
    swing = np.cumsum(_wander(len(times), 2.0, 0.35, rng, timbre.vibrato_hz)) / RATE
    depth = timbre.vibrato_cents * np.clip(age / 0.45, 0.15, 1.0) * rng.uniform(0.8, 1.2)
    line += depth * np.sin(2 * np.pi * (swing + rng.random()))
    line += _wander(len(times), 3.0, 2.0, rng) + _wander(len(times), 40.0, 1.2, rng)
    return np.exp2((line + rng.normal(0.0, timbre.detune_cents)) / 1200)


def _envelope(onsets: Signal, end: float, times: Signal, timbre: Timbre) -> Signal:
    """Shape the loudness: attack, slight bloom, a dip at every slurred change, release."""
    age = times - onsets[0]
    rise = np.sin(np.clip(age / timbre.attack, 0.0, 1.0) * np.pi / 2) ** 1.5
    bloom = 1.0 + 0.35 * np.exp(-((age - timbre.attack) ** 2) / (2 * timbre.attack**2))
    for onset in onsets[1:]:
        bloom *= 1.0 - 0.35 * np.exp(-(((times - onset) / 0.022) ** 2))
    fade = np.clip((times - end) / (timbre.release * 1.5), 0.0, 1.0)
    return np.asarray(rise * bloom * np.exp(-4.0 * fade) * (1.0 - fade**2))


def _noise(
    onsets: Signal,
    end: float,
    times: Signal,
    envelope: Signal,
    timbre: Timbre,
    rng: np.random.Generator,
) -> Signal:
    """Make the noise of bow or breath: with the tone, and ahead of it at an attack."""
    amount = timbre.hiss * envelope
    for weight, onset in zip([1.0] + [0.3] * (len(onsets) - 1), onsets, strict=True):
        age = np.maximum(times - onset, 0.0)
        amount += weight * timbre.chiff * (1 - np.exp(-age / 0.002)) * np.exp(-age / timbre.chiff_s)
    amount *= np.clip((end + timbre.release - times) / timbre.release, 0.0, 1.0)
    return np.asarray(amount * lfilter([0.45], [1.0, -0.55], rng.standard_normal(len(times))))


def _tables(phrase: Phrase, timbre: Timbre) -> Signal:
    """Fill one period of the source per brightness layer, shape (LAYERS, TABLE + 1)."""
    hz = np.array([note.hz for note in phrase])
    partial = np.arange(1, max(2, int(TOP_HZ / hz.max())) + 1)
    corner = np.geomspace(timbre.soft_hz, timbre.loud_hz, LAYERS)[:, None]
    sizes = partial**-timbre.tilt / (1.0 + (partial * hz.mean() / corner) ** 4) ** 0.5
    lift = np.clip((partial - 2) / 8.0, 0.0, 1.0)
    sizes = sizes * np.where(partial % 2 == 0, timbre.even + (1 - timbre.even) * lift, 1.0)
    spectrum = np.zeros((LAYERS, TABLE // 2 + 1), complex)
    spectrum[:, partial] = -1j * sizes / np.sqrt(np.sum(sizes**2, axis=1, keepdims=True) / 2)
    period = np.fft.irfft(spectrum, axis=1) * (TABLE / 2)
    return np.concatenate((period, period[:, :1]), axis=1)


def _read(tables: Signal, turns: Signal, brightness: Signal) -> Signal:
    """Read the tables at phase `turns`, between layers by `brightness`."""
    place = (turns % 1.0) * TABLE
    column = np.minimum(place.astype(np.int64), TABLE - 1)
    between = place - column
    height = brightness * (LAYERS - 1)
    row = np.minimum(height.astype(np.int64), LAYERS - 2)
    flat, index = tables.ravel(), row * tables.shape[1] + column
    soft = flat[index] * (1 - between) + flat[index + 1] * between
    index += tables.shape[1]
    loud = flat[index] * (1 - between) + flat[index + 1] * between
    return np.asarray(soft + (loud - soft) * (height - row))


def _wander(
    frames: int, hz: float, size: float, rng: np.random.Generator, around: float = 0.0
) -> Signal:
    """Wander slowly and at random: about `hz` turns a second, standard deviation `size`."""
    step = RATE / (2 * hz)
    points = rng.normal(0.0, size, int(frames / step) + 2)
    return around + np.interp(np.arange(frames) / step, np.arange(len(points)), points)


def _body(timbre: Timbre, rng: np.random.Generator) -> Signal:
    """Design a player's body as a minimum-phase response, shape (TAPS,)."""
    size = 4 * TAPS
    hz = np.fft.rfftfreq(size, 1 / RATE)
    gain_db = np.zeros(len(hz))
    for centre, peak_db, width in timbre.formants:
        centre, peak_db = centre * rng.normal(1.0, 0.02), peak_db + rng.normal(0.0, 0.7)
        gain_db += peak_db / (1.0 + ((hz - centre) / (width / 2)) ** 2)
    for centre in np.exp(rng.uniform(np.log(180.0), np.log(6000.0), timbre.modes)):
        gain_db += rng.normal(0.0, 4.0) / (1.0 + ((hz - centre) / (0.03 * centre)) ** 2)
    gain_db -= 10 * np.log10(1.0 + (timbre.low_hz / np.maximum(hz, 1.0)) ** 6)
    gain_db -= 10 * np.log10(1.0 + (hz / timbre.high_hz) ** 8)
    log_gain = np.maximum(gain_db, -100.0) * np.log(10) / 20
    cepstrum = np.fft.irfft(log_gain)
    cepstrum[1 : size // 2] *= 2
    cepstrum[size // 2 + 1 :] = 0
    response = np.fft.irfft(np.exp(np.fft.rfft(cepstrum)))[:TAPS]
    return response * np.cos(np.linspace(0, np.pi / 2, TAPS)) ** 0.5
