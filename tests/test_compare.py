"""Comparisons: equally loud, aligned, never raised; what differs; clear words for the rest."""

from __future__ import annotations

import hashlib
import json
import re
from base64 import b64decode
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm
import pytest
import soundfile
from numpy.typing import NDArray

from seatwright.cli import main
from seatwright.compare import CompareRequest, compare
from seatwright.disk.page_audio import vorbis
from seatwright.disk.store import Store
from seatwright.errors import DiskError, SceneError, SeatwrightError, StemError
from seatwright.sound.peaks import PeakMeter

RATE = 48_000
PAIR = """
[seats.oboe]
stem = "oboe.wav"
section = "winds"
bearing = -20
distance = 2.2
[seats.violas]
stem = "violas.wav"
bearing = 30
distance = 2.5
[seatings.further.oboe]
distance = 3.2
bearing = 20
[seatings.louder.violas]
gain = 6
"""


@pytest.fixture
def ready(stage: Any) -> Any:
    stage.stem("oboe.wav", stage.noise(1, 2.0))
    stage.stem("violas.wav", stage.noise(2, 2.0))
    stage.write(PAIR)
    return stage


def scaled(seed: int, seconds: float, level: float) -> NDArray[np.float64]:
    """Noise with a swell, shape (frames, 2)."""
    rng = np.random.default_rng(seed)
    noise = rng.uniform(-1.0, 1.0, (round(seconds * RATE), 2))
    return np.asarray(level * noise * np.linspace(0.3, 1.0, len(noise))[:, None])


def mixes(folder: Path, *levels: float, seconds: float = 4.0) -> list[str]:
    """Mixes that differ in sound and level; their paths."""
    words = []
    for number, level in enumerate(levels):
        path = folder / f"mix {number}.wav"
        soundfile.write(path, scaled(number, seconds, level), RATE, "FLOAT")
        words.append(str(path))
    return words


def matched(folder: Path, name: str, kind: str = "wav") -> NDArray[np.float64]:
    return np.asarray(soundfile.read(folder / "matched" / f"{name}.{kind}")[0])


@pytest.mark.parametrize("levels", [(0.1, 0.02, 0.35), (0.9, 1.0, 0.5), (2.0, 0.7, 1.4)])
def test_versions_are_equally_loud_by_an_independent_meter(
    tmp_path: Path, levels: tuple[float, ...]
) -> None:
    """pyloudnorm with the filters of B. DeMan, which follow BS.1770 at every rate."""
    made = compare(mixes(tmp_path, *levels), tmp_path / "out")
    meter = pyloudnorm.Meter(RATE, filter_class="DeMan")
    for kind in ("wav", "flac"):
        heard = [matched(tmp_path / "out", f"mix {n}", kind) for n in range(3)]
        loud = [meter.integrated_loudness(samples) for samples in heard]
        assert max(loud) - min(loud) < 0.05
        assert len({len(samples) for samples in heard}) == 1
        for samples in heard:
            peak = PeakMeter(RATE)
            peak.add(samples.astype(np.float32))
            assert peak.true_peak_db <= -1.0
    before = [meter.integrated_loudness(scaled(n, 4.0, level)) for n, level in enumerate(levels)]
    assert max(before) - min(before) > 3.0
    assert all(row.gain_db <= 0.0 for row in made.versions)
    quietest = min(made.versions, key=lambda row: row.integrated_lufs)
    if max(levels) < 0.5:
        assert quietest.gain_db == 0.0  # nothing is turned down further than it must be


def test_versions_keep_their_samples_but_for_one_gain(tmp_path: Path) -> None:
    """Aligned to the sample: each matched version is its mix times its gain, from --from on."""
    words = mixes(tmp_path, 0.1, 0.3)
    made = compare(words, tmp_path / "out", CompareRequest(start=0.5, stop=3.0))
    first, count, fade = round(0.5 * RATE), round(2.5 * RATE), round(0.01 * RATE)
    for number, level in enumerate((0.1, 0.3)):
        source = scaled(number, 4.0, level)[first : first + count]
        gain = 10.0 ** (made.versions[number].gain_db / 20.0)
        found = matched(tmp_path / "out", f"mix {number}")
        assert len(found) == count
        error = np.abs(found - source * gain)[fade:-fade]
        assert error.max() < 2.0**-23 and np.abs(source).max() > 0.05
    assert (made.start, made.seconds) == (0.5, 2.5)


def test_seatings_are_rendered_once_and_told_apart(ready: Any) -> None:
    scene, out = str(ready.scene), ready.folder / "out"
    words = [scene, "written", "further", "louder"]
    made = compare(words, out, CompareRequest(threads=1, twin=True, identification=16))
    assert [row.name for row in made.versions] == ["as written", "further", "louder"]
    moved, louder = made.differences
    oboe, violas = moved.seats
    assert (oboe.seat, oboe.is_written, violas.is_written) == ("oboe", True, False)
    assert (oboe.distance.before, oboe.distance.after) == (2.2, 3.2)
    assert oboe.figures["heard_bearing"].change > 5.0
    assert oboe.figures["direct_to_reverberant_db"].change < -0.5
    assert abs(violas.figures["clarity_db"].change) < 0.1  # the common start moves by a fraction
    assert [seat.changes for seat in louder.seats if seat.is_written] == [("gain +6.0 dB",)]
    trial = json.loads((out / "trial.json").read_text(encoding="utf-8"))
    assert trial["versions"][3]["twin_of"] == "v1"
    assert trial["identification"] == {"pair": ["v1", "v2"], "trials": 16}
    assert trial["seats"] == ["oboe", "violas"]
    assert trial["minimum_seconds"] == min(10.0, trial["seconds"])
    facts = json.loads((out / "differences.json").read_text(encoding="utf-8"))
    assert facts["pairs"][0]["seats"][0]["distance"]["change"] == pytest.approx(1.0)
    assert "moved" in (out / "differences.txt").read_text(encoding="utf-8")
    assert (out / "moved, further.svg").is_file()


def test_a_render_is_taken_again_until_something_changes(ready: Any) -> None:
    words, out = [str(ready.scene), "written", "further"], ready.folder / "out"
    report = out / "renders" / "further" / "report.json"
    store = Store(ready.folder / "store")

    def times() -> int:
        compare(words, out, CompareRequest(threads=1), store=store)
        return report.stat().st_mtime_ns

    first = times()
    page = (out / "audition.html").read_bytes()
    assert times() == first
    assert (out / "audition.html").read_bytes() == page
    ready.stem("oboe.wav", ready.noise(9, 2.0))
    second = times()
    assert second != first
    mix = out / "renders" / "further" / "mix.wav"
    mix.write_bytes(mix.read_bytes()[:-8] + bytes(8))
    third = times()
    assert third != second
    ready.write(PAIR.replace("3.2", "3.1"))
    assert times() != third


def test_a_comparison_leaves_levels_between_renders_as_they_are(ready: Any) -> None:
    """Renders carry no trim, so that "as rendered" brings back what distance did."""
    out = ready.folder / "out"
    made = compare([str(ready.scene), "written", "louder"], out, CompareRequest(threads=1))
    quiet, loud = made.versions
    assert loud.integrated_lufs > quiet.integrated_lufs + 2.0
    reports = [out / "renders" / name / "report.json" for name in ("as written", "louder")]
    assert [json.loads(path.read_text())["trim_db"] for path in reports] == [0.0, 0.0]


def test_a_difference_bounce_is_one_version_minus_the_first(tmp_path: Path) -> None:
    compare(mixes(tmp_path, 0.1, 0.3), tmp_path / "out", CompareRequest(difference=True))
    found = soundfile.read(tmp_path / "out" / "differences" / "mix 1 minus mix 0.wav")[0]
    wanted = matched(tmp_path / "out", "mix 1") - matched(tmp_path / "out", "mix 0")
    assert np.abs(found - wanted).max() < 2.0**-22
    assert np.abs(found).max() > 0.05


def test_the_loudest_stretch_is_compared(tmp_path: Path) -> None:
    """90 s at 8 kHz, loud from 12 s on: 75 s are taken from there."""
    words = []
    for number in range(2):
        rng = np.random.default_rng(number)
        noise = 0.1 * rng.standard_normal((90 * 8_000, 1)).clip(-4.0, 4.0)
        noise[: 12 * 8_000] *= 0.05
        noise[88 * 8_000 :] *= 0.05
        path = tmp_path / f"{number}.flac"
        soundfile.write(path, noise, 8_000, "PCM_16")
        words.append(str(path))
    made = compare(words, tmp_path / "out")
    assert made.seconds == pytest.approx(75.0, abs=0.01)
    assert 12.0 <= made.start <= 13.01
    assert sum("mono" in text for text in made.warnings) == 2


def test_versions_that_did_not_come_alike_are_told(tmp_path: Path) -> None:
    """Another rate is resampled, a longer mix cut at the shortest; both said with the file."""
    (first,) = mixes(tmp_path, 0.1)
    other = tmp_path / "other.wav"
    soundfile.write(other, scaled(7, 6.0, 0.2)[: 6 * 44_100], 44_100, "PCM_24")
    made = compare([first, str(other)], tmp_path / "out")
    assert made.rate == RATE and made.seconds == pytest.approx(4.0, abs=1e-4)
    assert any("resampled from 44100 to 48000 Hz" in text for text in made.warnings)
    assert any("the shortest version 4.00 s" in text for text in made.warnings)


def refused(kind: type[SeatwrightError], words: list[str], folder: Path, **request: Any) -> str:
    with pytest.raises(kind) as error:
        compare(words, folder, CompareRequest(**request))
    assert not (folder / "audition.html").exists()
    return str(error.value)


def test_what_cannot_be_compared_is_refused_with_a_clear_word(ready: Any) -> None:
    out, scene = ready.folder / "out", str(ready.scene)
    words = mixes(ready.folder, 0.1, 0.0)
    assert 'silence in version "mix 1"' in refused(SceneError, words, out)
    assert "found 1 versions" in refused(SceneError, [scene, "further"], out)
    assert "found 1 versions" in refused(SceneError, words[:1], out)
    assert 'found version "mix 0" twice' in refused(SceneError, [words[0], words[0]], out)
    told = refused(SceneError, [scene, "written", "futher"], out)
    assert 'found no seating "futher"' in told and "further" in told
    assert 'found "further", wanted a scene' in refused(SceneError, ["further", scene], out)
    gone = refused(StemError, [scene, "written", "gone.wav", "lost.flac"], out)
    assert "gone.wav" in gone and "lost.flac" in gone  # all at once, before anything is rendered
    assert not (out / "renders").exists()
    told = refused(SceneError, words[:1] + mixes(ready.folder, 0.1, 0.2)[1:], out, start=9.0)
    assert "wanted at least 1 s within the 4.00 s" in told
    (ready.folder / "file").write_text("")
    sound = mixes(ready.folder, 0.1, 0.2)
    assert "cannot be made" in refused(DiskError, sound, ready.folder / "file")


def test_several_scenes_may_be_compared(ready: Any) -> None:
    other = ready.folder / "other.toml"
    other.write_text(ready.scene.read_text().replace("reverberation = 0.4", "reverberation = 0.5"))
    words = [str(ready.scene), str(other), "further"]
    made = compare(words, ready.folder / "out", CompareRequest(threads=1))
    assert [row.name for row in made.versions] == ["scene", "further"]
    assert made.differences[0].besides == ("the hall",)


def page_files(folder: Path) -> dict[str, bytes]:
    page = (folder / "audition.html").read_text(encoding="utf-8")
    found = re.findall(r'id="audio-([^"]*)">([^<]*)</script>', page)
    return {name: b64decode(data) for name, data in found}


def test_three_tutti_of_90_s_make_a_page_under_25_mb(tmp_path: Path) -> None:
    """Noise is what compresses worst; of Vorbis the best quality that fits is taken for all."""
    words = mixes(tmp_path, 0.1, 0.2, 0.3, seconds=90.0)
    out, whole = tmp_path / "out", CompareRequest(start=0.0, stop=90.0)
    made = compare(words, out, whole)
    assert 15e6 < made.page_bytes == (out / "audition.html").stat().st_size <= 25e6
    assert not made.warnings
    quality, lossless = re.findall(r"Vorbis of quality (\d+) .* would have (\d+) MB", made.audio)[0]
    assert int(quality) >= 8 and int(lossless) > 50
    files = page_files(out)
    assert len(files) == 3 and all(data.startswith(b"OggS") for data in files.values())
    better = [vorbis(matched(out, f"mix {n}").astype(np.float32), RATE, int(quality) + 1)
              for n in range(3)] if quality != "10" else []  # fmt: skip
    assert not better or sum(map(len, better)) * 4 / 3 > 25e6 - 200_000
    assert f'"audio_note": "{made.audio}"' in (out / "audition.html").read_text(encoding="utf-8")


def test_a_page_that_is_small_enough_stays_lossless(ready: Any) -> None:
    words, out = [str(ready.scene), "written", "further"], ready.folder / "out"
    made = compare(words, out, CompareRequest(threads=1, sections=True))
    assert made.audio == "FLAC of 16 bits, lossless"
    files = page_files(out)
    assert len(files) == 6 and all(data.startswith(b"fLaC") for data in files.values())


def test_sections_count_in_a_page_s_size_and_share_its_codec(
    ready: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A limit between the page with and without sections; the least quality is above it."""
    words, out = [str(ready.scene), "written", "further"], ready.folder / "out"
    alone = compare(words, out, CompareRequest(threads=1)).page_bytes
    monkeypatch.setattr("seatwright.page_sound.LARGE_PAGE", alone + 20_000)
    monkeypatch.setattr("seatwright.compare.LARGE_PAGE", alone + 20_000)
    assert compare(words, out, CompareRequest(threads=1)).audio.startswith("FLAC")
    made = compare(words, out, CompareRequest(threads=1, sections=True))
    files = page_files(out)
    assert len(files) == 6 and all(data.startswith(b"OggS") for data in files.values())
    assert made.page_bytes <= alone + 20_000
    assert len({len(soundfile.read(BytesIO(data))[0]) for data in files.values()}) == 1
    monkeypatch.setattr("seatwright.page_sound.LARGE_PAGE", 100_000)
    monkeypatch.setattr("seatwright.compare.LARGE_PAGE", 100_000)
    made = compare(words, out, CompareRequest(threads=1, sections=True))
    assert "quality 6" in made.audio
    assert any("no --sections, a shorter stretch" in text for text in made.warnings)


def test_a_small_page_carries_the_same_sound(tmp_path: Path) -> None:
    """Vorbis: as long to the sample, aligned, versions as loud as each other, half of FLAC's size.

    White noise loses what the encoder leaves out above 19 kHz, in all versions alike.
    """
    words, out = mixes(tmp_path, 0.1, 0.2), tmp_path / "out"
    lossless = compare(words, out)
    small = compare(words, out, CompareRequest(audio="vorbis"))
    assert small.page_bytes < 0.5 * lossless.page_bytes and small.trial == lossless.trial
    assert small.audio == "Vorbis of quality 8 of 10, lossy, as asked for"
    meter = pyloudnorm.Meter(RATE, filter_class="DeMan")
    loud = []
    for number, data in enumerate(page_files(out).values()):
        heard = soundfile.read(BytesIO(data))[0]
        source = matched(out, f"mix {number}")
        assert heard.shape == source.shape
        loud.append(meter.integrated_loudness(heard))
        lags = [np.vdot(heard[50 + lag : 90_050 + lag], source[50:90_050]) for lag in range(-9, 10)]
        assert np.argmax(lags) == 9
    assert len(loud) == 2 and abs(loud[0] - loud[1]) < 0.05


def test_sections_of_a_page_add_up_to_its_versions(ready: Any) -> None:
    words, out = [str(ready.scene), "written", "further"], ready.folder / "out"
    compare(words, out, CompareRequest(threads=1, sections=True))
    held = page_files(out)
    assert sorted(held) == ["v1", "v1-0", "v1-1", "v2", "v2-0", "v2-1"]
    heard = {key: soundfile.read(BytesIO(data))[0] for key, data in held.items()}
    for version in ("v1", "v2"):
        total = heard[f"{version}-0"] + heard[f"{version}-1"]
        assert np.abs(total - heard[version]).max() < 6 * 2.0**-15  # three times dither and step
        assert np.abs(heard[f"{version}-0"]).max() > 0.02
    (mix,) = mixes(ready.folder, 0.1)
    out = ready.folder / "none"
    assert "no section" in refused(
        SceneError, [str(ready.scene), mix], out, threads=1, sections=True
    )


def test_the_identity_of_a_trial_follows_from_all_the_rest(tmp_path: Path) -> None:
    compare(mixes(tmp_path, 0.1, 0.2), tmp_path / "out", CompareRequest(title="Über </b>"))
    trial = json.loads((tmp_path / "out" / "trial.json").read_text(encoding="utf-8"))
    rest = {key: value for key, value in trial.items() if key != "id"}
    text = json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert trial["id"] == hashlib.sha256(text.encode()).hexdigest()[:16]
    flac = tmp_path / "out" / "matched" / "mix 0.flac"
    assert trial["versions"][0]["sha256"] == hashlib.sha256(flac.read_bytes()).hexdigest()


def test_the_command_tells_levels_page_and_memory(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = mixes(tmp_path, 0.1, 0.2)
    with pytest.raises(SystemExit) as end:
        main(["compare", *words, "--out", str(tmp_path / "out")])
    told = capsys.readouterr()
    assert end.value.code in (0, None)
    for part in ("matched LUFS", "mix 1", "audition.html", "MB of memory"):
        assert part in told.out
    with pytest.raises(SystemExit) as end:
        main(["compare", *words, "--out", str(tmp_path / "out"), "--json"])
    facts = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)
    assert facts["page_bytes"] == (tmp_path / "out" / "audition.html").stat().st_size
    with pytest.raises(SystemExit) as end:
        main(["compare", words[0], "--out", str(tmp_path / "out")])
    assert end.value.code == 2


def test_seatings_are_compared_with_a_store_as_without(ready: Any) -> None:
    """What they have in common is found there the second time."""
    store = Store(ready.folder / "results")
    words = [str(ready.scene), "further", "louder"]
    with_store = compare(words, ready.folder / "with", store=store)
    without = compare(words, ready.folder / "without")
    for folder in ("with", "without"):
        assert len(list((ready.folder / folder / "renders").rglob("mix.wav"))) == 2
    one, other = (
        {path.name: path.read_bytes() for path in (ready.folder / folder).rglob("*.wav")}
        for folder in ("with", "without")
    )
    assert one == other
    assert with_store.trial == without.trial
    kept = {each.kind: each.count for each in store.holdings()}
    assert kept["responses"] > 0
    assert kept["sums"] > 0
