"""Casting: every stem of a scene found, judged, aligned and brought to one rate."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from seatwright.disk.bounces import BounceWriter
from seatwright.disk.broadcast import Broadcast
from seatwright.disk.casting import Cast, cast_scene
from seatwright.disk.scene_file import read_scene
from seatwright.errors import StemError

NOISE = np.random.default_rng(3).uniform(-0.4, 0.4, (96_000, 2)).astype(np.float32)


def write(
    path: Path, frames: int = 4_800, rate: int = 48_000, channels: int = 1, at: int | None = None
) -> None:
    """A 24-bit stem, with a broadcast time reference where one is given."""
    broadcast = None if at is None else Broadcast(description=path.stem, time_reference=at)
    with BounceWriter(path, rate, channels, "PCM_24", frames, broadcast) as writer:
        writer.write(NOISE[:frames, :channels])


def cast(folder: Path, *stems: str, head: str = "", allow_truncated: bool = False) -> Cast:
    """Cast a scene of one seat a stem."""
    seats = "".join(
        f"[seats.s{number}]\nstem = {stem}\nx = {number}\ny = 3\n"
        for number, stem in enumerate(stems)
    )
    (folder / "scene.toml").write_text(f"{head}\n{seats}", encoding="utf-8")
    return cast_scene(read_scene(folder / "scene.toml"), allow_truncated=allow_truncated)


def said(cast: Cast) -> list[str]:
    return [f"{Path(fault.file).name}: {fault.what}" for fault in cast.warnings]


def test_one_rate_and_nothing_to_say(tmp_path: Path) -> None:
    write(tmp_path / "a.wav")
    write(tmp_path / "b.wav", 9_600, channels=2)
    found = cast(tmp_path, '"a.wav"', '"b.wav"')
    assert (found.rate, found.frames, found.timestamp) == (48_000, 9_600, None)
    assert (found.channels("s0"), found.channels("s1")) == (1, 2)
    assert [stem.path.name for stem in found.stems] == ["a.wav", "b.wav"]
    assert (found.broadcast, found.warnings) == (None, ())


@pytest.mark.parametrize(
    ("rates", "usual"),
    [
        ((44_100, 48_000, 48_000), 48_000),
        ((44_100, 44_100, 96_000), 44_100),
        ((44_100, 48_000, 96_000), 96_000),
        ((192_000,), 192_000),
    ],
)
def test_the_rate_most_stems_have_the_highest_of_equals(
    tmp_path: Path, rates: tuple[int, ...], usual: int
) -> None:
    for number, rate in enumerate(rates):
        write(tmp_path / f"{number}.wav", 4_410, rate)
    found = cast(tmp_path, *(f'"{number}.wav"' for number in range(len(rates))))
    assert found.rate == usual
    assert said(found) == [
        f"{number}.wav: resampled from {rate} to {usual} Hz"
        for number, rate in enumerate(rates)
        if rate != usual
    ]
    assert found.frames == max(-(-4_410 * usual // rate) for rate in rates)


def test_the_scene_may_choose_the_rate(tmp_path: Path) -> None:
    write(tmp_path / "a.wav")
    found = cast(tmp_path, '"a.wav"', head="rate = 96000")
    assert (found.rate, found.frames) == (96_000, 9_600)
    assert said(found) == ["a.wav: resampled from 48000 to 96000 Hz"]


def test_much_shorter_stems_are_named(tmp_path: Path) -> None:
    write(tmp_path / "a.wav", 96_000)
    write(tmp_path / "b.wav", 47_000)
    write(tmp_path / "c.wav", 49_000)
    assert said(cast(tmp_path, '"a.wav"', '"b.wav"', '"c.wav"')) == [
        "b.wav: 0.98 s long, the longest stem is 2.00 s: silence follows its end"
    ]


def test_pairs_of_left_and_right(tmp_path: Path) -> None:
    write(tmp_path / "a.L.wav")
    write(tmp_path / "a.R.wav")
    found = cast(tmp_path, '["a.L.wav", "a.R.wav"]')
    assert found.channels("s0") == 2
    assert [stem.path.name for stem in found.stems] == ["a.L.wav", "a.R.wav"]


@pytest.mark.parametrize(
    ("right", "what"),
    [
        ({"channels": 2}, "found 1 and 2 channels, wanted a left and a right file of one"),
        ({"frames": 4_799}, "found 4800 frames at 48000 Hz left and 4799 at 48000 Hz right"),
        ({"rate": 44_100}, "found 4800 frames at 48000 Hz left and 4800 at 44100 Hz right"),
    ],
)
def test_unequal_pairs(tmp_path: Path, right: dict[str, int], what: str) -> None:
    write(tmp_path / "a.L.wav")
    write(tmp_path / "a.R.wav", **right)
    with pytest.raises(StemError, match=what) as caught:
        cast(tmp_path, '["a.L.wav", "a.R.wav"]')
    (fault,) = caught.value.faults
    assert fault.what.startswith("a.L.wav + a.R.wav: ")
    assert (Path(fault.file).name, fault.line, fault.key) == ("scene.toml", 3, "seats.s0.stem.0")


def test_faults_of_a_stem_name_the_scene_the_line_and_the_seat(tmp_path: Path) -> None:
    """Broken, silent of frames, cut off: each at its own `stem`, in a list at its place in it."""
    write(tmp_path / "good.wav")
    soundfile.write(tmp_path / "zero.wav", np.zeros((0, 1)), 48_000, "PCM_24")
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep" / "text.wav").write_text("no audio at all")
    with pytest.raises(StemError) as caught:
        cast(tmp_path, '"zero.wav"', '["good.wav", "deep/text.wav"]')
    scene = tmp_path / "scene.toml"
    zero, text = caught.value.faults
    assert str(zero).startswith(f"{scene}:3: seats.s0.stem: zero.wav: no audio: 0 frames")
    assert (text.file, text.line, text.key) == (str(scene), 7, "seats.s1.stem.1")
    assert text.what.startswith(f"{Path('deep', 'text.wav')}: ")


def test_a_stem_on_two_seats_is_judged_once(tmp_path: Path) -> None:
    (tmp_path / "text.wav").write_text("no audio at all")
    with pytest.raises(StemError) as caught:
        cast(tmp_path, '"text.wav"', '"text.wav"')
    assert [fault.key for fault in caught.value.faults] == ["seats.s0.stem"]


EIGHT = ", ".join(f"idle{number}.wav" for number in range(8))


@pytest.mark.parametrize(
    ("idle", "told"),
    [
        (0, []),
        (1, ["found an audio file that no seat plays: idle0.wav"]),
        (8, [f"found 8 audio files that no seat plays: {EIGHT}"]),
        (10, [f"found 10 audio files that no seat plays: {EIGHT} and 2 more"]),
    ],
)  # fmt: skip
def test_audio_files_nobody_plays_are_one_warning(
    tmp_path: Path, idle: int, told: list[str]
) -> None:
    for name in ("a.wav", "b.L.wav", "b.R.wav"):
        write(tmp_path / name)
    for number in range(idle):
        write(tmp_path / f"idle{number}.wav")
    (tmp_path / "notes.txt").write_text("no stem")
    (tmp_path / "._a.wav").write_text("what a file system keeps of its own")
    (tmp_path / "folder.wav").mkdir()
    (tmp_path / "link.wav").symlink_to(tmp_path / "a.wav")
    found = cast(tmp_path, '"a"', '"b"', head='stems = "."')
    assert [fault.what for fault in found.warnings] == told
    assert [(fault.key, fault.line) for fault in found.warnings] == [("stems", 1)] * len(told)


def test_every_fault_of_every_stem_at_once(tmp_path: Path) -> None:
    for name in ("a.L.wav", "a.R.wav"):
        write(tmp_path / name, 4_800 if "L" in name else 10)
    for name, wrong in (("b.wav", np.nan), ("c.wav", np.inf)):
        samples = NOISE[:4_800].copy()
        samples[2_400, 1] = wrong
        soundfile.write(tmp_path / name, samples, 48_000, "FLOAT")
    with pytest.raises(StemError) as caught:
        cast(tmp_path, '["a.L.wav", "a.R.wav"]', '"b.wav"', '"c.wav"')
    assert len(caught.value.faults) == 3
    assert "sample nan at 0.050000 s" in str(caught.value)
    assert "sample inf at 0.050000 s" in str(caught.value)


def test_truncated_stems_only_on_request(tmp_path: Path) -> None:
    write(tmp_path / "a.wav")
    (tmp_path / "a.wav").write_bytes((tmp_path / "a.wav").read_bytes()[: -3 * 1_200])
    with pytest.raises(StemError, match=r"truncated: found 0\.075 s"):
        cast(tmp_path, '"a.wav"')
    found = cast(tmp_path, '"a.wav"', allow_truncated=True)
    assert found.frames == 3_600
    assert said(found)[0].startswith("a.wav: truncated")


DAY = 48_000 * 60


def test_time_references_are_only_told_by_default(tmp_path: Path) -> None:
    write(tmp_path / "a.wav", at=DAY + 4_800)
    write(tmp_path / "b.wav", at=DAY)
    found = cast(tmp_path, '"a.wav"', '"b.wav"')
    assert [stem.offset for stems in found.seats.values() for stem in stems] == [0, 0]
    assert (found.timestamp, found.frames) == (DAY, 4_800)
    assert "broadcast time references differ by up to 0.100 s" in said(found)[0]
    assert 'align = "timestamp"' in found.warnings[0].hint


def test_aligned_by_time_reference(tmp_path: Path) -> None:
    write(tmp_path / "a.wav", at=DAY + 4_800)
    write(tmp_path / "b.wav", at=DAY)
    write(tmp_path / "c.wav")
    write(tmp_path / "d.wav", 2_400, 24_000, at=DAY // 2 + 240)
    stems = ('"a.wav"', '"b.wav"', '"c.wav"', '"d.wav"')
    found = cast(tmp_path, *stems, head='align = "timestamp"')
    assert [stem.offset for stems in found.seats.values() for stem in stems] == [4_800, 0, 0, 480]
    assert (found.timestamp, found.frames) == (DAY, 9_600)
    assert found.broadcast is not None
    assert found.broadcast.description == "b"
    assert said(found) == ["d.wav: resampled from 24000 to 48000 Hz"]


def test_aligning_without_any_time_reference_starts_together(tmp_path: Path) -> None:
    write(tmp_path / "a.wav")
    found = cast(tmp_path, '"a.wav"', head='align = "timestamp"')
    assert (found.timestamp, found.seats["s0"][0].offset) == (None, 0)


def test_time_references_more_than_a_day_apart_are_refused(tmp_path: Path) -> None:
    """Else a damaged one would make a render of years."""
    write(tmp_path / "a.wav", at=0)
    write(tmp_path / "b.wav", at=86_400 * 48_000)
    cast(tmp_path, '"a.wav"', '"b.wav"', head='align = "timestamp"')
    write(tmp_path / "b.wav", at=2**60)
    with pytest.raises(StemError, match=r"s after the earliest, wanted at most 86400 s") as caught:
        cast(tmp_path, '"a.wav"', '"b.wav"', head='align = "timestamp"')
    (fault,) = caught.value.faults
    assert Path(fault.file).name == "b.wav"
    assert cast(tmp_path, '"a.wav"', '"b.wav"').frames == 4_800


def test_one_file_on_two_seats_is_listed_once(tmp_path: Path) -> None:
    write(tmp_path / "a.wav")
    found = cast(tmp_path, '"a.wav"', '"a.wav"')
    assert len(found.stems) == 1
    assert len(found.seats) == 2


def test_aiff_and_flac_stand_beside_wav(tmp_path: Path) -> None:
    write(tmp_path / "a.wav")
    soundfile.write(tmp_path / "b.aif", NOISE[:4_800, 0], 48_000, "PCM_24", format="AIFF")
    soundfile.write(tmp_path / "c.flac", NOISE[:4_800, 0], 48_000, "PCM_24")
    found = cast(tmp_path, '"a"', '"b"', '"c"')
    assert (found.rate, found.frames, found.warnings) == (48_000, 4_800, ())
