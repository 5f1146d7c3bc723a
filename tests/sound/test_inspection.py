"""Inspection of a stem's sound: each figure against a signal made for it, and every warning."""

from __future__ import annotations

import json
from dataclasses import replace
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatwright.sound.inspection import SoundFigures, StemInspection, StemMeter
from seatwright.sound.inspection_warnings import inspection_warnings, stem_warnings
from seatwright.sound.loudness import loudness

RATE = 48_000


def measured(samples: np.ndarray, cuts: tuple[int, ...] = (), rate: int = RATE) -> SoundFigures:
    signal = np.atleast_2d(samples.T.astype(np.float32)).T
    meter = StemMeter(rate, signal.shape[1])
    for part in np.split(signal, sorted(cuts)):
        meter.add(part)
    return meter.figures


def inspected(
    samples: np.ndarray, file: str = "stem.wav", start: float | None = None
) -> StemInspection:
    sound = measured(samples)
    channels = 1 if samples.ndim == 1 else samples.shape[1]
    return StemInspection(file, RATE, channels, 24, "PCM_24", start, sound)


def tone(hertz: float = 997.0, seconds: float = 1.0, level: float = 0.5) -> np.ndarray:
    """A sine that fades in and out over 50 ms, then 30 ms of silence."""
    time = np.arange(round(seconds * RATE)) / RATE
    fade = np.clip(np.minimum(time, seconds - 0.03 - time) / 0.05, 0.0, 1.0)
    return np.asarray(level * fade * np.sin(2 * np.pi * hertz * time))


def whats(*inspections: StemInspection) -> list[str]:
    return [fault.what for fault in inspection_warnings(inspections)]


def test_a_tone_has_the_figures_of_a_tone() -> None:
    found = measured(tone(seconds=3.0))
    assert found.frames == 3 * RATE
    # 997 Hz at full scale in one channel reads -3.01 LUFS (ITU-R BS.1770-4); fades take a little
    assert found.integrated_lufs == pytest.approx(-3.01 - 6.02, abs=0.15)
    assert found.integrated_lufs == loudness(tone(seconds=3.0).astype(np.float32)[:, None], RATE)
    assert found.sample_peak_dbfs == pytest.approx(-6.02, abs=0.01)
    assert found.true_peak_dbtp == pytest.approx(-6.02, abs=0.05)
    assert found.dc_dbfs < -100.0
    assert (found.clipped_runs, found.clipped_samples) == (0, 0)
    assert not found.silent and not found.cut_off
    assert (found.balance_db, found.correlation, found.same_channels) == (None, None, False)
    assert found.room.verdict == "unsure"
    assert whats(inspected(tone())) == []


def test_silence_at_both_ends_is_measured_to_the_sample() -> None:
    signal = np.concatenate([np.zeros(12_345), np.full(1_000, 0.1), np.full(777, 1e-4)])
    found = measured(signal)
    assert found.leading_silence == 12_345 / RATE
    assert found.trailing_silence == 777 / RATE  # -80 dBFS


@pytest.mark.parametrize(
    ("signal", "words"),
    [
        (np.zeros(RATE), "silent: found only zeros in 1.00 s"),
        (np.full(RATE // 2, 1e-4), "silent: found nothing above -70 dBFS in 0.50 s"),
    ],
)
def test_silent_stems_are_named_and_nothing_else_is_said(signal: np.ndarray, words: str) -> None:
    stem = inspected(signal)
    assert stem.sound.silent
    assert stem.sound.integrated_lufs == -inf
    assert stem.sound.leading_silence == stem.sound.trailing_silence == stem.seconds
    assert whats(stem, inspected(signal)) == [words, words]  # silence is no duplicate


def test_constant_offset() -> None:
    offset = tone() + 0.01
    assert measured(offset).dc_dbfs == pytest.approx(-40.0, abs=0.01)
    assert measured(np.stack([tone(), tone(1_500) - 0.02], 1)).dc_dbfs == pytest.approx(
        -34, abs=0.1
    )
    stem = inspected(np.concatenate([offset, np.zeros(RATE // 10)]))
    assert whats(stem) == ["constant offset of -40.8 dBFS, expected below -60"]
    assert whats(inspected(tone() + 0.0009)) == []


def test_clipping_is_counted() -> None:
    clipped = np.clip(tone(441.0, level=1.5), -1.0, 1.0)
    found = measured(clipped)
    assert found.clipped_runs == pytest.approx(2 * 441 * (0.97 - 2 * 0.05 / 1.5), abs=4)
    (words,) = whats(inspected(clipped))
    assert words == f"clipped {found.clipped_runs} times, {found.clipped_samples} samples in all," \
        " at 0.00 dBFS"  # fmt: skip


@pytest.mark.parametrize(("level_db", "cut"), [(-6.0, True), (-45.0, True), (-56.0, False)])
def test_a_tail_cut_off(level_db: float, cut: bool) -> None:
    body, end = tone(seconds=2.0), 10.0 ** (level_db / 20.0)
    fading = 0.5 * np.sin(2 * np.pi * 997 * np.arange(RATE) / RATE)
    fading *= 10.0 ** (level_db / 20.0 * np.arange(RATE) / RATE)
    found = measured(np.concatenate([body, fading]))
    assert found.cut_off is cut
    assert found.ending_db == pytest.approx(20 * np.log10(end), abs=1.5)
    words = whats(inspected(np.concatenate([body, fading])))
    assert [w.split(":")[0] for w in words] == (["ends in the middle of sound"] if cut else [])


def test_a_tail_that_ends_in_silence_is_not_cut_off() -> None:
    abrupt = 0.5 * np.sin(2 * np.pi * 997 * np.arange(RATE) / RATE)
    assert measured(abrupt).cut_off
    assert not measured(np.concatenate([abrupt, np.zeros(961)])).cut_off


def test_balance_and_correlation() -> None:
    a, b = np.random.default_rng(5).standard_normal((2, RATE)) * 0.05
    found = measured(np.stack([a, 0.5 * (a + b)], 1))
    assert found.balance_db == pytest.approx(3.01, abs=0.1)
    assert found.correlation == pytest.approx(0.5**0.5, abs=0.02)
    turned = measured(np.stack([a, -a], 1))
    assert turned.correlation == pytest.approx(-1.0)
    assert turned.balance_db == pytest.approx(0.0)
    assert not turned.same_channels
    assert measured(np.stack([a, a], 1)).same_channels


@pytest.mark.parametrize(
    ("right", "words"),
    [
        (1.0, "its two channels are the same"),
        (-1.0, "left and right are out of phase: correlation -1.00"),
        (0.0, "sounds left only: its right channel is silent"),
        (0.01, "sounds left only: its right channel is 40 dB weaker"),
        (0.7, None),
    ],
)
def test_doubts_about_the_image(right: float, words: str | None) -> None:
    stem = inspected(np.stack([tone(), right * tone()], 1))
    assert whats(stem) == ([words] if words else [])


def test_the_hash_is_of_the_sound_and_of_nothing_else() -> None:
    base = measured(tone())
    assert measured(tone(), cuts=(7, 4_000)).audio_hash == base.audio_hash
    assert len(base.audio_hash) == 64
    touched = tone()
    touched[1_000] += 2.0**-23
    others = [measured(touched), measured(tone()[:-1]), measured(np.stack([tone()] * 2, 1))]
    assert len({figures.audio_hash for figures in [base, *others]}) == 4
    assert measured(tone(), rate=44_100).audio_hash != base.audio_hash


def test_one_audio_in_two_files_is_named_in_pairs() -> None:
    noise = np.random.default_rng(8).standard_normal(RATE) * 0.2 * tone(2.0)
    stems = [
        inspected(noise, "a/oboe.wav"),
        inspected(noise, "a/oboe copy.wav"),
        inspected(0.5 * noise, "soft.wav"),
        inspected(-2.0 * noise, "turned.wav"),
        inspected(np.roll(noise[::-1], -round(0.03 * RATE)), "other.wav"),
    ]
    found = {(fault.file, fault.what) for fault in inspection_warnings(stems)}
    assert ("a/oboe copy.wav", "the same audio as oboe.wav, sample for sample") in found
    assert ("soft.wav", "the same audio as oboe.wav, at -6.0 dB") in found
    louder = "the same audio as oboe.wav, at +6.0 dB and turned in polarity"
    assert ("turned.wav", louder) in found
    assert len(found) == 6  # all pairs of four; the reversed one is another
    assert not any(file == "other.wav" for file, _ in found)


def test_unlike_stems_of_one_rhythm_are_not_the_same() -> None:
    stems = [inspected(tone(440.0 * k, 2.0), f"{k}.wav") for k in (1.0, 1.5, 2.01)]
    assert whats(*stems) == []


def test_starts_that_differ() -> None:
    a, b, c, d = (inspected(tone(300.0 * k), f"{k}.wav", k) for k in (2.0, 2.0, 3.5, 5.0))
    bare = replace(d, start_seconds=None)
    assert whats(a, b) == ["the same audio as 2.0.wav, sample for sample"]
    assert whats(a, c) == ["begins 1.500 s after 2.0.wav"]
    assert whats(a, bare) == ["no broadcast start, found one in 1 of 2 stems"]
    assert whats(replace(a, start_seconds=None), bare) == []


def test_json_has_every_figure_and_no_number_that_json_lacks() -> None:
    for samples in (np.zeros(RATE), np.stack([tone(), 0 * tone()], 1)):
        stem = inspected(samples)
        text = json.dumps(stem.as_json(), allow_nan=False)
        found = json.loads(text)
        assert found["silent"] is stem.sound.silent
        assert found["audio_hash"] == stem.sound.audio_hash
        assert found["room"]["verdict"] == "unsure"
        assert found["room"]["seconds"] is None
        assert "excerpt" not in found
        assert found["seconds"] == 1.0


@settings(max_examples=10, deadline=None)
@given(st.lists(st.integers(0, 30_000), max_size=6))
def test_cuts_change_nothing(cuts: list[int]) -> None:
    rng = np.random.default_rng(2)
    samples = rng.standard_normal((30_000, 2)) * np.linspace(0.0, 0.3, 30_000)[:, None]
    whole, cut = measured(samples), measured(samples, tuple(cuts))
    assert np.array_equal(whole.excerpt, cut.excerpt)
    close = {"dc_dbfs", "balance_db", "correlation", "ending_db"}  # sums in another order
    for name, value in vars(whole).items():
        other = getattr(cut, name)
        if name in close:
            assert other == pytest.approx(value, rel=1e-9)
        elif name not in ("excerpt", "room", "octaves"):
            assert other == value, name
    for name in ("powers", "cross"):
        same = [getattr(found.octaves, name) for found in (whole, cut)]
        assert np.allclose(*same, rtol=1e-5, atol=1e-12)
    assert str(whole.room) == str(cut.room)


def test_levels_can_be_left_out() -> None:
    signal = tone()[:, None].astype(np.float32)
    meters = [StemMeter(RATE, 1, levels) for levels in (True, False)]
    for meter in meters:
        meter.add(signal)
    full, brief = (meter.figures for meter in meters)
    assert np.isnan([brief.integrated_lufs, brief.true_peak_dbtp]).all() and brief.octaves is None
    assert (brief.audio_hash, brief.sample_peak_dbfs) == (full.audio_hash, full.sample_peak_dbfs)
    assert str(brief.room) == str(full.room)
    assert full.integrated_lufs < -8.0 and full.octaves is not None


def test_nothing_at_all() -> None:
    found = StemMeter(RATE, 2).figures
    assert found.silent and not found.cut_off
    assert found.frames == found.leading_silence == found.trailing_silence == 0
    assert stem_warnings(StemInspection("a", RATE, 2, 24, "PCM_24", None, found))
