"""Inspecting files: what the header tells, every thread the same, every fault at once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from seatwright.disk.bounces import BounceWriter
from seatwright.disk.broadcast import Broadcast
from seatwright.disk.casting import cast_scene
from seatwright.disk.scene_file import read_scene
from seatwright.disk.stem_inspection import (
    BLOCK_FRAMES,
    inspect_audio,
    inspect_readable,
    inspect_sound,
)
from seatwright.disk.stem_reader import Stem, StemReader
from seatwright.disk.stems import inspect_stem
from seatwright.errors import StemError
from seatwright.sound.inspection import StemInspection, StemMeter
from seatwright.sound.inspection_warnings import inspection_warnings

RATE = 48_000


def noise(seed: int, channels: int = 1, frames: int = 2 * BLOCK_FRAMES + 321) -> np.ndarray:
    rng = np.random.default_rng(seed)
    fade = np.clip((np.arange(frames)[::-1] - 1_440) / 9_600, 0.0, 1.0)[:, None]
    return np.asarray(np.rint(rng.uniform(-0.2, 0.2, (frames, channels)) * fade * 2**15) / 2**15)


def test_figures_are_those_of_the_samples(tmp_path: Path) -> None:
    samples, meter = noise(1, 2), StemMeter(44_100, 2)
    meter.add(samples.astype(np.float32))
    soundfile.write(tmp_path / "a.wav", samples, 44_100, "PCM_16")
    stem, _ = inspect_stem(tmp_path / "a.wav")
    with StemReader(stem, stem.rate) as reader:
        found = inspect_audio(reader)
    assert (found.rate, found.channels, found.bits, found.encoding) == (44_100, 2, 16, "PCM_16")
    assert found.file == str(tmp_path / "a.wav")
    assert found.seconds == len(samples) / 44_100
    assert found.start_seconds is None
    wanted = meter.figures
    assert found.sound.audio_hash == wanted.audio_hash
    assert found.sound.integrated_lufs == wanted.integrated_lufs
    assert found.sound.true_peak_dbtp == wanted.true_peak_dbtp
    assert found.sound.trailing_silence == wanted.trailing_silence


def test_one_audio_in_any_container_has_one_hash(tmp_path: Path) -> None:
    paths = []
    for name, subtype in (("a.wav", "PCM_24"), ("b.flac", "PCM_24"), ("c.aiff", "PCM_16"),
                          ("d.wav", "FLOAT"), ("e.wav", "DOUBLE")):  # fmt: skip
        soundfile.write(tmp_path / name, noise(2), RATE, subtype)
        paths.append(tmp_path / name)
    found = inspect_sound(paths)
    assert [one.bits for one in found] == [24, 24, 16, 32, 64]
    assert len({one.sound.audio_hash for one in found}) == 1
    assert len(inspection_warnings(found)) == 10  # every pair


def test_threads_change_nothing_and_order_is_kept(tmp_path: Path) -> None:
    paths = []
    for number in range(5):
        soundfile.write(tmp_path / f"{number}.wav", noise(number, 1 + number % 2), RATE, "PCM_24")
        paths.append(tmp_path / f"{number}.wav")
    paths.reverse()
    one, three = inspect_sound(paths, threads=1), inspect_sound([*paths, paths[0]], threads=3)
    assert [item.file for item in three] == [str(path) for path in paths]
    assert [item.as_json() for item in one] == [item.as_json() for item in three]


def test_a_cast_is_inspected_file_by_file(tmp_path: Path) -> None:
    for name in ("a.L.wav", "a.R.wav", "b.wav"):
        soundfile.write(tmp_path / name, noise(len(name)), RATE, "PCM_24")
    scene = tmp_path / "scene.toml"
    scene.write_text(
        '[seats.a]\nstem = ["a.L.wav", "a.R.wav"]\nx = 1\ny = 3\n'
        '[seats.b]\nstem = "b.wav"\nx = 2\ny = 3\n[seats.c]\nstem = "b.wav"\nx = 3\ny = 3\n'
    )
    found = inspect_sound(cast_scene(read_scene(scene)))
    assert [Path(one.file).name for one in found] == ["a.L.wav", "a.R.wav", "b.wav"]


def test_the_start_comes_from_the_broadcast_extension(tmp_path: Path) -> None:
    for name, at in (("early.wav", 3_600 * RATE), ("late.wav", 3_600 * RATE + 24_000)):
        signed = Broadcast(description=name, time_reference=at)
        samples = noise(len(name), 2, 30_000)
        with BounceWriter(tmp_path / name, RATE, 2, "PCM_24", 30_000, signed) as writer:
            writer.write(samples)
    soundfile.write(tmp_path / "bare.wav", noise(9, 1, 30_000), RATE, "PCM_24")
    found = inspect_sound([tmp_path / name for name in ("early.wav", "late.wav", "bare.wav")])
    assert [one.start_seconds for one in found] == [3_600.0, 3_600.5, None]
    assert [str(fault) for fault in inspection_warnings(found)] == [
        f"{tmp_path / 'bare.wav'}: no broadcast start, found one in 2 of 3 stems "
        "(it is taken to begin with the earliest)",
        f"{tmp_path / 'late.wav'}: begins 0.500 s after early.wav",
    ]


def test_all_faults_are_named_at_once(tmp_path: Path) -> None:
    for name, bad in (("a.wav", np.nan), ("b.wav", 0.1), ("c.wav", np.inf)):
        samples = noise(3)
        samples[BLOCK_FRAMES + 5] = bad
        soundfile.write(tmp_path / name, samples, RATE, "FLOAT")
    with pytest.raises(StemError) as caught:
        inspect_sound([tmp_path / name for name in ("a.wav", "b.wav", "c.wav")])
    assert [Path(fault.file).name for fault in caught.value.faults] == ["a.wav", "c.wav"]
    assert all("expected finite numbers" in fault.what for fault in caught.value.faults)
    with pytest.raises(StemError, match="found 0 threads, wanted 1 or more"):
        inspect_sound([tmp_path / "b.wav"], threads=0)


def test_the_demo_stems_are_whole_and_all_different() -> None:
    folder = Path(__file__).parents[2] / "demo_audio" / "ferry"
    found = inspect_sound(sorted(folder.glob("*.flac")))
    assert len(found) == 19
    assert inspection_warnings(found) == []
    trumpets = next(one for one in found if one.file.endswith("trumpets.flac"))
    assert trumpets.sound.room.verdict == "dry"
    assert trumpets.sound.leading_silence == pytest.approx(16.4, abs=0.1)  # its README says so
    assert trumpets.sound.sample_peak_dbfs == pytest.approx(-12.0, abs=0.6)


class Kept:
    """A shelf in memory."""

    def __init__(self) -> None:
        self.kept: dict[Path, StemInspection] = {}
        self.asked: list[Path] = []

    def found(self, stem: Stem) -> StemInspection | None:
        self.asked.append(stem.path)
        return self.kept.get(stem.path)

    def keep(self, stem: Stem, inspection: StemInspection) -> None:
        self.kept[stem.path] = inspection


def test_what_a_draft_measured_is_not_measured_again(tmp_path: Path) -> None:
    for name in ("a.wav", "b.wav"):
        soundfile.write(tmp_path / name, noise(len(name), 1, 30_000), RATE, "PCM_24")
    (tmp_path / "c.wav").write_bytes(b"RIFF")
    paths, shelf = [tmp_path / name for name in ("a.wav", "b.wav", "c.wav")], Kept()
    drafted, refused = inspect_readable(paths, 2, shelf)
    assert list(drafted) == paths[:2] == sorted(shelf.kept) and list(refused) == paths[2:]
    checked = inspect_sound(paths[:2], 2, shelf=shelf)
    assert all(one is shelf.kept[path] for one, path in zip(checked, paths, strict=False))
    assert sorted(shelf.asked) == sorted(2 * paths[:2])
    fresh = inspect_sound(paths[:2], 2)
    assert [one.as_json() for one in fresh] == [one.as_json() for one in checked]
    assert all(one.sound.octaves is not None for one in checked)
    brief, _ = inspect_readable(paths, 2)
    assert all(one.sound.octaves is None for one in brief.values())
