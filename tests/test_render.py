"""Whole renders: what goes in, what comes out, and what must not change between two ways."""

from __future__ import annotations

import hashlib
import json
from math import isfinite
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm
import pytest
import soundfile
from numpy.typing import NDArray

from seatwright.disk.bounces import BounceWriter
from seatwright.disk.riff import read_layout
from seatwright.errors import RenderError, SceneError, StemError
from seatwright.sound.loudness import loudness
from seatwright.views.report import Report

QUIETEST = 10 ** (-120 / 20)
STEP = 2.0**-23
HALL = """
[hall]
size = { width = 8, depth = 10, height = 5 }
reverberation = 0.4
"""
SECTIONS = ("winds", "strings", "voices")
ONE = """
[seats.oboe]
stem = "oboe.wav"
section = "winds"
bearing = -20
distance = 2.2
"""


TWO = ONE + ONE.replace("oboe", "violas").replace("winds", "strings").replace("-20", "20")


def total(stage: Any, files: list[str], out: str = "whole") -> NDArray[np.float64]:
    return np.sum([stage.heard(file, out).astype(np.float64) for file in files], axis=0)


def seat(stage: Any, samples: NDArray[Any], more: str = "", **write: Any) -> None:
    """One seat with one stem."""
    stage.stem("oboe.wav", samples)
    stage.write(ONE + more, **write)


# one signal, many ways


@pytest.mark.parametrize("threads", [2, 3])
def test_threads_change_no_bit(quartet: Any, threads: int) -> None:
    quartet.float_render("again", stems=True, perspectives=True, threads=threads)
    whole, again = quartet.digests("whole"), quartet.digests("again")
    for name in ("report.txt", "report.json"):
        assert whole.pop(name)
        assert again.pop(name)
    assert whole.pop("report.html") == again.pop("report.html")
    assert len(whole) == 1 + 3 + 4 + 7
    assert again == whole


@pytest.mark.parametrize(
    ("start", "stop"),
    [(0.0, 0.4), (0.31, 1.37), (0.98, 0.99), (1.5, None), (2.1, 2.3)],
    ids=["begin", "over a block", "short", "to the end", "in the tail"],
)
def test_an_excerpt_is_that_stretch_of_the_whole(
    quartet: Any, start: float, stop: float | None
) -> None:
    report = quartet.float_render("part", stems=True, start=start, stop=stop)
    first = round(start * quartet.rate)
    last = None if stop is None else round(stop * quartet.rate)
    assert report.first_frame == first
    for row in report.outputs:
        whole = quartet.heard(row.file, "whole")[first:last]
        part = quartet.heard(row.file, "part")
        assert np.array_equal(part, whole), row.file
        assert report.frames == len(part)
    assert np.abs(quartet.heard("mix.wav", "part")).max() > 1e-5


def test_the_same_scene_gives_the_same_files(stage: Any) -> None:
    seat(stage, stage.noise(1, 0.3))
    for out in ("a", "b"):
        stage.render(out, depth="16", stems=True)
    assert stage.digests("a") == stage.digests("b")


def test_sections_stems_and_perspectives_add_up_to_the_mix(quartet: Any) -> None:
    mix = quartet.heard("mix.wav", "whole")
    files = list(quartet.digests("whole"))
    for kind in ("sections", "stems", "perspectives"):
        parts = [file for file in files if file.startswith(kind)]
        assert len(parts) == {"sections": 3, "stems": 4, "perspectives": 7}[kind]
        assert np.abs(total(quartet, parts) - mix).max() < QUIETEST
    assert np.abs(mix).max() > 0.05


def test_stems_add_up_to_their_section(quartet: Any) -> None:
    strings = total(quartet, ["stems/violas.wav", "stems/organ.wav"])
    assert np.abs(strings - quartet.heard("sections/strings.wav", "whole")).max() < QUIETEST
    winds = quartet.heard("stems/oboe.wav", "whole")
    assert np.array_equal(winds, quartet.heard("sections/winds.wav", "whole"))


def test_sections_add_up_at_24_bits(quartet: Any) -> None:
    quartet.render("pcm", trim_db=-3.0)
    parts = total(quartet, [f"sections/{name}.wav" for name in SECTIONS], "pcm")
    error = np.abs(parts - quartet.heard("mix.wav", "pcm")).max()
    assert error <= (len(SECTIONS) + 1) * 0.5 * STEP + 1e-9
    assert error > 0.0


def test_seats_rendered_alone_add_up(quartet: Any) -> None:
    """Superposition: what one seat sounds like does not depend on who else plays."""
    mix = np.zeros_like(quartet.heard("mix.wav", "whole"), dtype=np.float64)
    for names in (("oboe", "choir"), ("strings",)):
        quartet.float_render("alone", only=names)
        mix += quartet.heard("mix.wav", "alone")
    assert np.abs(mix - quartet.heard("mix.wav", "whole")).max() < QUIETEST
    assert quartet.heard("mix.wav", "alone").shape == mix.shape


# treatments and levels


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("others", ["", ONE])
def test_an_untouched_stem_comes_out_as_it_went_in(stage: Any, channels: int, others: str) -> None:
    stem = stage.noise(3, 0.5, channels) * 15
    stage.stem("organ.wav", stem)
    stage.stem("oboe.wav", stage.noise(4, 0.2))
    stage.write(
        '[seats.organ]\nstem = "organ"\nsection = "keys"\ntreatment = "untouched"\n' + others
    )
    stage.render(trim_db=0.0, stems=True)
    wanted = np.broadcast_to(stem, (len(stem), 2))
    for file in ("sections/keys.wav", "stems/organ.wav", *([] if others else ["mix.wav"])):
        found, _ = soundfile.read(stage.out / file, dtype="int32")
        assert np.array_equal(found[: len(stem)] >> 8, np.rint(wanted * 2**23).astype(int)), file
        assert not found[len(stem) :].any()


def test_gains_of_seat_and_section_add(stage: Any) -> None:
    stem = stage.noise(3, 0.3)
    seat(stage, stem)
    stage.float_render("plain")
    seat(stage, stem, "gain = 2.0\n[sections.winds]\ngain = -8.0\n")
    stage.float_render("lower")
    lower = stage.heard(out="plain").astype(np.float64) * 10 ** (-6 / 20)
    assert np.abs(stage.heard(out="lower") - lower).max() < QUIETEST
    seat(stage, stem, 'gain = -6.0\ntreatment = "untouched"\n')
    stage.float_render("untouched")
    wanted = stem * 10 ** (-6 / 20)
    assert np.abs(stage.heard(out="untouched")[: len(stem)] - wanted).max() < QUIETEST


def test_mute_and_solo(quartet: Any) -> None:
    text = quartet.scene.read_text()
    try:
        quartet.scene.write_text(text.replace("distance = 2.5", "distance = 2.5\nmute = true"))
        report = quartet.float_render("mute", stems=True)
        assert [row.seat for row in report.seats] == ["oboe", "organ", "choir"]
        rest = ["stems/oboe.wav", "stems/organ.wav", "stems/choir.wav"]
        found = quartet.heard("mix.wav", "mute")
        assert np.abs(found - total(quartet, rest)).max() < QUIETEST
        quartet.scene.write_text(text.replace("distance = 2.5", "distance = 2.5\nsolo = true"))
        quartet.float_render("solo")
    finally:
        quartet.scene.write_text(text)
    alone = quartet.heard("stems/violas.wav", "whole")
    assert np.abs(quartet.heard("mix.wav", "solo") - alone).max() < QUIETEST


def pink(seed: int, rate: int, seconds: float, channels: int) -> NDArray[np.float64]:
    """Noise whose spectrum falls by 3 dB an octave from 40 Hz on."""
    frames = round(rate * seconds)
    noise = np.fft.rfft(np.random.default_rng(seed).normal(0, 1, (frames, channels)), axis=0)
    frequency = np.fft.rfftfreq(frames, 1 / rate)[:, None]
    noise *= np.where(frequency >= 40.0, np.maximum(frequency, 40.0) ** -0.5, 0.0)
    wave = np.fft.irfft(noise, frames, axis=0)
    return np.asarray(0.1 * wave / wave.std())


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("treatment", ["placed", "blended"])
@pytest.mark.parametrize("distance", [1.5, 2.9])
def test_held_stems_stay_as_loud_as_they_were(
    stage: Any, channels: int, treatment: str, distance: float
) -> None:
    stage.rate = 32_000
    dry = pink(2, stage.rate, 2.0, channels)
    seat(stage, dry, f'treatment = "{treatment}"\n')
    stage.scene.write_text(stage.scene.read_text().replace("2.2", str(distance)))
    report = stage.float_render()
    wanted = loudness(dry.astype(np.float32), stage.rate)
    assert report.outputs[0].integrated_lufs == pytest.approx(wanted, abs=1.5)


DEAD_HALL = """
[hall]
size = { width = 20, depth = 20, height = 12 }
scattering = 0.0
mixing_time = 0.05
[hall.surfaces]
""" + "\n".join(
    f"{name} = {{ absorption = [0.98, 0.98, 0.98, 0.98, 0.98, 0.98, 0.98] }}"
    for name in ("floor", "ceiling", "left", "right", "upstage", "rear")
)


def test_natural_levels_fall_by_6_db_a_doubling_of_distance(stage: Any) -> None:
    """Where the walls give nothing back, at one point: a listener's head."""
    stage.stem("a.wav", pink(1, stage.rate, 1.0, 1))
    levels, heard = [], []
    for distance in (2.0, 4.0):
        stage.write(
            f'[seats.a]\nstem = "a"\nx = 0\ny = {distance - 3.0}\nheight = 4\nlevel = "natural"\n'
            "perspectives = { head = 0 }\n[microphones.head]\ny = -3\nheight = 4\n",
            hall=DEAD_HALL,
        )
        report = stage.float_render(f"at{distance:.0f}")
        assert report.seats[0].figures is not None
        levels.append(report.seats[0].figures.level_db)
        heard.append(report.outputs[0].integrated_lufs)
    assert levels[0] - levels[1] == pytest.approx(6.02, abs=0.4)
    assert heard[0] - heard[1] == pytest.approx(6.02, abs=0.4)


def mirrored(stage: Any, hall: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A click from one side, and from the other with left and right swapped back."""
    click = np.zeros((4_000, 1))
    click[0] = 0.5
    stage.stem("oboe.wav", click)
    every = "perspectives = { tree = 0, outriggers = -6, ambient = -8, close = -10, head = -3 }\n"
    for out, bearing in (("left", -25), ("right", 25)):
        place = ONE.replace("-20", str(bearing))
        stage.write(place + 'level = "natural"\n' + every, hall=hall)
        stage.float_render(out)
    left, right = (stage.heard(out=out).astype(np.float64) for out in ("left", "right"))
    return left, right[:, ::-1]


def test_a_mirrored_scene_swaps_direct_sound_and_reflections(stage: Any) -> None:
    """Sample for sample, where the tail, whose noise each microphone has of its own, comes late."""
    left, right = mirrored(stage, HALL + "scattering = 0.0\nmixing_time = 0.3\n")
    early = round(0.15 * stage.rate)
    assert np.abs(left).max() > 0.1
    assert np.abs(left[early - 800 : early]).max() > 1e-3
    assert np.abs(left[:early] - right[:early]).max() < 10 ** (-110 / 20)


def test_a_mirrored_scene_swaps_the_energy_of_the_sides(stage: Any) -> None:
    left, right = mirrored(stage, HALL)
    powers, mirrored_powers = (left**2).sum(axis=0), (right**2).sum(axis=0)
    assert 10 * np.log10(powers / mirrored_powers) == pytest.approx([0.0, 0.0], abs=0.5)
    assert powers[0] > 1.03 * powers[1]


# stems


def test_left_and_right_files_are_the_stereo_file(stage: Any) -> None:
    stem = stage.noise(5, 0.4, 2)
    seat(stage, stem)
    stage.float_render("stereo")
    for side in (0, 1):
        stage.stem(f"split.{'LR'[side]}.wav", stem[:, side])
    stage.write(ONE.replace('"oboe.wav"', '["split.R.wav", "split.L.wav"]'))
    stage.float_render("pair")
    assert np.array_equal(stage.heard(out="pair"), stage.heard(out="stereo"))


def test_several_stems_on_a_seat_are_their_sum(stage: Any) -> None:
    first, second = stage.noise(5, 0.4), stage.noise(6, 0.25)
    both = first.copy()
    both[: len(second)] += second
    seat(stage, both)
    stage.float_render("sum")
    stage.stem("one.wav", first)
    stage.stem("two.wav", second)
    stage.write(ONE.replace('"oboe.wav"', '["one.wav", "two.wav"]'))
    stage.float_render("several")
    assert np.array_equal(stage.heard(out="several"), stage.heard(out="sum"))


def test_mixed_rates_are_resampled_and_said_so(stage: Any) -> None:
    stage.rate = 48_000
    wave = {
        rate: 0.1 * np.sin(2 * np.pi * 997 * np.arange(rate // 2) / rate)[:, None]
        for rate in (44_100, 48_000, 96_000)
    }
    seats = ""
    for rate, samples in wave.items():
        stage.stem(f"s{rate}.wav", samples, rate)
        seats += f'[seats.s{rate}]\nstem = "s{rate}.wav"\ntreatment = "untouched"\n'
    stage.write(seats, "rate = 48000")
    report = stage.float_render(stems=True)
    assert report.rate == 48_000
    told = [text for text in report.warnings if "resampled" in text]
    assert len(told) == 2
    assert "s44100.wav: resampled from 44100 to 48000 Hz" in told[0]
    for rate in wave:
        found = stage.heard(f"stems/s{rate}.wav")[2_000:-2_000, 0]
        assert np.abs(found - wave[48_000][2_000:-2_000, 0]).max() < 1e-5


def test_192_khz(stage: Any) -> None:
    stage.rate = 192_000
    seat(stage, stage.noise(1, 0.05))
    report = stage.render()
    assert (report.rate, soundfile.info(stage.out / "mix.wav").samplerate) == (192_000, 192_000)
    assert np.isfinite(stage.heard()).all()
    assert report.outputs[0].sample_peak_dbfs > -60.0


def test_aiff_and_flac_stems_give_the_same_as_wav(stage: Any) -> None:
    samples = stage.noise(2, 0.2, 2)
    for ending, kind in (("wav", "WAV"), ("aif", "AIFF"), ("flac", "FLAC")):
        soundfile.write(stage.folder / f"oboe.{ending}", samples, stage.rate, "PCM_24", format=kind)
        stage.write(ONE.replace("oboe.wav", f"oboe.{ending}"))
        stage.float_render(ending)
    for ending in ("aif", "flac"):
        assert np.array_equal(stage.heard(out=ending), stage.heard(out="wav"))


def test_a_damaged_flac_is_named_and_leaves_the_older_outputs(stage: Any) -> None:
    samples = stage.noise(2, 1.5, 2)
    path = stage.folder / "oboe.flac"
    soundfile.write(path, samples, stage.rate, "PCM_24")
    stage.write(ONE.replace("oboe.wav", "oboe.flac"))
    stage.render()
    before = stage.digests()
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 4
    path.write_bytes(content)
    with pytest.raises(StemError, match=r"oboe\.flac: .* at \d\.\d{3} s"):
        stage.render()
    assert stage.digests() == before


def test_a_stem_that_changes_while_it_is_rendered(stage: Any) -> None:
    seat(stage, stage.noise(2, 0.3))
    stage.render()
    before = stage.digests()
    with pytest.raises(StemError, match=r"oboe\.wav: changed while it was rendered"):
        stage.render(progress=lambda what, _: stage.stem("oboe.wav", stage.noise(3, 0.3)))
    assert stage.digests() == before


# time


def test_the_earliest_arrival_stands_at_the_first_sample(stage: Any) -> None:
    click = np.zeros((2_000, 1))
    click[500] = 0.5
    seat(stage, click, "perspectives = { tree = 0 }\n")
    report = stage.float_render()
    loudest = np.abs(stage.heard()).max(axis=1)
    assert abs(int(np.argmax(loudest > 0.1 * loudest.max())) - 500) <= 1
    assert loudest[:480].max() < 0.02 * loudest.max()
    assert report.frames == 2_000 + report.response_frames - 1


@pytest.mark.parametrize("start", [None, 0.125])
def test_the_broadcast_time_reference_is_carried_over(stage: Any, start: float | None) -> None:
    stage.stem("oboe.wav", stage.noise(1, 0.3), at=160_000)
    stage.stem("violas.wav", stage.noise(2, 0.3))
    stage.write(TWO)
    report = stage.render(start=start)
    for row in report.outputs:
        found = read_layout(stage.out / row.file).broadcast
        assert found is not None
        assert found.time_reference == 160_000 + (0 if start is None else 2_000)
        assert found.description == "oboe.wav"
    told = stage.render("flac", kind="flac").warnings
    assert any("FLAC cannot carry" in text for text in told)


def test_aligned_by_time_reference(stage: Any) -> None:
    first, second = stage.noise(1, 0.2), stage.noise(2, 0.2)
    stage.stem("a.wav", first, at=50_000)
    stage.stem("b.wav", second, at=51_000)
    seats = "".join(f'[seats.{n}]\nstem = "{n}.wav"\ntreatment = "untouched"\n' for n in "ab")
    stage.write(seats, 'align = "timestamp"')
    stage.float_render()
    wanted = np.zeros(len(first) + 1_000)
    wanted[: len(first)] += first[:, 0]
    wanted[1_000:] += second[:, 0]
    assert np.abs(stage.heard()[:, 0] - wanted).max() < 1e-7
    found = read_layout(stage.out / "mix.wav").broadcast
    assert found is not None
    assert found.time_reference == 50_000


# outputs


@pytest.mark.parametrize(
    ("kind", "depth", "subtype"),
    [
        ("wav", "16", "PCM_16"),
        ("wav", "24", "PCM_24"),
        ("wav", "float", "FLOAT"),
        ("flac", "16", "PCM_16"),
        ("flac", "24", "PCM_24"),
    ],
)
def test_kinds_and_depths(quartet: Any, kind: str, depth: str, subtype: str) -> None:
    out = f"{kind}{depth}"
    report = quartet.render(out, kind=kind, depth=depth, trim_db=0.0, only=("winds",))
    alone = quartet.heard("stems/oboe.wav", "whole")
    assert report.encoding == f"{kind} {subtype}"
    for row in report.outputs:
        info = soundfile.info(quartet.folder / out / row.file)
        assert (info.format, info.subtype, info.channels) == (kind.upper(), subtype, 2)
        error = np.abs(quartet.heard(row.file, out) - alone).max()
        assert error <= {"16": 1.5 * 2**-15, "24": 0.5 * STEP, "float": 0.0}[depth]


def test_more_than_4_gib_becomes_rf64(tmp_path: Path) -> None:
    for frames, mark in ((2**32 // 6 - 200, b"RIFF"), (2**32 // 6 + 1, b"RF64")):
        writer = BounceWriter(tmp_path / "a.wav", 48_000, 2, "PCM_24", frames)
        (temporary,) = tmp_path.iterdir()
        assert temporary.read_bytes()[:4] == mark
        writer.abort()


def test_trim_is_shared_and_keeps_every_output_below_the_ceiling(stage: Any) -> None:
    stage.stem("oboe.wav", stage.noise(1, 0.5) * 19)
    stage.stem("violas.wav", stage.noise(2, 0.5, 2) * 19)
    stage.write(TWO)
    stage.float_render("plain")
    report = stage.render(depth="float")
    assert report.trim_db < -3.0
    gain = 10 ** (report.trim_db / 20)
    for row in report.outputs:
        wanted = stage.heard(row.file, "plain").astype(np.float64) * gain
        assert np.abs(stage.heard(row.file) - wanted).max() < 1e-6
        assert row.true_peak_dbtp <= -1.0 + 1e-9
        peak = 20 * np.log10(np.abs(stage.heard(row.file)).max())
        assert row.sample_peak_dbfs == pytest.approx(peak, abs=1e-4)
    assert max(row.true_peak_dbtp for row in report.outputs) >= -1.01
    assert report.warnings == ()
    above = stage.render("above", depth="float", trim_db=0.0)
    assert any("above -1 dBTP" in text for text in above.warnings)


def test_the_trim_that_a_report_tells_makes_a_part_fit_the_whole(stage: Any) -> None:
    """Sample for sample: a part finds another trim by itself, and says which one to give it."""
    stage.stem("oboe.wav", stage.noise(1, 0.5) * 19)
    stage.stem("violas.wav", stage.noise(2, 0.5, 2) * 5)
    stage.write(TWO)
    whole = stage.render("scene")
    assert (whole.part, whole.warnings) == ("", ())
    text = (stage.folder / "scene" / "report.txt").read_text(encoding="utf-8")
    assert f"(with --trim {whole.trim_db:g} other renders of this scene keep" in text
    alone = stage.render("part", only=("strings",), start=0.1, stop=0.3)
    assert alone.part == "strings 0.1-0.3 s"
    assert alone.trim_db > whole.trim_db + 1.0
    (note,) = alone.warnings
    assert f"--trim {whole.trim_db:g} is that of {stage.folder / 'scene'}" in note
    fitting = stage.render("part", only=("strings",), start=0.1, stop=0.3, trim_db=whole.trim_db)
    assert fitting.warnings == ()
    first, last = round(0.1 * stage.rate), round(0.3 * stage.rate)
    strings = stage.heard("sections/strings.wav", "scene")[first:last]
    assert np.array_equal(stage.heard("sections/strings.wav", "part"), strings)
    assert np.abs(strings).max() > 0.01


def test_a_folder_holds_one_render_and_names_what_is_not_of_it(stage: Any) -> None:
    stage.stem("oboe.wav", stage.noise(1, 0.3))
    stage.stem("violas.wav", stage.noise(2, 0.3))
    stage.write(TWO)
    stage.render(stems=True, perspectives=True)
    stage.stem("out/stems/mine.wav", stage.noise(3, 0.1))
    with (stage.out / "stems" / "oboe.wav").open("ab") as file:
        file.write(b"note")
    report = stage.render(only=("winds",), kind="flac", trim_db=0.0, stop=9.0)
    left = {name for name in stage.digests() if not name.startswith("report")}
    assert left == {"mix.flac", "sections/winds.flac", "stems/mine.wav", "stems/oboe.wav"}
    end, foreign = report.warnings
    assert "found an end at 9 s" in end
    assert foreign == "left as it is, not from this render: stems/mine.wav, stems/oboe.wav"
    removed = {row.file for row in report.removed}
    assert {"mix.wav", "sections/winds.wav", "sections/strings.wav", "stems/violas.wav"} < removed
    facts = json.loads((stage.out / "report.json").read_text())
    assert {row["file"] for row in facts["removed"]} == removed


@pytest.mark.parametrize("depth", ["16", "24", "float"])
def test_below_half_a_step_there_is_no_level(stage: Any, depth: str) -> None:
    """A file of zeros has no level, whatever was rendered before it was rounded."""
    for below, step in ((0.9, "below"), (4.0, "above")):
        half = {"16": 2.0**-16, "24": 2.0**-24, "float": 2.0**-120}[depth]
        tone = np.full((800, 1), below * half, dtype=np.float32)
        stage.stem("organ.wav", tone, subtype="FLOAT")
        stage.write('[seats.organ]\nstem = "organ"\ntreatment = "untouched"\n')
        report = stage.render(step, depth=depth)
        held = step == "above" or depth == "float"
        assert isfinite(report.outputs[0].sample_peak_dbfs) == held
        assert isfinite(report.outputs[0].true_peak_dbtp) == held
        if depth == "24":
            assert stage.heard(out=step).any() == held
    text = (stage.folder / "below" / "report.txt").read_text(encoding="utf-8")
    (row,) = (line.split() for line in text.splitlines() if line.startswith("mix.wav"))
    assert (row[3:] == ["-", "-"]) == (depth != "float")


def test_a_trim_that_clips_is_an_error_and_the_older_outputs_stay(stage: Any) -> None:
    seat(stage, stage.noise(1, 0.3) * 19)
    stage.render()
    before = stage.digests()
    with pytest.raises(RenderError, match=r"samples over full scale, peak \+"):
        stage.render(trim_db=12.0)
    assert stage.digests() == before


def test_quiet_scenes_are_not_raised(stage: Any) -> None:
    seat(stage, stage.noise(1, 0.3) * 0.01)
    assert stage.render().trim_db == 0.0


def test_a_silent_stem_renders_to_silence(stage: Any) -> None:
    seat(stage, np.zeros((3_000, 1)))
    report = stage.render()
    assert report.trim_db == 0.0
    assert not stage.heard().any()
    facts = json.loads((stage.out / "report.json").read_text())
    assert facts["outputs"][0]["integrated_lufs"] is None


def test_reverberation_beyond_reach_names_its_line(stage: Any) -> None:
    stage.stem("oboe.wav", stage.noise(1, 0.1))
    stage.write(ONE, hall="[hall]\nreverberation = 29\n")
    with pytest.raises(SceneError, match=r"scene\.toml:\d+: hall\.reverberation") as caught:
        stage.render()
    assert caught.value.faults[0].line == 3


# seatings, report, progress


def test_a_seating_changes_only_the_seats_it_names(quartet: Any) -> None:
    text = quartet.scene.read_text()
    try:
        quartet.scene.write_text(text + "[seatings.other.violas]\nbearing = -40\n")
        with pytest.raises(SceneError, match='found no seating "othr", wanted one of: other'):
            quartet.render(seating="othr")
        report = quartet.float_render("seating", seating="other", stems=True)
    finally:
        quartet.scene.write_text(text)
    assert report.seating == "other"
    assert [row.bearing for row in report.seats if row.seat == "violas"] == [-40.0]
    moved, there = (quartet.heard("stems/violas.wav", out) for out in ("seating", "whole"))
    length = min(len(moved), len(there))
    assert np.abs(moved[:length] - there[:length]).max() > 0.01
    assert moved.std() == pytest.approx(there.std(), rel=0.2)


def _figures(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [number for item in value.values() for number in _figures(item)]
    if isinstance(value, list):
        return [number for item in value for number in _figures(item)]
    return [value] if isinstance(value, float) else []


def test_the_report_is_complete_and_true(quartet: Any) -> None:
    rate = quartet.rate
    report: Report = quartet.render("told", stems=True, perspectives=True)
    folder = quartet.folder / "told"
    facts = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert facts == json.loads(report.as_json())
    written = {str(path.relative_to(folder)) for path in folder.rglob("*.wav")}
    assert written == {row["file"] for row in facts["outputs"]}
    for row in facts["outputs"]:
        digest = hashlib.sha256((folder / row["file"]).read_bytes()).hexdigest()
        assert row["sha256"] == digest
    assert [row["file"] for row in facts["stems"]] == [
        str(quartet.folder / f"{name}.wav") for name in ("oboe", "violas", "organ", "choir")
    ]
    for row in facts["stems"]:
        content = Path(row["file"]).read_bytes()
        assert row["sha256"] == hashlib.sha256(content).hexdigest()
        assert (row["rate"], row["frames"]) == (rate, 2 * rate)
    scene = quartet.scene.read_bytes()
    assert facts["scene_sha256"] == hashlib.sha256(scene).hexdigest()
    assert facts["frames"] == soundfile.info(folder / "mix.wav").frames
    numbers = _figures(facts)
    assert len(numbers) > 60
    assert all(isfinite(number) for number in numbers)
    for row in facts["seats"]:
        assert (row["figures"] is None) == (row["treatment"] == "untouched")
        empty = {name for name, value in (row["figures"] or {}).items() if value is None}
        blended = row["treatment"] == "blended"  # turned by levels: no tree hears it
        assert empty == ({"arrival_difference_ms"} if blended else set())
    assert set(facts["versions"]) >= {"seatwright", "python", "numpy", "scipy", "soxr"}
    assert "choir" in (folder / "report.txt").read_text(encoding="utf-8")


def test_loudness_in_the_report_is_that_of_the_files(quartet: Any) -> None:
    report = quartet.render("loud")
    meter = pyloudnorm.Meter(quartet.rate, filter_class="DeMan")
    for row in report.outputs:
        found, _ = soundfile.read(quartet.folder / "loud" / row.file)
        found = found[: len(found) // 1_600 * 1_600]  # it also counts a block that is cut off
        assert row.integrated_lufs == pytest.approx(meter.integrated_loudness(found), abs=0.1)


def test_progress_rises_to_the_end(quartet: Any) -> None:
    told: list[tuple[str, float]] = []
    quartet.render("told", progress=lambda what, share: told.append((what, share)))
    shares = [share for _, share in told]
    assert shares == sorted(shares)
    assert shares[0] >= 0.0
    assert shares[-1] == pytest.approx(1.0)
    stages = list(dict.fromkeys(what for what, _ in told))
    assert stages == ["building responses", "rendering", "writing"]


@pytest.mark.parametrize("stage_name", ["building responses", "rendering", "writing"])
def test_an_interrupt_at_any_stage_leaves_everything_as_it_was(
    quartet: Any, stage_name: str
) -> None:
    quartet.render("kept", only=("winds",))
    before = quartet.digests("kept")
    stems = {path: path.read_bytes() for path in quartet.folder.glob("*.wav")}

    def interrupt(what: str, _share: float) -> None:
        if what == stage_name:
            raise KeyboardInterrupt

    open_files = len(list(Path("/proc/self/fd").iterdir()))
    with pytest.raises(KeyboardInterrupt):
        quartet.render("kept", progress=interrupt, trim_db=-20.0)
    assert quartet.digests("kept") == before
    assert {path: path.read_bytes() for path in quartet.folder.glob("*.wav")} == stems
    assert len(list(Path("/proc/self/fd").iterdir())) == open_files


@pytest.mark.parametrize(
    ("model", "named"),
    [("measured", "KEMAR dummy head, normal pinnae: Bill Gardner"), ("sphere", "rigid sphere")],
)
def test_the_report_names_the_head_that_listens(stage: Any, model: str, named: str) -> None:
    seat(
        stage,
        pink(1, stage.rate, 0.5, 1),
        f'perspectives = {{ head = 0 }}\n[microphones.head]\ny = -3\nmodel = "{model}"\n',
        hall=HALL,
    )
    assert stage.float_render("head").head.startswith(named)
    told = json.loads((stage.folder / "head" / "report.json").read_text(encoding="utf-8"))
    assert told["head"].startswith(named)


def test_no_head_is_named_where_none_listens(stage: Any) -> None:
    seat(stage, pink(1, stage.rate, 0.5, 1), hall=HALL)
    assert stage.float_render("tree").head == ""


# room figures


def test_a_report_has_room_figures_at_the_listener(stage: Any) -> None:
    """From the seat in the middle: decay as predicted within 5 % at 1 kHz, energies that fit."""
    stage.stem("oboe.wav", stage.noise(1, 0.3))
    stage.stem("violas.wav", stage.noise(2, 0.3))
    stage.write(TWO)
    report = stage.render()
    measured = report.measured
    assert measured is not None and measured.places == 1
    assert measured.bands["t30"]["1k"] == pytest.approx(report.hall.reverberation["1k"], rel=0.1)
    share = 10.0 ** (measured.single["clarity_db"] / 10.0)
    early = measured.single["early_strength_db"] - measured.single["late_strength_db"]
    assert 10.0 * np.log10(share) == pytest.approx(early, abs=1.0)
    assert 0.0 < measured.single["iacc_early"] < 1.0
    assert "EDT s" in (stage.out / "report.txt").read_text()
