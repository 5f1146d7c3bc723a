"""Inspecting stems: one small broken file per mistake, each with its message."""

from __future__ import annotations

import hashlib
import os
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seatwright.disk.riff import Broadcast, wav_header
from seatwright.disk.stems import (
    StemReader,
    content_hash,
    inspect_stem,
    inspect_stems,
    scan_floats,
    verify_stem,
)
from seatwright.errors import StemError

RATE, FRAMES = 48_000, 4_800
NOISE = np.random.default_rng(11).uniform(-0.5, 0.5, (FRAMES, 2))


def make(
    path: Path, subtype: str = "PCM_24", samples: np.ndarray = NOISE, rate: int = RATE
) -> Path:
    soundfile.write(path, samples, rate, subtype)
    return path


def with_size(path: Path, size: int) -> Path:
    """Overwrite the length that a 44-byte WAV header states."""
    content = bytearray(path.read_bytes())
    assert content[36:40] == b"data"
    content[40:44] = struct.pack("<I", size)
    path.write_bytes(content)
    return path


def cut(path: Path, bytes_off: int) -> Path:
    path.write_bytes(path.read_bytes()[:-bytes_off])
    return path


def faults_of(path: Path, allow_truncated: bool = False) -> list[str]:
    with pytest.raises(StemError) as caught:
        inspect_stem(path, allow_truncated=allow_truncated)
    assert all(fault.file == str(path) for fault in caught.value.faults)
    return [fault.what for fault in caught.value.faults]


def warnings_of(path: Path, allow_truncated: bool = False) -> list[str]:
    _, warnings = inspect_stem(path, allow_truncated=allow_truncated)
    assert all(fault.file == str(path) for fault in warnings)
    return [fault.what for fault in warnings]


@pytest.mark.parametrize("name", ["a.wav", "a.flac", "a.WAV", "-dash é.wav", "a.raw"])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
def test_good_stems(tmp_path: Path, name: str, subtype: str) -> None:
    kind = "FLAC" if name.endswith("flac") else "WAV"
    path = tmp_path / name
    soundfile.write(path, NOISE, RATE, subtype, format=kind)
    stem, warnings = inspect_stem(path)
    assert (stem.path, stem.rate, stem.channels) == (path, RATE, 2)
    assert (stem.frames, stem.encoding, stem.seconds) == (FRAMES, subtype, 0.1)
    assert (stem.broadcast, warnings) == (None, [])


@pytest.mark.parametrize("subtype", ["PCM_32", "FLOAT", "DOUBLE"])
@pytest.mark.parametrize("kind", ["WAV", "WAVEX", "RF64"])
def test_other_encodings_are_accepted(tmp_path: Path, subtype: str, kind: str) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, NOISE, RATE, subtype, format=kind)
    stem, warnings = inspect_stem(path)
    assert (stem.frames, stem.encoding, warnings) == (FRAMES, subtype, [])


def test_broadcast_extension_is_kept(tmp_path: Path) -> None:
    signed = Broadcast(originator="Harbour", time_reference=2**33)
    path = tmp_path / "a.wav"
    path.write_bytes(wav_header(RATE, 1, "PCM_16", 4, signed) + bytes(8))
    assert inspect_stem(path)[0].broadcast == signed


def test_truncated(tmp_path: Path) -> None:
    path = cut(make(tmp_path / "a.wav"), 6 * 1_200)
    said = "truncated: found 0.075 s (3600 frames), expected 0.100 s (4800 frames)"
    assert faults_of(path) == [said]
    assert warnings_of(path, allow_truncated=True) == [said]
    assert inspect_stem(path, allow_truncated=True)[0].frames == 3_600


def test_cut_inside_a_frame(tmp_path: Path) -> None:
    path = cut(make(tmp_path / "a.wav"), 2)
    said = "truncated: found 0.100 s (4799 frames), expected 0.100 s (4800 frames)"
    assert faults_of(path) == [said]
    assert inspect_stem(path, allow_truncated=True)[0].frames == FRAMES - 1


def test_declared_length_inside_a_frame(tmp_path: Path) -> None:
    path = with_size(cut(make(tmp_path / "a.wav"), 2), 6 * FRAMES - 2)
    assert faults_of(path) == [
        "cut inside a frame: found 0.100 s (4799 frames) and 4 bytes,"
        " expected a multiple of 6 bytes"
    ]
    stem, warnings = inspect_stem(path, allow_truncated=True)
    assert (stem.frames, len(warnings)) == (FRAMES - 1, 1)


@pytest.mark.parametrize("size", [0xFFFFFFFF, 0xFFFFF000, 0x7FFFF000, 0x7FFFEFFC, 0x80000000])
@pytest.mark.parametrize("off", [0, 5])
def test_placeholder_length_uses_the_file(tmp_path: Path, size: int, off: int) -> None:
    path = make(tmp_path / "a.wav")
    path = with_size(cut(path, off) if off else path, size)
    stem, warnings = inspect_stem(path)
    assert stem.frames == (FRAMES - 1 if off else FRAMES)
    assert "length never written into the header" in warnings[0].what
    assert f"({stem.frames} frames)" in warnings[0].what
    verify_stem(stem)
    with soundfile.SoundFile(path) as file:
        assert len(file.read()) == stem.frames


def rf64(ds64_bytes: int, field: int) -> bytes:
    """24-bit stereo of 100 frames whose two statements of length need not agree."""
    ds64 = b"ds64" + struct.pack("<IQQQI", 28, 72 + ds64_bytes, ds64_bytes, 0, 0)
    fmt = b"fmt " + struct.pack("<IHHIIHH", 16, 1, 2, RATE, 6 * RATE, 6, 24)
    start = b"RF64\xff\xff\xff\xffWAVE" + ds64 + fmt
    return start + b"data" + struct.pack("<I", field) + b"\x01" * 600


def test_rf64_lengths(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(rf64(600, 0xFFFFFFFF))
    assert inspect_stem(path)[0].frames == 100
    path.write_bytes(rf64(900, 0xFFFFFFFF))
    said = "truncated: found 0.002 s (100 frames), expected 0.003 s (150 frames)"
    assert faults_of(path) == [said]
    path.write_bytes(rf64(0, 0xFFFFFFFF))
    assert "never finalised" in faults_of(path)[0]
    path.write_bytes(rf64(2**62, 0xFFFFFFFF))
    assert "length never written" in warnings_of(path)[0]
    path.write_bytes(rf64(300, 600))
    assert faults_of(path) == ["the decoder finds 50 frames, the file holds 100"]


def test_large_but_plain_length_is_truncation(tmp_path: Path) -> None:
    path = with_size(make(tmp_path / "a.wav"), 6 * 10**8)
    assert faults_of(path)[0].startswith(
        "truncated: found 0.100 s (4800 frames), expected 2083.333 s"
    )


def test_never_finalised(tmp_path: Path) -> None:
    path = with_size(make(tmp_path / "a.wav"), 0)
    said = "never finalised: the header says 0 frames, 0.100 s (4800 frames) of audio follow"
    assert faults_of(path) == [said]
    assert faults_of(path, allow_truncated=True) == [said]


def test_header_too_small(tmp_path: Path) -> None:
    path = with_size(make(tmp_path / "a.wav"), 6 * 1_000)
    assert warnings_of(path) == [
        "22800 bytes (0.079 s (3800 frames)) after the declared end are left out"
    ]
    assert inspect_stem(path)[0].frames == 1_000


def test_chunks_after_the_audio_are_no_fault(tmp_path: Path) -> None:
    path = make(tmp_path / "a.wav")
    path.write_bytes(path.read_bytes() + b"LIST\x04\0\0\0INFO" + b"id3 \x02\0\0\0ab")
    assert warnings_of(path) == []


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty file: 0 bytes"),
        (b"Violas, take 3\n" * 9, "expected WAV, FLAC or AIFF, found text"),
        ("Bratschen: zweite Hälfte übt".encode(), "expected WAV, FLAC or AIFF, found text"),
        (bytes(100), "expected WAV, FLAC or AIFF, found no audio header"),
        (b"FORM\0\0\0\x008SVX", "expected WAV, FLAC or AIFF, found another kind of IFF file"),
        (b"OggS" + bytes(40), "expected WAV, FLAC or AIFF, found an Ogg file"),
        (b"ID3\x04" + bytes(40), "expected WAV, FLAC or AIFF, found an MP3 or tagged file"),
        (b"RIFF\0\0\0\0AVI LIST" + bytes(8), "expected WAV, FLAC or AIFF, found no audio header"),
        (b"RIFF\x04\0\0\0WAVE", "header only: no data chunk in the file's 12 bytes"),
    ],
)
def test_files_that_are_no_stems(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(content)
    assert faults_of(path) == [said]


def test_folder_named_like_a_stem(tmp_path: Path) -> None:
    (tmp_path / "a.wav").mkdir()
    assert faults_of(tmp_path / "a.wav") == ["expected a stem, found a folder"]


def test_header_only(tmp_path: Path) -> None:
    path = cut(make(tmp_path / "a.wav"), 6 * FRAMES)
    said = "header only: 0 frames follow, expected 0.100 s (4800 frames)"
    assert faults_of(path) == faults_of(path, allow_truncated=True) == [said]
    assert faults_of(with_size(path, 0xFFFFFFFF)) == ["header only: 0 frames follow"]


@pytest.mark.parametrize("after", [b"", b"LIST\x04\0\0\0INFO"])
def test_zero_frames(tmp_path: Path, after: bytes) -> None:
    path = make(tmp_path / "a.wav", samples=NOISE[:0])
    path.write_bytes(path.read_bytes() + after)
    assert faults_of(path) == ["no audio: 0 frames"]


def test_missing_file_names_the_closest(tmp_path: Path) -> None:
    for name in ("Violas.wav", "Violins 1.wav", "Tuba.wav"):
        make(tmp_path / name)
    with pytest.raises(StemError) as caught:
        inspect_stem(tmp_path / "viola.WAV")
    (fault,) = caught.value.faults
    assert fault.what == "no such file"
    assert fault.hint.startswith('did you mean "Violas.wav"')
    assert "Tuba" not in fault.hint
    with pytest.raises(StemError) as caught:
        inspect_stem(tmp_path / "zzz.xyz")
    assert caught.value.faults[0].hint == ""


def test_missing_folder_and_broken_link(tmp_path: Path) -> None:
    assert "nor can its folder be read" in faults_of(tmp_path / "gone" / "a.wav")[0]
    (tmp_path / "link.wav").symlink_to("nowhere.wav")
    assert faults_of(tmp_path / "link.wav") == ["link to a missing file: nowhere.wav"]
    assert faults_of(Path("a\0b.wav")) == ["file name holds a NUL character"]


def test_pipe_and_device_never_block(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.wav")
    said = "expected a regular file, found a pipe, socket or device"
    for path in (tmp_path / "a.wav", Path("/dev/zero")):
        assert faults_of(path) == [said]
        with pytest.raises(StemError, match="found a pipe"):
            content_hash(path)


@pytest.mark.parametrize(("subtype", "name"), [("PCM_U8", "a.wav"), ("PCM_S8", "a.flac")])
def test_8_bits_are_warned_of(tmp_path: Path, subtype: str, name: str) -> None:
    path = make(tmp_path / name, subtype)
    assert warnings_of(path) == ["8 bits a sample: its noise will be heard"]


@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
def test_too_many_channels_name_the_choice(tmp_path: Path, name: str) -> None:
    path = make(tmp_path / name, samples=np.zeros((10, 6)))
    with pytest.raises(StemError, match="6 channels, expected 1 or 2") as caught:
        inspect_stem(path)
    hint = caught.value.faults[0].hint
    assert hint == "split it into mono or stereo stems, or export it as mono or stereo"


@pytest.mark.parametrize(("rate", "good"), [(7_999, 0), (8_000, 1), (384_000, 1), (384_010, 0)])
@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
def test_rates(tmp_path: Path, rate: int, good: int, name: str) -> None:
    path = make(tmp_path / name, rate=rate)
    if good:
        assert inspect_stem(path)[0].rate == rate
    else:
        assert faults_of(path) == [f"rate of {rate} Hz, expected 8000 to 384000 Hz"]


AIFF_KINDS = [
    ("PCM_S8", None, b"AIFF"),
    ("PCM_16", None, b"AIFF"),
    ("PCM_24", None, b"AIFF"),
    ("PCM_32", None, b"AIFF"),
    ("PCM_U8", None, b"raw "),
    ("PCM_16", "LITTLE", b"sowt"),
    ("PCM_24", "LITTLE", b"42n1"),
    ("PCM_32", "LITTLE", b"23ni"),
    ("FLOAT", None, b"FL32"),
    ("DOUBLE", None, b"FL64"),
]


def make_aiff(
    path: Path,
    subtype: str = "PCM_24",
    samples: np.ndarray = NOISE,
    rate: int = RATE,
    endian: str | None = None,
) -> Path:
    soundfile.write(path, samples, rate, subtype, endian, "AIFF")
    return path


def altered(path: Path, mark: bytes, behind: int, value: bytes) -> Path:
    """Overwrite bytes that stand a number of bytes behind the name of a chunk."""
    content = bytearray(path.read_bytes())
    place = content.index(mark) + behind
    content[place : place + len(value)] = value
    path.write_bytes(content)
    return path


@pytest.mark.parametrize(("subtype", "endian", "mark"), AIFF_KINDS)
@pytest.mark.parametrize(("channels", "frames"), [(1, 4_798), (2, FRAMES)])
def test_aiff_is_read_like_wav(
    tmp_path: Path, subtype: str, endian: str | None, mark: bytes, channels: int, frames: int
) -> None:
    samples = NOISE[:frames, :channels]
    path = make_aiff(tmp_path / "a.aif", subtype, samples, 44_100, endian)
    assert mark in path.read_bytes()[:60]
    stem, warnings = inspect_stem(path)
    assert (stem.rate, stem.channels, stem.frames) == (44_100, channels, frames)
    assert (stem.encoding, stem.broadcast) == (subtype, None)
    assert len(warnings) == subtype.endswith("8")
    twin = make(tmp_path / "a.wav", subtype.replace("S8", "U8"), samples, 44_100)
    with StemReader(stem, 44_100) as reader, StemReader(inspect_stem(twin)[0], 44_100) as wav:
        assert np.array_equal(reader.read(0, frames), wav.read(0, frames))
    verify_stem(stem)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("odd", [0, 1])
def test_truncated_aiff(tmp_path: Path, subtype: str, odd: int) -> None:
    path = make_aiff(tmp_path / "a.aiff", subtype)
    frame_bytes = 2 * {"PCM_16": 2, "PCM_24": 3, "FLOAT": 4}[subtype]
    cut(path, 1_200 * frame_bytes - odd)
    said = "truncated: found 0.075 s (3600 frames), expected 0.100 s (4800 frames)"
    assert faults_of(path) == [said]
    assert warnings_of(path, allow_truncated=True) == [said]
    stem, _ = inspect_stem(path, allow_truncated=True)
    assert stem.frames == 3_600
    with StemReader(stem, RATE) as reader:
        assert np.abs(reader.read(0, 3_600) - NOISE[:3_600]).max() < 2**-15


def test_aiff_that_declares_more_than_its_chunk(tmp_path: Path) -> None:
    path = altered(make_aiff(tmp_path / "a.aif"), b"COMM", 10, struct.pack(">I", 9_600))
    said = "truncated: found 0.100 s (4800 frames), expected 0.200 s (9600 frames)"
    assert faults_of(path) == [said]


def test_aiff_that_declares_less_than_its_chunk(tmp_path: Path) -> None:
    path = altered(make_aiff(tmp_path / "a.aif"), b"COMM", 10, struct.pack(">I", 4_000))
    assert warnings_of(path) == ["0.017 s (800 frames) after the declared end are left out"]
    assert inspect_stem(path)[0].frames == 4_000


def test_aiff_without_audio(tmp_path: Path) -> None:
    path = altered(make_aiff(tmp_path / "a.aif"), b"COMM", 10, bytes(4))
    never = "never finalised: the header says 0 {}, 0.100 s (4800 frames) {}follow"
    assert faults_of(path) == [never.format("frames", "of audio ")]
    path = altered(make_aiff(tmp_path / "a.aif"), b"SSND", 4, struct.pack(">I", 8))
    assert faults_of(path) == [never.format("bytes of audio", "")]
    empty = make_aiff(tmp_path / "b.aif", samples=NOISE[:0])
    assert faults_of(empty)[0] == "no audio: 0 frames"
    said = "header only: 0 frames follow, expected 0.100 s (4800 frames)"
    assert faults_of(cut(make_aiff(tmp_path / "c.aif"), 6 * FRAMES)) == [said]
    for name, wanted in ((b"SSND", "no SSND chunk"), (b"COMM", "no COMM chunk")):
        path = altered(make_aiff(tmp_path / "d.aif"), name, 0, b"JUNK")
        assert wanted in faults_of(path)[0]


@pytest.mark.parametrize(
    ("place", "value", "said"),
    [
        (8, b"\0\6", "6 channels, expected 1 or 2"),
        (14, b"\0\x14", "20 bits a sample, expected 8, 16, 24, 32 for this kind"),
        (16, b"\x40\x0b\xfa\0", "rate of 8000 Hz"),
        (16, b"\x40\x0b\xf9\0", "rate of 7968 Hz, expected 8000 to 384000 Hz"),
        (16, b"\x40\x0e\xbb\x80\x80", "rate of 48000.5 Hz, expected a whole number"),
        (16, b"\x7f\xff\xff", "rate of 0 Hz, expected 8000 to 384000 Hz"),
        (16, b"\xc0\x0e", "rate of 0 Hz, expected 8000 to 384000 Hz"),
    ],
)
def test_formats_of_aiff(tmp_path: Path, place: int, value: bytes, said: str) -> None:
    path = altered(make_aiff(tmp_path / "a.aif"), b"COMM", place, value)
    if said == "rate of 8000 Hz":
        assert inspect_stem(path)[0].rate == 8_000
    else:
        assert said in faults_of(path)


@pytest.mark.parametrize("subtype", ["ULAW", "ALAW", "GSM610", "IMA_ADPCM"])
def test_compressed_aiff_is_refused(tmp_path: Path, subtype: str) -> None:
    path = make_aiff(tmp_path / "a.aifc", subtype, NOISE[:, :1])
    (said,) = faults_of(path)
    assert said.startswith('compressed as AIFF-C "')


def test_aiff_with_other_chunks_and_an_offset(tmp_path: Path) -> None:
    whole = make_aiff(tmp_path / "a.aif", "PCM_16").read_bytes()
    common, sound = whole.index(b"COMM"), whole.index(b"SSND")
    words = b"ANNO" + struct.pack(">I", 5) + b"oboe\0\0"
    audio = b"SSND" + struct.pack(">III", 8 + 10 + 4 * FRAMES, 10, 0) + bytes(10)
    body = b"AIFF" + words + whole[common:sound] + audio + whole[sound + 16 :] + words
    path = tmp_path / "b.aif"
    path.write_bytes(b"FORM" + struct.pack(">I", len(body)) + body)
    stem, warnings = inspect_stem(path)
    assert (stem.frames, warnings) == (FRAMES, [])
    with StemReader(stem, RATE) as reader:
        assert np.abs(reader.read(0, FRAMES) - NOISE).max() < 2**-15


@given(data=st.data())
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_damage_to_an_aiff_header_is_an_error_or_does_no_harm(
    tmp_path: Path, data: st.DataObject
) -> None:
    content = bytearray(make_aiff(tmp_path / "a.aif", "PCM_16", NOISE[:50]).read_bytes())
    for _ in range(data.draw(st.integers(1, 3))):
        content[data.draw(st.integers(0, 53))] = data.draw(st.integers(0, 255))
    path = tmp_path / "b.aif"
    path.write_bytes(content[: data.draw(st.integers(20, len(content)))])
    try:
        stem, _ = inspect_stem(path)
    except StemError:
        return
    with StemReader(stem, stem.rate) as reader:
        assert reader.read(0, stem.frames).shape == (stem.frames, stem.channels)


def test_compressed_wav_is_refused(tmp_path: Path) -> None:
    path = make(tmp_path / "a.wav", "MS_ADPCM")
    assert faults_of(path) == ["coded as WAV format 0x0002, expected PCM (1) or float (3)"]


@pytest.mark.parametrize(
    ("place", "value", "said"),
    [
        (34, 20, "20 bits a sample, expected 8, 16, 24, 32 for this kind"),
        (32, 8, "8 bytes a frame, expected 6"),
        (22, 0, "0 channels, expected 1 or 2"),
    ],
)
def test_contradicting_format(tmp_path: Path, place: int, value: int, said: str) -> None:
    path = make(tmp_path / "a.wav")
    content = bytearray(path.read_bytes())
    content[place : place + 2] = struct.pack("<H", value)
    path.write_bytes(content)
    assert said in faults_of(path)


@pytest.mark.parametrize("off", [1, 1_000])
def test_truncated_flac(tmp_path: Path, off: int) -> None:
    path = cut(make(tmp_path / "a.flac"), off)
    for allowed in (False, True):
        assert "decoder failed at 0.100 s (frame 4799)" in faults_of(path, allowed)[0]


def test_flac_without_a_length(tmp_path: Path) -> None:
    path = make(tmp_path / "a.flac")
    content = bytearray(path.read_bytes())
    content[21] &= 0xF0
    content[22:26] = bytes(4)
    path.write_bytes(content)
    assert "header states no length" in faults_of(path)[0]


@pytest.mark.parametrize("subtype", ["PCM_S8", "PCM_16", "PCM_24"])
@pytest.mark.parametrize("channels", [1, 2])
def test_whole_flac_is_verified(tmp_path: Path, subtype: str, channels: int) -> None:
    path = make(tmp_path / "a.flac", subtype, np.tile(NOISE, (8, 1))[:, :channels])
    stem, _ = inspect_stem(path)
    verify_stem(stem)
    content = bytearray(path.read_bytes())
    content[30] ^= 1  # of the checksum itself: proves that it is compared
    path.write_bytes(content)
    with pytest.raises(StemError, match="audio has checksum"):
        verify_stem(stem)
    content[26:42] = bytes(16)  # "not computed"
    path.write_bytes(content)
    verify_stem(stem)


def test_flipped_bit_in_flac_is_found_by_verifying(tmp_path: Path) -> None:
    path = make(tmp_path / "a.flac", samples=np.tile(NOISE, (8, 1)))
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 4
    path.write_bytes(content)
    with pytest.raises(StemError, match=r"decoder failed|audio has checksum"):
        verify_stem(inspect_stem(path)[0])


def test_flac_that_claims_to_be_shorter(tmp_path: Path) -> None:
    path = make(tmp_path / "a.flac")
    content = bytearray(path.read_bytes())
    content[24:26] = struct.pack(">H", 4_000)
    path.write_bytes(content)
    assert faults_of(path) == ["header says 4000 frames, the last one ends at 4800"]
    path.write_bytes(bytes(content) + b"TAG" + bytes(125))  # hides where the last frame ends
    with pytest.raises(StemError, match="audio has checksum"):
        verify_stem(inspect_stem(path)[0])


def test_flac_whose_header_has_another_rate(tmp_path: Path) -> None:
    path = make(tmp_path / "a.flac")
    content = bytearray(path.read_bytes())
    content[18:20] = struct.pack(">H", 44_100 >> 4)
    content[20] = (44_100 & 15) << 4 | content[20] & 15
    path.write_bytes(content)
    assert faults_of(path) == ["header says 44100 Hz, its frames 48000 Hz"]


def test_all_faults_of_all_stems_at_once(tmp_path: Path) -> None:
    good = make(tmp_path / "good.wav", "PCM_U8")
    short = cut(make(tmp_path / "short.wav"), 600)
    wide = make(tmp_path / "wide.wav", samples=np.zeros((9, 3)), rate=4_000)
    gone = tmp_path / "gone.wav"
    with pytest.raises(StemError) as caught:
        inspect_stems([good, short, wide, gone, short])
    names = [Path(fault.file).name for fault in caught.value.faults]
    assert names == ["short.wav", "wide.wav", "wide.wav", "gone.wav"]
    stems, warnings = inspect_stems([good, short], allow_truncated=True)
    assert list(stems) == [good, short]
    assert [Path(fault.file).name for fault in warnings] == ["good.wav", "short.wav"]


@pytest.mark.parametrize(("value", "word"), [(np.nan, "nan"), (np.inf, "inf"), (-np.inf, "-inf")])
@pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE"])
def test_first_number_that_is_no_sound(
    tmp_path: Path, value: float, word: str, subtype: str
) -> None:
    samples = np.tile(NOISE, (8, 1))
    samples[24_000, 1] = samples[30_000, 0] = value
    stem, _ = inspect_stem(make(tmp_path / "a.wav", subtype, samples))
    said = rf"sample {word} at 0\.500000 s \(frame 24000\), channel 2, expected finite"
    with pytest.raises(StemError, match=said):
        scan_floats(stem)


def test_levels_of_float_stems(tmp_path: Path) -> None:
    samples = np.tile([[0.0, 0.003], [0.0, 0.001]], (9_000, 1))
    samples[17_000, 0] = -2.0
    stem, _ = inspect_stem(make(tmp_path / "a.wav", "FLOAT", samples))
    assert [fault.what for fault in scan_floats(stem)] == [
        "peak of +6.02 dBFS, over full scale; kept as it is",
        "constant offset of -54.0 dBFS in channel 2, expected below -60 dBFS",
    ]


def test_clean_stems_have_no_level_warnings(tmp_path: Path) -> None:
    samples = np.tile([[1.0, 0.0008], [-1.0, 0.0008]], (50, 1))
    assert scan_floats(inspect_stem(make(tmp_path / "a.wav", "FLOAT", samples))[0]) == []


def test_pcm_is_scanned_on_request(tmp_path: Path) -> None:
    stem, _ = inspect_stem(make(tmp_path / "a.wav", "PCM_16", np.full((50, 1), 0.25)))
    assert scan_floats(stem) == []
    (warning,) = scan_floats(stem, full=True)
    assert warning.what == "constant offset of -12.0 dBFS in channel 1, expected below -60 dBFS"


def test_content_hash_is_sha_256(tmp_path: Path) -> None:
    path = make(tmp_path / "a.wav")
    wanted = hashlib.sha256(path.read_bytes()).hexdigest()
    assert content_hash(path) == wanted
    printed = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout
    assert printed.split()[0] == wanted
    (tmp_path / "empty").touch()
    assert content_hash(tmp_path / "empty") == hashlib.sha256().hexdigest()


def test_inspecting_changes_nothing(tmp_path: Path) -> None:
    path = make(tmp_path / "a.wav", "FLOAT")
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    stem, _ = inspect_stem(path)
    verify_stem(stem)
    scan_floats(stem)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


def test_no_descriptor_is_left_open(tmp_path: Path) -> None:
    good, short = make(tmp_path / "a.flac"), cut(make(tmp_path / "b.flac"), 900)
    before = len(list(Path("/proc/self/fd").iterdir()))
    for _ in range(3):
        inspect_stem(good)
        faults_of(short)
    assert len(list(Path("/proc/self/fd").iterdir())) == before
