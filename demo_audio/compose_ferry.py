"""Compose and play "Ferry through the ice", the demo cue, into dry stems.

    python demo_audio/compose_ferry.py [--out FOLDER]

The stems land in demo_audio/ferry/ unless told otherwise: 48 kHz, 24-bit FLAC,
no room. Every stem has its own random generator, seeded with its name, so the
same numpy gives the same bytes every time.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from ferry_score import LENGTH_S, PARTS, TITLE, VOWEL, curve_at, level_at, phrases
from ferry_struck import (
    Stroke,
    play_struck,
    play_support,
    pluck_harp,
    strike_glockenspiel,
    strike_snare,
    strike_timpani,
)
from ferry_sustained import RATE, Signal, Timbre, play_phrase, through_body
from scipy.ndimage import maximum_filter1d
from scipy.signal import butter, sosfilt

FRAMES = int(LENGTH_S * RATE)
BITS = 19
"""Effective resolution; the rest of the 24 bits stays zero and costs no space."""


@dataclass(frozen=True)
class Section:
    """Players of one stem: how many, how loud, how wide they sit (0 mono, 1 full)."""

    timbre: Timbre
    players: int
    peak_db: float
    width: float = 0.0


VIOLIN = Timbre(
    formants=((280, 5, 60), (470, 6, 90), (560, 5, 120), (1100, -3, 600), (2600, 9, 1600)),
    tilt=1.05,
    soft_hz=1500,
    loud_hz=4200,
    low_hz=185,
    high_hz=7000,
    attack=0.085,
    release=0.16,
    vibrato_hz=5.6,
    vibrato_cents=17,
    hiss=0.035,
    chiff=0.4,
    chiff_s=0.035,
    timing=0.014,
    modes=26,
)
VIOLA = Timbre(
    formants=((225, 6, 60), (380, 5, 90), (520, 4, 120), (1300, 5, 600), (2100, 5, 1200)),
    tilt=1.1,
    soft_hz=1100,
    loud_hz=3200,
    low_hz=125,
    high_hz=5500,
    attack=0.10,
    release=0.19,
    vibrato_hz=5.3,
    vibrato_cents=15,
    hiss=0.03,
    chiff=0.36,
    chiff_s=0.04,
    timing=0.014,
    modes=24,
)
CELLO = Timbre(
    formants=((105, 4, 40), (180, 5, 50), (300, 5, 90), (600, 3, 200), (1500, 6, 1000)),
    tilt=1.1,
    soft_hz=800,
    loud_hz=2600,
    low_hz=60,
    high_hz=4500,
    attack=0.095,
    release=0.24,
    vibrato_hz=5.1,
    vibrato_cents=13,
    hiss=0.03,
    chiff=0.43,
    chiff_s=0.04,
    timing=0.012,
    modes=24,
)
BASS = Timbre(
    formants=((62, 3, 30), (105, 5, 40), (210, 4, 80), (480, 4, 250), (900, 3, 500)),
    tilt=1.15,
    soft_hz=400,
    loud_hz=1500,
    low_hz=36,
    high_hz=2800,
    attack=0.12,
    release=0.28,
    vibrato_hz=4.6,
    vibrato_cents=7,
    hiss=0.035,
    chiff=0.54,
    chiff_s=0.05,
    detune_cents=4,
    modes=18,
)
FLUTE = Timbre(
    formants=((800, 4, 700), (2200, -3, 1500)),
    tilt=1.5,
    soft_hz=700,
    loud_hz=2200,
    low_hz=240,
    high_hz=6500,
    attack=0.055,
    release=0.09,
    vibrato_hz=5.2,
    vibrato_cents=11,
    hiss=0.05,
    chiff=0.54,
    chiff_s=0.022,
    scoop_cents=14,
    timing=0.007,
    range_db=24,
)
OBOE = Timbre(
    formants=((580, -5, 300), (1150, 9, 450), (2950, 8, 900), (4500, -4, 1500)),
    tilt=0.75,
    soft_hz=1700,
    loud_hz=4200,
    low_hz=220,
    high_hz=8000,
    attack=0.04,
    release=0.10,
    vibrato_hz=5.0,
    vibrato_cents=11,
    hiss=0.012,
    chiff=0.25,
    chiff_s=0.010,
    glide=0.012,
    range_db=20,
)
CLARINET = Timbre(
    formants=((420, 3, 400), (1500, 4, 700), (3200, 3, 1500)),
    tilt=0.95,
    soft_hz=800,
    loud_hz=2600,
    low_hz=130,
    high_hz=6000,
    attack=0.05,
    release=0.10,
    vibrato_hz=4.5,
    vibrato_cents=1.5,
    hiss=0.014,
    chiff=0.18,
    chiff_s=0.012,
    even=0.06,
    glide=0.010,
    timing=0.006,
    range_db=24,
)
BASSOON = Timbre(
    formants=((480, 11, 260), (1150, 6, 500), (2300, 2, 900)),
    tilt=0.9,
    soft_hz=700,
    loud_hz=1900,
    low_hz=70,
    high_hz=4500,
    attack=0.035,
    release=0.09,
    vibrato_hz=4.8,
    vibrato_cents=5,
    hiss=0.014,
    chiff=0.29,
    chiff_s=0.012,
    timing=0.006,
    range_db=22,
)
HORN = Timbre(
    formants=((380, 7, 320), (800, 3, 500), (2300, -2, 1500)),
    tilt=0.85,
    soft_hz=400,
    loud_hz=2600,
    low_hz=80,
    high_hz=4500,
    attack=0.075,
    release=0.17,
    vibrato_hz=4.5,
    vibrato_cents=2,
    hiss=0.014,
    chiff=0.29,
    chiff_s=0.018,
    scoop_cents=22,
    timing=0.009,
    range_db=28,
)
TRUMPET = Timbre(
    formants=((1250, 6, 900), (2600, 4, 1600)),
    tilt=0.5,
    soft_hz=800,
    loud_hz=5500,
    low_hz=150,
    high_hz=8500,
    attack=0.045,
    release=0.10,
    vibrato_hz=5.2,
    vibrato_cents=5,
    hiss=0.010,
    chiff=0.32,
    chiff_s=0.010,
    scoop_cents=18,
    timing=0.005,
    range_db=30,
)
TROMBONE = Timbre(
    formants=((560, 6, 420), (1500, 3, 900)),
    tilt=0.5,
    soft_hz=400,
    loud_hz=4200,
    low_hz=50,
    high_hz=6000,
    attack=0.06,
    release=0.13,
    vibrato_hz=4.8,
    vibrato_cents=3,
    hiss=0.010,
    chiff=0.29,
    chiff_s=0.014,
    scoop_cents=16,
    timing=0.006,
    range_db=32,
)
OO = Timbre(
    formants=((340, 14, 90), (700, 9, 110), (2700, 6, 220), (3300, 3, 300)),
    tilt=1.25,
    soft_hz=700,
    loud_hz=2200,
    low_hz=80,
    high_hz=5000,
    attack=0.14,
    release=0.26,
    vibrato_hz=5.3,
    vibrato_cents=24,
    hiss=0.02,
    chiff=0.09,
    chiff_s=0.05,
    glide=0.035,
    scoop_cents=25,
    detune_cents=8,
    timing=0.022,
    range_db=30,
)
AH_FORMANTS = ((720, 14, 110), (1130, 11, 130), (2800, 10, 260), (3500, 7, 320))

SECTIONS = {
    "violins1": Section(VIOLIN, 10, -14.0, 0.9),
    "violins2": Section(VIOLIN, 8, -15.0, 0.9),
    "violas": Section(VIOLA, 6, -16.0, 0.9),
    "cellos": Section(CELLO, 6, -14.0, 0.8),
    "basses": Section(BASS, 4, -14.0),
    "oboe": Section(OBOE, 1, -20.0),
    "flutes": Section(FLUTE, 2, -20.0),
    "clarinets": Section(CLARINET, 2, -23.0),
    "bassoons": Section(BASSOON, 2, -18.0),
    "horns": Section(HORN, 4, -12.0, 0.8),
    "trumpets": Section(TRUMPET, 2, -12.0),
    "trombones": Section(TROMBONE, 3, -12.0),
    "choir": Section(OO, 12, -14.0, 1.0),
}
STRUCK: dict[str, tuple[Stroke, float]] = {
    "harp": (pluck_harp, -17.0),
    "timpani": (strike_timpani, -10.0),
    "snare": (strike_snare, -15.0),
    "glockenspiel": (strike_glockenspiel, -21.0),
}


def main() -> int:
    """Read the command line, play every stem, write it, say how large it became."""
    parser = argparse.ArgumentParser(description=f'Compose "{TITLE}" into dry stems.')
    parser.add_argument(
        "--out",
        type=Path,
        default=Path(__file__).parent / "ferry",
        metavar="FOLDER",
        help="where the stems go (default: %(default)s)",
    )
    folder: Path = parser.parse_args().out
    if folder.exists() and not folder.is_dir():
        print(f"--out: found a file at {folder}, wanted a folder", file=sys.stderr)
        return 2
    folder.mkdir(parents=True, exist_ok=True)
    total = 0
    for stem in PARTS:
        for name, samples in channels_by_file(stem, play(stem)).items():
            total += write(folder / name, samples)
    print(f"{folder}: {total / 1e6:.2f} MB")
    return 0


def play(stem: str) -> Signal:
    """Play one stem at its level in the mix, shape (FRAMES, channels)."""
    rng = np.random.default_rng(zlib.crc32(stem.encode()))
    if stem in SECTIONS:
        sound, peak_db = play_section(stem, SECTIONS[stem], rng), SECTIONS[stem].peak_db
    elif stem in STRUCK:
        stroke, peak_db = STRUCK[stem]
        sound = play_struck(stem, PARTS[stem], stroke, FRAMES, rng)
    else:
        sound, peak_db = play_support(PARTS[stem], FRAMES), -20.0
    without_dc = butter(2, 16.0, "highpass", fs=RATE, output="sos")
    sound = np.asarray(sosfilt(without_dc, sound, axis=0))
    return rounded(sound * 10 ** (peak_db / 20) / np.abs(sound).max(), rng)


def play_section(stem: str, section: Section, rng: np.random.Generator) -> Signal:
    """Let every player of a section play his or her part, side by side."""
    sides = np.linspace(-section.width, section.width, section.players)
    out = np.zeros((FRAMES, 2 if section.width else 1))
    for player, side in enumerate(sides):
        part = PARTS[stem][player % len(PARTS[stem])]
        line = play_player(stem, part, section.timbre, rng)
        if not section.width:
            out[:, 0] += line
            continue
        out[:, 0] += line * np.cos((1 + side) * np.pi / 4)
        out[:, 1] += line * np.sin((1 + side) * np.pi / 4)
    return out


def play_player(stem: str, part: str, timbre: Timbre, rng: np.random.Generator) -> Signal:
    """Play one part on one instrument, shape (FRAMES,); singers turn from oo to ah."""
    times = np.arange(FRAMES) / RATE
    level, dry = level_at(stem, times), np.zeros(FRAMES)
    for phrase in phrases(part):
        first, sound = play_phrase(phrase, timbre, level, rng)
        dry[first : first + len(sound)] += sound
    if stem != "choir":
        return through_body(dry, timbre, rng)
    ah = Timbre(**{**vars(timbre), "formants": AH_FORMANTS})
    open_ = curve_at(VOWEL, times)
    closed = through_body(dry * (1.0 - open_), timbre, rng)
    return closed + 0.7 * through_body(dry * open_, ah, rng)


def rounded(sound: Signal, rng: np.random.Generator) -> Signal:
    """Round to BITS with triangular dither while the stem sounds, to zero where it rests."""
    steps = sound * 2.0 ** (BITS - 1)
    dither = rng.random(sound.shape) - rng.random(sound.shape)
    loudest = np.abs(steps).max(axis=1)
    sounding = maximum_filter1d(loudest, int(0.05 * RATE)) > 1.0
    return np.where(sounding[:, None], np.round(steps + dither), 0.0) / 2.0 ** (BITS - 1)


def channels_by_file(stem: str, sound: Signal) -> dict[str, Signal]:
    """Name the files of a stem; the violas come as a pair of mono files."""
    if stem != "violas":
        return {f"{stem}.flac": sound}
    return {"violas.L.flac": sound[:, :1], "violas.R.flac": sound[:, 1:]}


def write(path: Path, sound: Signal) -> int:
    """Write a stem as 24-bit FLAC, whole or not at all; give its size in bytes."""
    samples = np.round(sound * 2.0**23).astype(np.int32) << 8
    part = path.with_name(path.name + ".part")
    soundfile.write(part, samples, RATE, "PCM_24", format="FLAC", compression_level=1.0)
    part.replace(path)
    return path.stat().st_size


if __name__ == "__main__":
    raise SystemExit(main())
