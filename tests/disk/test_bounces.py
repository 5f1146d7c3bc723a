"""Bounces: exact files, complete or absent, and nothing clipped in silence."""

from __future__ import annotations

import hashlib
import os
import resource
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from seatwright.disk.bounces import TEMPORARY_PREFIX, BounceWriter, clashes, output_name
from seatwright.disk.riff import Broadcast, read_layout
from seatwright.disk.stems import inspect_stem, verify_stem
from seatwright.errors import DiskError, RenderError, SceneError

FRAMES = 40_001
NOISE = np.random.default_rng(31).uniform(-0.7, 0.7, (FRAMES, 2)).astype(np.float32)
PCM_KINDS = [("a.wav", "PCM_24"), ("a.flac", "PCM_24"), ("a.wav", "PCM_16"), ("a.flac", "PCM_16")]
KINDS = [*PCM_KINDS, ("a.wav", "FLOAT")]


def bounce(path: Path, encoding: str, samples: np.ndarray = NOISE, **more: object) -> BounceWriter:
    with BounceWriter(path, 48_000, samples.shape[1], encoding, len(samples), **more) as writer:
        writer.write(samples)
    return writer


def rounded(samples: np.ndarray, bits: int) -> np.ndarray:
    return np.rint(samples.astype(np.float64) * 2 ** (bits - 1)).astype(np.int64)


def integers_in(path: Path, bits: int) -> np.ndarray:
    return soundfile.read(path, dtype="int32", always_2d=True)[0].astype(np.int64) >> (32 - bits)


@pytest.mark.parametrize(("name", "encoding"), PCM_KINDS)
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_pcm_holds_the_rounded_samples(
    tmp_path: Path, name: str, encoding: str, channels: int, kind: type
) -> None:
    samples = NOISE[:, :channels].astype(kind)
    writer = bounce(tmp_path / name, encoding, samples, dither_seed=None)
    bits = int(encoding[-2:])
    assert np.array_equal(integers_in(tmp_path / name, bits), rounded(samples, bits))
    info = soundfile.info(tmp_path / name)
    assert (info.samplerate, info.subtype, info.frames) == (48_000, encoding, FRAMES)
    assert writer.peak == float(np.abs(samples).max())
    stem, warnings = inspect_stem(tmp_path / name)
    verify_stem(stem)
    assert warnings == []


def test_24_bits_are_not_dithered(tmp_path: Path) -> None:
    bounce(tmp_path / "a.wav", "PCM_24", dither_seed=5)
    assert np.array_equal(integers_in(tmp_path / "a.wav", 24), rounded(NOISE, 24))


def test_float_holds_the_samples(tmp_path: Path) -> None:
    samples = NOISE * np.float32(4)
    bounce(tmp_path / "a.wav", "FLOAT", samples)
    found, rate = soundfile.read(tmp_path / "a.wav", dtype="float32")
    assert rate == 48_000
    assert np.array_equal(found, samples)


def test_16_bit_dither_is_seeded_and_has_the_right_power(tmp_path: Path) -> None:
    """Error of rounding with triangular dither: 3/12 of a step squared; five standard errors."""
    for name, seed in (("a.wav", 1), ("b.wav", 1), ("c.wav", 2)):
        bounce(tmp_path / name, "PCM_16", dither_seed=seed)
    first, again, other = ((tmp_path / f"{n}.wav").read_bytes() for n in "abc")
    assert first == again
    assert first != other
    error = integers_in(tmp_path / "a.wav", 16) - NOISE.astype(np.float64) * 2**15
    assert abs(error.mean()) < 5 * np.sqrt(0.25 / error.size)
    assert abs(error.var() - 0.25) < 5 * np.sqrt((1.5**2 / 4 - 0.25**2) / error.size)


@pytest.mark.parametrize(("name", "encoding"), KINDS)
@pytest.mark.parametrize("size", [1, 997, 16_384, 30_000])
def test_cuts_change_no_byte(tmp_path: Path, name: str, encoding: str, size: int) -> None:
    samples = NOISE[: size * 40]
    whole = bounce(tmp_path / f"whole{name}", encoding, samples)
    with BounceWriter(tmp_path / name, 48_000, 2, encoding, len(samples)) as writer:
        for start in range(0, len(samples), size):
            writer.write(samples[start : start + size])
    assert (tmp_path / name).read_bytes() == (tmp_path / f"whole{name}").read_bytes()
    assert writer.sha256 == whole.sha256


@pytest.mark.parametrize(("name", "encoding"), KINDS)
def test_hash_is_that_of_the_file(tmp_path: Path, name: str, encoding: str) -> None:
    writer = bounce(tmp_path / name, encoding, NOISE[:, :1])
    assert writer.sha256 == hashlib.sha256((tmp_path / name).read_bytes()).hexdigest()


def test_odd_audio_is_padded(tmp_path: Path) -> None:
    bounce(tmp_path / "a.wav", "PCM_24", NOISE[:3, :1])
    layout = read_layout(tmp_path / "a.wav")
    assert layout.data_bytes_present == 9
    assert (tmp_path / "a.wav").stat().st_size == layout.data_offset + 10


def test_broadcast_extension(tmp_path: Path) -> None:
    signed = Broadcast(description="Violas", time_reference=2**40)
    assert bounce(tmp_path / "a.wav", "PCM_24", broadcast=signed).carries_broadcast
    assert read_layout(tmp_path / "a.wav").broadcast == signed
    assert not bounce(tmp_path / "a.flac", "PCM_24", broadcast=signed).carries_broadcast


@pytest.mark.parametrize(("name", "encoding"), KINDS)
@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_numbers_that_are_no_sound(tmp_path: Path, name: str, encoding: str, value: float) -> None:
    samples = NOISE.copy()
    samples[24_000, 1] = samples[24_001, 0] = value
    said = rf"{name}: sample {value} at 0\.500000 s \(frame 24000\), channel 2"
    with pytest.raises(RenderError, match=said):
        bounce(tmp_path / name, encoding, samples)
    assert list(tmp_path.iterdir()) == []


def test_float64_beyond_float32_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RenderError, match=r"sample 1e\+39 at 0\.0"):
        bounce(tmp_path / "a.wav", "FLOAT", np.full((4, 1), 1e39))


@pytest.mark.parametrize(("name", "encoding"), PCM_KINDS)
def test_overs_are_counted_and_refused(tmp_path: Path, name: str, encoding: str) -> None:
    samples = np.zeros((FRAMES, 2), np.float32)
    samples[[5, 30_000, 40_000], [0, 1, 0]] = [1.5, -2.0, 1.25]
    writer = BounceWriter(tmp_path / name, 48_000, 2, encoding, FRAMES)
    writer.write(samples)
    assert (writer.overs, writer.peak) == (3, 2.0)
    with pytest.raises(RenderError, match=r"3 samples over full scale, peak \+6\.02 dBFS"):
        writer.close()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("name", "encoding"), KINDS)
def test_missing_frames_are_refused(tmp_path: Path, name: str, encoding: str) -> None:
    writer = BounceWriter(tmp_path / name, 48_000, 2, encoding, FRAMES)
    writer.write(NOISE[:-1])
    with pytest.raises(RenderError, match="40000 frames written, expected 40001"):
        writer.commit()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("block", "said"),
    [
        (NOISE[:, :1], r"block of shape \(40001, 1\), expected \(n, 2\)"),
        (NOISE[:, 0], r"block of shape \(40001,\), expected \(n, 2\)"),
        (NOISE.astype(np.int16), "block of int16, expected float32 or float64"),
        (np.tile(NOISE, (2, 1)), "80002 frames given, expected 40001"),
    ],
)
def test_wrong_blocks_are_refused(tmp_path: Path, block: np.ndarray, said: str) -> None:
    writer = BounceWriter(tmp_path / "a.wav", 48_000, 2, "PCM_24", FRAMES)
    with pytest.raises(RenderError, match=said):
        writer.write(block)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "encoding", "said"),
    [
        ("a.mp3", "PCM_24", r'expected suffix \.wav or \.flac, found "\.mp3"'),
        ("a", "PCM_24", "found none"),
        ("a.wav", "PCM_8", "expected encoding PCM_16, PCM_24, FLOAT, found PCM_8"),
        ("a.flac", "FLOAT", "FLAC holds no float samples, expected PCM_16 or PCM_24"),
    ],
)
def test_kinds_that_do_not_exist(tmp_path: Path, name: str, encoding: str, said: str) -> None:
    with pytest.raises(SceneError, match=said):
        BounceWriter(tmp_path / name, 48_000, 2, encoding, FRAMES)
    assert list(tmp_path.iterdir()) == []


def test_an_empty_bounce_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RenderError, match="0 frames to write, expected at least 1"):
        BounceWriter(tmp_path / "a.wav", 48_000, 2, "PCM_24", 0)


@pytest.mark.parametrize(("name", "encoding"), KINDS)
def test_older_file_stays_until_the_commit(tmp_path: Path, name: str, encoding: str) -> None:
    path = tmp_path / name
    path.write_bytes(b"older")
    writer = BounceWriter(path, 48_000, 2, encoding, FRAMES)
    writer.write(NOISE)
    writer.close()
    writer.close()
    assert path.read_bytes() == b"older"
    (temporary,) = set(tmp_path.iterdir()) - {path}
    assert temporary.name.startswith(TEMPORARY_PREFIX)
    assert hashlib.sha256(temporary.read_bytes()).hexdigest() == writer.sha256
    writer.commit()
    writer.commit()
    writer.abort()
    assert list(tmp_path.iterdir()) == [path]
    assert hashlib.sha256(path.read_bytes()).hexdigest() == writer.sha256


@pytest.mark.parametrize("closed", [False, True])
@pytest.mark.parametrize(("name", "encoding"), KINDS)
def test_abort_leaves_the_older_file(
    tmp_path: Path, name: str, encoding: str, closed: bool
) -> None:
    path = tmp_path / name
    path.write_bytes(b"older")
    before = len(list(Path("/proc/self/fd").iterdir()))
    with pytest.raises(KeyboardInterrupt), BounceWriter(path, 48_000, 2, encoding, 9) as writer:
        writer.write(NOISE[:9])
        if closed:
            writer.close()
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == [path]
    assert path.read_bytes() == b"older"
    assert len(list(Path("/proc/self/fd").iterdir())) == before
    with pytest.raises(RenderError, match="this one is aborted"):
        writer.write(NOISE[:1])
    with pytest.raises(RenderError, match="this one is aborted"):
        writer.commit()


def test_file_is_flushed_before_it_gets_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    events = []
    sync, replace = os.fsync, Path.replace

    def noted_sync(handle: int) -> None:
        events.append(Path(f"/proc/self/fd/{handle}").readlink().name)
        sync(handle)

    def noted_replace(source: Path, target: Path) -> Path:
        events.append("replace")
        return replace(source, target)

    monkeypatch.setattr(os, "fsync", noted_sync)
    monkeypatch.setattr(Path, "replace", noted_replace)
    bounce(tmp_path / "a.wav", "PCM_24")
    assert events[0].startswith(TEMPORARY_PREFIX)
    assert events[1:] == ["replace", tmp_path.name]


@contextmanager
def largest_file(size: int) -> Iterator[None]:
    """Let the kernel refuse longer files, as a full disk would (EFBIG)."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize(("name", "encoding"), KINDS)
@pytest.mark.parametrize("size", [0, 10, 30_000, 60_000])
def test_disk_that_refuses(tmp_path: Path, name: str, encoding: str, size: int) -> None:
    (tmp_path / name).write_bytes(b"older")
    before = len(list(Path("/proc/self/fd").iterdir()))
    with (
        largest_file(size),
        pytest.raises(DiskError, match="cannot be written: File too large") as e,
    ):
        bounce(tmp_path / name, encoding)
    assert e.value.faults[0].file == str(tmp_path / name)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_bytes() == b"older"
    assert len(list(Path("/proc/self/fd").iterdir())) == before


@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
def test_disk_that_refuses_the_last_bytes(tmp_path: Path, name: str) -> None:
    bounce(tmp_path / name, "PCM_16")
    size = (tmp_path / name).stat().st_size
    (tmp_path / name).unlink()
    with largest_file(size - 1), pytest.raises(DiskError, match="File too large"):
        bounce(tmp_path / name, "PCM_16")
    assert list(tmp_path.iterdir()) == []


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(DiskError, match="No such file or directory"):
        bounce(tmp_path / "gone" / "a.wav", "PCM_24")
    (tmp_path / "a.wav").mkdir()
    with pytest.raises(DiskError, match="a folder has this name"):
        bounce(tmp_path / "a.wav", "PCM_24")
    with pytest.raises(DiskError, match="File name too long"):
        bounce(tmp_path / ("n" * 300 + ".wav"), "PCM_24")
    assert [path.name for path in tmp_path.iterdir()] == ["a.wav"]


def test_new_files_heed_the_umask(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        bounce(tmp_path / "a.wav", "PCM_24")
    finally:
        os.umask(before)
    assert (tmp_path / "a.wav").stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Violins 1", "Violins 1"),
        ("Große Trommel", "Große Trommel"),
        ("Cafe\u0301", "Caf\u00e9"),
        ("第一小提琴", "第一小提琴"),
        ("../../etc/passwd", "___.._etc_passwd"),
        (".hidden", "_hidden"),
        ("-dash", "-dash"),
        ('a<b>c:d"e|f?g*h\\i/j', "a_b_c_d_e_f_g_h_i_j"),
        ("line\nbreak\x00\x7f", "line_break__"),
        ("turned \u202egnp", "turned _gnp"),
        ("dots... ", "dots"),
        ("con", "_con"),
        ("Aux.left", "_Aux.left"),
        ("nul .left", "_nul .left"),
        ("CON." + "x" * 200, "_CON." + "x" * 115),
        ("LPT\u00b9", "_LPT\u00b9"),
        ("console", "console"),
        ("", "unnamed"),
        ("   ", "unnamed"),
        ("é" * 70, "é" * 60),
        ("x" * 119 + "é", "x" * 119),
        ("CON" + " " * 130 + "x", "_CON"),
    ],
)
def test_output_names(text: str, name: str) -> None:
    assert output_name(text) == name


@given(st.text(max_size=150))
def test_any_text_gives_a_name_a_disk_takes(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    name = output_name(text)
    assert 1 <= len(name.encode("utf-8")) <= 120
    assert output_name(name) == name
    assert unicodedata.is_normalized("NFC", name)
    assert not set(name) & set('/\\<>:"|?*')
    assert not any(unicodedata.category(letter) in ("Cc", "Cs") for letter in name)
    assert name[0] != "."
    assert name[-1] not in ". "
    path = tmp_path_factory.getbasetemp() / name
    path.touch()
    path.unlink()


def test_clashes() -> None:
    names = ["Violas", "Tuba", "violas", "Straße", "STRASSE", "Caf\u00e9", "cafe\u0301", "Tuba"]
    assert clashes(names) == [
        ("Violas", "violas"),
        ("Straße", "STRASSE"),
        ("Caf\u00e9", "cafe\u0301"),
        ("Tuba", "Tuba"),
    ]
    assert clashes(["Violins 1", "Violins 2", "Horn"]) == []
