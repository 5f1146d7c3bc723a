"""What the page's player renders, sample by sample: alignment, crossfades, switching."""

from __future__ import annotations

from base64 import b64encode
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.signal
from numpy.typing import NDArray

from seatwright.disk.page_audio import vorbis

RATE = 48_000
FADE = 0.015
LEAD = 0.005
START = 0.02

RENDER = """async ([files, steps, seconds, rate, loop]) => {
  const context = new OfflineAudioContext(2, Math.round(seconds * rate), rate);
  const buffer = Engine.joined(context, files.length, Math.round(seconds * rate));
  for (const [place, file] of files.entries()) {
    Engine.join(buffer, place, await context.decodeAudioData(Ballot.fromBase64(file).buffer));
  }
  const graph = Engine.build(context, buffer, { fade: 0.015, places: files.map((_, i) => i),
    levels: files.map(() => 1), current: 0, loop });
  Engine.start(graph, 0, loop ? loop[0] : 0);
  steps.forEach(([version, now]) => Engine.switchTo(graph, version, now));
  const made = await context.startRendering();
  return [0, 1].map((channel) => Array.from(made.getChannelData(channel)));
}"""

DECODE = """async ([file, rate]) => {
  const context = new OfflineAudioContext(2, rate, rate);
  const made = await context.decodeAudioData(Ballot.fromBase64(file).buffer);
  return [0, 1].map((channel) => Array.from(made.getChannelData(channel)));
}"""

OFFLINE = """([seconds, rate, times]) => {
  performance.now = () => 0; // hands may take their time between two blocks
  window.AudioContext = function () {
    const context = new OfflineAudioContext(2, Math.round(seconds * rate), rate);
    window.further = context.resume.bind(context);
    context.resume = () => Promise.resolve();
    window.arrived = times.map((time) => context.suspend(time));
    window.made = context.startRendering();
    return context;
  };
}"""

Samples = NDArray[np.float64]


def played(
    listener: Any,
    kit: Any,
    versions: list[Samples],
    steps: list[tuple[int, float]],
    loop: tuple[float, float] | None = None,
) -> Samples:
    """What the page's engine renders of versions, shape (frames, 2)."""
    files = [b64encode(kit.flac(version)).decode() for version in versions]
    seconds = len(versions[0]) / RATE
    return np.array(listener.page.evaluate(RENDER, [files, steps, seconds, RATE, loop])).T


def line(begin: float, frames: int) -> Samples:
    """A linear rise from 0 to 1 over 15 ms from a time on."""
    return np.clip((np.arange(frames) / RATE - begin) / FADE, 0.0, 1.0)[:, None]


def decibels(samples: Samples) -> float:
    return float(20.0 * np.log10(np.abs(samples).max() + 1e-12))


def test_versions_decode_to_their_samples_without_any_offset(plain: Any, kit: Any) -> None:
    version = kit.music(1, 0.5)
    found = played(plain, kit, [version, version], [])
    wanted = version * line(0.0, len(version))
    assert np.abs(found - wanted).max() < 1e-5
    assert np.abs(found[2000:-10] - version[2001:-9]).max() > 0.1  # a sample aside is far off


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_vorbis_decodes_as_long_and_at_the_same_instant_as_flac(
    plain: Any, kit: Any, rate: int
) -> None:
    """Whatever the quality and however odd the length; a sample aside fits far worse."""
    noise = kit.music(5, 0.7)[:31_013]
    low = scipy.signal.sosfilt(scipy.signal.butter(4, 5_000, fs=rate, output="sos"), noise, axis=0)
    lossy = [vorbis(low.astype(np.float32), rate, quality) for quality in (6, 8, 10)]
    texts = [b64encode(data).decode() for data in (kit.flac(low, rate), *lossy)]
    lossless, *others = (np.array(plain.page.evaluate(DECODE, [text, rate])).T for text in texts)
    for heard in others:
        assert heard.shape == lossless.shape == low.shape
        apart = [np.square(np.roll(heard, lag, axis=0) - lossless).mean() for lag in range(-3, 4)]
        assert np.argmin(apart) == 3 and apart[3] < 0.3 * min(apart[2], apart[4])
        ends = np.abs(heard - lossless)[[*range(300), *range(-300, 0)]]
        assert ends.max() < 0.05 < np.abs(lossless).max()


def test_switching_between_equal_versions_leaves_no_trace(plain: Any, kit: Any) -> None:
    version = kit.music(2, 1.0)
    steps = [(1, 0.2), (0, 0.203), (1, 0.21), (0, 0.5), (1, 0.7003)]
    still = played(plain, kit, [version, version], [])
    moved = played(plain, kit, [version, version], steps)
    assert np.abs(still).max() > 0.19
    assert decibels(moved - still) < -120.0


def test_a_switch_is_a_linear_crossfade_at_the_same_instant(plain: Any, kit: Any) -> None:
    one, two = kit.music(3, 0.6), kit.music(4, 0.6)
    found = played(plain, kit, [one, two], [(1, 0.3)])
    rise = line(0.3 + LEAD, len(one))
    wanted = (one * (1.0 - rise) + two * rise) * line(0.0, len(one))
    assert np.abs(found - wanted).max() < 1e-4


def test_a_switch_within_a_crossfade_waits_for_its_end(plain: Any, kit: Any) -> None:
    one, two, three = (np.full((24_000, 2), value) for value in (0.5, -0.5, 0.25))
    found = played(plain, kit, [one, two, three], [(1, 0.2), (2, 0.205)])[1000:, 0]
    assert np.abs(np.diff(found)).max() < 1.0 / (FADE * RATE) + 1e-4  # no jump anywhere
    assert found[-1] == pytest.approx(0.25, abs=1e-4)
    assert found.min() == pytest.approx(-0.5, abs=1e-3)


def test_twelve_versions_and_a_twin_stay_apart_and_together(plain: Any, kit: Any) -> None:
    """The most a page has: 26 channels side by side, each version alone where it is chosen."""
    versions = [kit.music(seed, 0.5) for seed in range(13)]
    found = played(plain, kit, versions, [(12, 0.1), (5, 0.3)])
    assert np.abs(found - versions[0])[1_000:4_800].max() < 1e-5
    assert np.abs(found - versions[12])[6_000:14_400].max() < 1e-5
    assert np.abs(found - versions[5])[16_000:].max() < 1e-5


def test_a_loop_goes_round_to_the_sample(plain: Any, kit: Any) -> None:
    """From 0.1 s to 0.25 s: 7200 samples round and round, in both versions alike."""
    one, two = kit.music(6, 0.6), kit.music(7, 0.6)
    found = played(plain, kit, [one, two], [(1, 0.3)], (0.1, 0.25))
    places = 4_800 + np.arange(len(one)) % 7_200
    assert np.abs(found - one[places])[1_000:14_000].max() < 1e-5
    assert np.abs(found - two[places])[16_000:].max() < 1e-5


def rendered_page(
    opened: Any, path: Path, seconds: float, clicks: list[tuple[float, str]]
) -> tuple[Samples, Any]:
    """A whole page, from the level check on, in an offline context: its sound, and the listener.

    Hands act while rendering waits at each time, so that the sound is the same on every machine.
    """
    listener = opened(path)
    times = [0.01, 0.02, *(time for time, _ in clicks)]
    listener.page.evaluate(OFFLINE, [seconds, RATE, times])
    listener.page.get_by_label("headphones").check()
    listener.page.locator("#check").click()
    for place, wait in enumerate(times):
        listener.page.evaluate("(place) => window.arrived[place].then(() => 0)", place)
        if place < 2:
            listener.page.wait_for_timeout(300)  # the page looks at the clock now and then
        if place == 1:
            listener.page.locator("#ready:not([disabled])").click()
        if place >= 2:
            assert wait == clicks[place - 2][0]
            listener.page.locator(clicks[place - 2][1]).click()
        listener.page.evaluate("window.further()")
    sound = listener.page.evaluate(
        "window.made.then((made) => [0, 1].map((side) => Array.from(made.getChannelData(side))))"
    )
    return np.array(sound).T, listener


def quantum(time: float) -> float:
    """Where an offline context halts: a whole number of 128 frames."""
    return np.floor(time * RATE / 128.0) * 128.0 / RATE


def letter_of(version: str) -> str:
    return f"#letters [data-version={version}]"


def test_the_hidden_twin_cannot_be_heard_through_the_page_itself(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    """The real page, its buttons pressed: a version and its twin in turn, below -80 dBFS apart."""
    path = tmp_path / "page.html"
    kit.written_page(path, ["one", "two"], twin=True, seconds=1.0)
    turns = [(0.3 + 0.0917 * n, letter_of("v3" if n % 2 else "v1")) for n in range(8)]
    clicks = [(0.1, letter_of("v1")), (0.2, "#play"), *turns]
    found, _ = rendered_page(opened, path, 1.15, clicks)
    begin = round((quantum(0.2) + START) * RATE)
    heard = found[begin : begin + 43_000]
    wanted = kit.music(0, 1.0)[:43_000] * line(0.0, 43_000)
    assert decibels(heard) > -15.0
    assert decibels(heard - wanted) < -80.0


def test_every_version_is_at_the_same_instant_in_the_page_itself(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    """Clicks right after Play, and later: what is heard is each version at one running place."""
    path = tmp_path / "page.html"
    kit.written_page(path, ["one", "two", "three"], seconds=1.0)
    clicks = [
        (0.1, letter_of("v1")),
        (0.2, "#play"),
        (0.203, letter_of("v2")),  # within the 20 ms before the music starts
        (0.5, letter_of("v3")),
        (0.8, letter_of("v1")),
    ]
    found, listener = rendered_page(opened, path, 1.15, clicks)
    begin = round((quantum(0.2) + START) * RATE)
    one, two, three = (kit.music(seed, 1.0) for seed in range(3))
    for version, first, last in ((two, 0.25, 0.5), (three, 0.53, 0.8), (one, 0.83, 1.1)):
        stretch = slice(round(first * RATE), round(last * RATE))
        place = slice(stretch.start - begin, stretch.stop - begin)
        assert decibels(found[stretch] - version[place]) < -80.0
        assert decibels(found[stretch]) > -15.0
    assert listener.page.locator(letter_of("v1")).get_attribute("aria-pressed") == "true"


def test_levels_as_rendered_bring_back_what_matching_took(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    """The page's second version is 1 dB softer as rendered, the first as it is."""
    path = tmp_path / "page.html"
    kit.written_page(path, ["one", "two"], seconds=1.0)
    clicks = [
        (0.1, letter_of("v1")),
        (0.2, "#play"),
        (0.4, "input[name=levels][value=rendered]"),
        (0.6, letter_of("v2")),
        (0.9, "input[name=levels][value=matched]"),
    ]
    found, _ = rendered_page(opened, path, 1.15, clicks)
    begin = round((quantum(0.2) + START) * RATE)
    one, two = (kit.music(seed, 1.0) for seed in range(2))
    softer = 10.0 ** (-1.0 / 20.0)
    for wanted, first, last in ((one, 0.3, 0.6), (two * softer, 0.64, 0.9), (two, 0.94, 1.1)):
        stretch = slice(round(first * RATE), round(last * RATE))
        place = slice(stretch.start - begin, stretch.stop - begin)
        assert decibels(found[stretch] - wanted[place]) < -80.0


def test_the_level_check_rises_slowly_and_ends_before_the_music(
    opened: Any, tmp_path: Path, kit: Any
) -> None:
    """Nobody is surprised: a tenth of the way after 0.4 s, nothing of it once the level is set."""
    path = tmp_path / "page.html"
    kit.written_page(path, ["one", "two"], seconds=1.0)
    listener = opened(path)
    listener.page.evaluate(OFFLINE, [9.0, RATE, [0.01]])
    listener.page.locator("#check").click()
    listener.page.evaluate("window.arrived[0].then(window.further)")
    sound = listener.page.evaluate("window.made.then((made) => Array.from(made.getChannelData(0)))")
    level = [np.std(sound[round(t * RATE) : round((t + 0.4) * RATE)]) for t in (0.0, 2.0, 5.0)]
    assert level[0] < 0.1 * level[2] and level[1] == pytest.approx(0.55 * level[2], rel=0.15)
    assert level[2] == pytest.approx(np.std(kit.music(0, 1.0)), rel=0.15)  # as loud as the music
    assert np.abs(sound[round(8.1 * RATE) :]).max() == 0.0
    found, _ = rendered_page(opened, path, 0.5, [(0.1, letter_of("v1"))])
    assert np.abs(found[round(0.1 * RATE) :]).max() == 0.0
