"""WAV headers: against libsndfile as an independent reader, and against hostile bytes."""

from __future__ import annotations

import os
import struct
import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from seatwright.disk.riff import (
    Broadcast,
    WavLayout,
    build_broadcast,
    parse_broadcast,
    read_layout,
    wav_header,
)
from seatwright.errors import RenderError, StemError

SIGNED = Broadcast(
    description="Violas, désk 1",
    originator="Harbour score",
    originator_reference="HB-0001",
    origination_date="2026-03-14",
    origination_time="10:20:30",
    time_reference=2**32 + 48_000,
    version=2,
    coding_history="A=PCM,F=48000,W=24,M=stereo\r\n",
    remainder=bytes(range(254)),
)
WIDTH = {"PCM_16": 2, "PCM_24": 3, "FLOAT": 4}


def chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + bytes(len(body) % 2)


def small_wav(audio: bytes = bytes(range(60)), before: bytes = b"", after: bytes = b"") -> bytes:
    """24-bit stereo at 48 kHz, put together here and not by the module under test."""
    fmt = chunk(b"fmt ", struct.pack("<HHIIHH", 1, 2, 48_000, 288_000, 6, 24))
    body = b"WAVE" + before + fmt + chunk(b"data", audio) + after
    return b"RIFF" + struct.pack("<I", len(body)) + body


def layout_of(tmp_path: Path, content: bytes) -> WavLayout:
    path = tmp_path / "stem.wav"
    path.write_bytes(content)
    return read_layout(path)


@pytest.mark.parametrize("encoding", ["PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("broadcast", [None, SIGNED, replace(SIGNED, coding_history="odd")])
def test_header_is_read_by_libsndfile(
    tmp_path: Path, encoding: str, channels: int, broadcast: Broadcast | None
) -> None:
    path = tmp_path / "out.wav"
    audio = np.random.default_rng(3).bytes(WIDTH[encoding] * channels * 40)
    header = wav_header(44_100, channels, encoding, 40, broadcast)
    path.write_bytes(header + audio)
    with soundfile.SoundFile(path) as file:
        seen = (file.samplerate, file.channels, file.subtype, file.frames)
        assert "should be" not in file.extra_info
    assert seen == (44_100, channels, encoding, 40)
    layout = read_layout(path)
    assert layout.data_offset == len(header)
    assert layout.data_bytes_declared == layout.data_bytes_present == len(audio)
    assert (layout.rate, layout.channels, layout.bits) == (44_100, channels, 8 * WIDTH[encoding])
    assert layout.block_align == channels * WIDTH[encoding]
    assert layout.format_tag == (3 if encoding == "FLOAT" else 1)
    assert (evened(broadcast), layout.trailing_bytes, layout.is_rf64) == (
        layout.broadcast,
        0,
        False,
    )


def evened(broadcast: Broadcast | None) -> Broadcast | None:
    """Give what is found in a file: a zero byte makes the coding history's length even."""
    if broadcast is None or len(broadcast.coding_history) % 2 == 0:
        return broadcast
    return replace(broadcast, coding_history=broadcast.coding_history + "\0")


def chunk_names(header: bytes) -> list[bytes]:
    names, place = [header[:4]], 12
    while place < len(header):
        names.append(header[place : place + 4])
        length = int.from_bytes(header[place + 4 : place + 8], "little")
        place += 8 + length + length % 2 if names[-1] != b"data" else len(header)
    return names


def test_chunks_stand_in_order() -> None:
    small = wav_header(48_000, 2, "FLOAT", 10, SIGNED)
    large = wav_header(48_000, 2, "FLOAT", 2**30, SIGNED)
    assert chunk_names(small) == [b"RIFF", b"JUNK", b"bext", b"fmt ", b"fact", b"data"]
    assert chunk_names(large) == [b"RF64", b"ds64", b"bext", b"fmt ", b"fact", b"data"]
    assert len(small) == len(large)
    assert small[16:20] == large[16:20] == struct.pack("<I", 28)


def test_rf64_begins_where_32_bits_end() -> None:
    """Sizes by hand: the last RIFF and the first RF64, for 24-bit mono with its pad byte."""
    overhead = len(wav_header(48_000, 1, "PCM_24", 0)) - 8
    last = (2**32 - 2 - overhead) // 3
    riff = wav_header(48_000, 1, "PCM_24", last)
    assert riff[:4] == b"RIFF"
    size = int.from_bytes(riff[4:8], "little")
    assert size == overhead + 3 * last + (3 * last) % 2
    assert riff[-4:] == struct.pack("<I", 3 * last)
    first = last + 1
    large = wav_header(48_000, 1, "PCM_24", first)
    assert large[:8] == b"RF64\xff\xff\xff\xff"
    assert large[-8:] == b"data\xff\xff\xff\xff"
    padded = overhead + 3 * first + (3 * first) % 2
    assert struct.unpack("<QQQI", large[20:48]) == (padded, 3 * first, first, 0)


def test_sparse_rf64_is_read_by_libsndfile(tmp_path: Path) -> None:
    path, frames = tmp_path / "large.wav", 2**30
    header = wav_header(96_000, 2, "PCM_24", frames, SIGNED)
    with path.open("wb") as file:
        file.write(header)
        file.truncate(len(header) + 6 * frames)
        file.seek(-6, os.SEEK_END)
        file.write(bytes([1, 0, 0, 0, 0, 0x80]))
    with soundfile.SoundFile(path) as file:
        assert (file.format, file.frames, file.subtype) == ("RF64", frames, "PCM_24")
        file.seek(frames - 1)
        assert file.read(1, dtype="int32").tolist() == [[256, -(2**31)]]
    layout = read_layout(path)
    assert layout.is_rf64
    assert layout.data_bytes_declared == layout.data_bytes_present == 6 * frames
    assert layout.broadcast == evened(SIGNED)
    assert not layout.has_placeholder


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((48_000, 3, "PCM_24", 1), "Expected 1 or 2 channels, got 3"),
        ((48_000, 2, "PCM_32", 1), "Expected encoding PCM_16, PCM_24, FLOAT; got PCM_32"),
        ((0, 2, "PCM_24", 1), "got 0 Hz"),
        ((48_000, 2, "PCM_24", -1), "got -1"),
    ],
)
def test_header_refuses(arguments: tuple[int, int, str, int], message: str) -> None:
    with pytest.raises(RenderError, match=message):
        wav_header(*arguments)


def test_broadcast_stands_where_the_standard_says() -> None:
    """Byte offsets of EBU Tech 3285, table of the bext chunk."""
    body = build_broadcast(SIGNED)
    assert body[:15] == "Violas, désk 1".encode()
    assert body[256:269] == b"Harbour score"
    assert body[288:295] == b"HB-0001"
    assert body[320:338] == b"2026-03-1410:20:30"
    assert body[338:346] == (2**32 + 48_000).to_bytes(8, "little")
    assert body[346:348] == b"\x02\x00"
    assert body[348:602] == bytes(range(254))
    assert body[602:] == b"A=PCM,F=48000,W=24,M=stereo\r\n"


@given(st.binary(min_size=602, max_size=640))
def test_any_broadcast_comes_out_as_it_went_in(body: bytes) -> None:
    assert build_broadcast(parse_broadcast(body)) == body


@given(body=st.binary(min_size=602, max_size=620), zeros=st.integers(0, 255))
def test_padding_is_no_text(body: bytes, zeros: int) -> None:
    body = body[: 255 - zeros] + b"x" + bytes(zeros) + body[256:]
    parsed = parse_broadcast(body)
    assert parsed.description.endswith("x")
    assert build_broadcast(parsed) == body


def test_broadcast_names_every_field_that_does_not_fit() -> None:
    wrong = Broadcast(description="é" * 129, originator="o" * 33, time_reference=2**64)
    with pytest.raises(RenderError) as caught:
        build_broadcast(replace(wrong, version=-1, remainder=b""))
    said = [fault.what for fault in caught.value.faults]
    assert said == [
        "broadcast description of 258 bytes, expected at most 256",
        "broadcast originator of 33 bytes, expected at most 32",
        f"broadcast time_reference {2**64}, expected 0 to 2**64 - 1",
        "broadcast version -1, expected 0 to 2**16 - 1",
        "broadcast remainder of 0 bytes, expected 254",
    ]


def test_broadcast_refuses_text_that_is_no_text() -> None:
    with pytest.raises(RenderError, match="is no UTF-8"):
        build_broadcast(Broadcast(description="\ud800"))


def test_broadcast_after_the_audio_is_found(tmp_path: Path) -> None:
    bext = chunk(b"bext", build_broadcast(SIGNED))
    layout = layout_of(tmp_path, small_wav(after=chunk(b"LIST", b"INFO") + bext))
    assert layout.broadcast == SIGNED
    assert layout.trailing_bytes == 0


@pytest.mark.parametrize("length", [0, 601, 2**20 + 1])
def test_broadcast_of_wrong_length_is_left_out_aloud(tmp_path: Path, length: int) -> None:
    layout = layout_of(tmp_path, small_wav(before=chunk(b"bext", bytes(length))))
    assert layout.broadcast is None
    assert f"extension of {length} bytes left out" in layout.broadcast_fault
    assert layout.data_bytes_present == 60


@pytest.mark.parametrize(("subtype", "tag"), [("PCM_24", 1), ("FLOAT", 3)])
def test_extensible_gives_the_tag_inside(tmp_path: Path, subtype: str, tag: int) -> None:
    path = tmp_path / "x.wav"
    soundfile.write(path, np.zeros((5, 2)), 48_000, subtype, format="WAVEX")
    layout = read_layout(path)
    assert (layout.format_tag, layout.channels, layout.data_bytes_present) == (
        tag,
        2,
        10 * layout.bits // 8,
    )


@pytest.mark.parametrize(
    ("after", "trailing"),
    [
        (b"", 0),
        (chunk(b"LIST", b"INFO1234"), 0),
        (chunk(b"cue ", bytes(4)) + chunk(b"id3 ", b"odd"), 0),
        (bytes(12), 12),
        (chunk(b"LIST", b"INFO") + bytes(7), 7),
        (b"LIST" + struct.pack("<I", 1000) + b"INFO", 12),
    ],
)
def test_what_follows_the_audio(tmp_path: Path, after: bytes, trailing: int) -> None:
    assert layout_of(tmp_path, small_wav(after=after)).trailing_bytes == trailing


def test_forgotten_pad_byte_hides_no_chunk(tmp_path: Path) -> None:
    content = small_wav(audio=b"x" * 61)
    bext = chunk(b"bext", build_broadcast(SIGNED))
    assert layout_of(tmp_path, content + bext).broadcast == SIGNED
    layout = layout_of(tmp_path, content[:-1] + bext)
    assert (layout.broadcast, layout.trailing_bytes) == (SIGNED, 0)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"RIFF", "expected a RIFF or RF64 header of kind WAVE"),
        (b"RIFF\0\0\0\0AVI ", "of kind WAVE"),
        (small_wav()[:36], "no data chunk"),
        (b"RIFF\0\0\0\0WAVE" + chunk(b"data", b"1234"), "no format chunk"),
        (b"RIFF\0\0\0\0WAVE" + chunk(b"fmt ", b"12") + chunk(b"data", b""), "of 2 bytes"),
        (small_wav(before=chunk(b"abcd", b"") * 1024), "no data chunk"),
    ],
)
def test_broken_headers_are_named(tmp_path: Path, content: bytes, message: str) -> None:
    with pytest.raises(StemError, match=message):
        layout_of(tmp_path, content)


def test_many_chunks_before_the_audio_are_fine(tmp_path: Path) -> None:
    layout = layout_of(tmp_path, small_wav(before=chunk(b"abcd", b"") * 500))
    assert layout.data_bytes_present == 60


def test_pipe_and_folder_are_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    for place in (tmp_path / "pipe.wav", tmp_path):
        with pytest.raises(StemError, match="expected a regular file"):
            read_layout(place)


def test_hostile_lengths_cost_no_memory(tmp_path: Path) -> None:
    path = tmp_path / "bomb.wav"
    with path.open("wb") as file:
        file.write(b"RIFF\0\0\0\0WAVEbext" + struct.pack("<I", 2**31))
        file.truncate(20 + 2**31)
        file.seek(0, os.SEEK_END)
        file.write(small_wav()[12:])
    tracemalloc.start()
    layout = read_layout(path)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert layout.data_bytes_present == 60
    assert layout.broadcast is None
    assert most < 2**20


@given(
    changes=st.lists(st.tuples(st.integers(0, 400), st.integers(0, 255)), max_size=12),
    keep=st.integers(0, 400),
    is_rf64=st.booleans(),
)
def test_mutated_headers_are_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory,
    changes: list[tuple[int, int]],
    keep: int,
    is_rf64: bool,
) -> None:
    ds64 = chunk(b"ds64", struct.pack("<QQQI", 400, 60, 10, 0))
    content = bytearray(small_wav(before=ds64, after=chunk(b"LIST", bytes(200)))[:keep])
    content[:4] = b"RF64" if is_rf64 else b"RIFF"
    for place, value in changes:
        if place < len(content):
            content[place] = value
    path = tmp_path_factory.getbasetemp() / "mutated.wav"
    path.write_bytes(content)
    try:
        layout = read_layout(path)
    except StemError as error:
        assert error.faults[0].file == str(path)
        return
    assert 0 <= layout.data_bytes_present <= layout.data_bytes_declared
    assert layout.data_offset + layout.data_bytes_present <= max(len(content), layout.data_offset)
    assert 0 <= layout.trailing_bytes < max(len(content), 1)


def libsndfile_broadcast(path: Path) -> bytes:
    """Ask libsndfile for its SF_BROADCAST_INFO (command 0x10F0), a C structure."""
    with soundfile.SoundFile(path) as file:
        room = soundfile._ffi.new("char[]", 2048)
        found = soundfile._snd.sf_command(file._file, 0x10F0, room, 2048)
        assert found == 1
        return bytes(soundfile._ffi.buffer(room, 2048))


def test_libsndfile_reads_our_broadcast(tmp_path: Path) -> None:
    path = tmp_path / "b.wav"
    path.write_bytes(wav_header(48_000, 2, "PCM_16", 4, SIGNED) + bytes(16))
    info = libsndfile_broadcast(path)
    assert info[:15] == "Violas, désk 1".encode()
    assert info[320:338] == b"2026-03-1410:20:30"
    low, high, version = struct.unpack_from("<IIh", info, 340)  # aligned to 4 bytes in C
    assert (high << 32 | low, version) == (2**32 + 48_000, 2)
