"""The audition page in a real browser: what it plays, sample by sample, and a whole vote."""

from __future__ import annotations

import hashlib
import json
import zlib
from base64 import b64encode, urlsafe_b64decode
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.signal
import soundfile
from numpy.typing import NDArray

from seatwright.disk.page_audio import vorbis
from seatwright.listening.comparison import common_waveform
from seatwright.listening.manifest import canonical, trial_manifest, version_row
from seatwright.views.audition_page import Audition, PageVersion, audition_page

RATE = 48_000
FADE = 0.015
LEAD = 0.005
HOSTILE = [
    "</script><script>window.caught = 1</script>",
    "\"><img src=x onerror='window.caught = 1'>\u202e\u2066\x07",
    "שלום " + "very long " * 1_000,
]


def music(seed: int, seconds: float) -> NDArray[np.float64]:
    """Noise of 16 bits, shape (frames, 2)."""
    rng = np.random.default_rng(seed)
    frames = round(seconds * RATE)
    return np.asarray(np.rint(rng.uniform(-0.2, 0.2, (frames, 2)) * 2**15) / 2**15)


def flac(samples: NDArray[np.float64], rate: int = RATE) -> bytes:
    held = BytesIO()
    soundfile.write(held, samples, rate, format="FLAC", subtype="PCM_16")
    return held.getvalue()


def written_page(
    path: Path,
    names: list[str],
    *,
    seconds: float = 1.2,
    twin: bool = False,
    trials: int = 0,
    title: str = "A trial",
    seats: tuple[str, ...] = ("horns", "violas"),
    plan: str = "",
    sections: dict[str, list[bytes]] | None = None,
) -> dict[str, Any]:
    """Write a page with one version a name; its manifest."""
    versions = [music(number, seconds) for number in range(len(names))]
    rows = [version_row(n, name, f"{n:064x}") for n, name in enumerate(names, start=1)]
    if twin:
        rows.append(version_row(len(rows) + 1, "twin", rows[0]["sha256"], "v1"))
    manifest = trial_manifest(title, seconds, rows, seats, trials)
    page = audition_page(
        Audition(
            manifest,
            "FLAC",
            RATE,
            [PageVersion(flac(one), -float(n)) for n, one in enumerate(versions)],
            common_waveform([one.astype(np.float32) for one in versions]),
            (),
            plan,
            sections or {},
        )
    )
    path.write_text(page, encoding="utf-8")
    return manifest


@pytest.fixture
def opened(chromium: Any, tmp_path: Path) -> Iterator[Any]:
    """A function that opens a page and keeps what it complains of and asks for."""
    context = chromium.new_context(accept_downloads=True)
    told: list[str] = []

    def open_page(path: Path) -> tuple[Any, list[str]]:
        page = context.new_page()
        page.on("console", lambda message: told.append(message.text))
        page.on("pageerror", lambda error: told.append(str(error)))
        page.on("request", lambda request: told.append(f"asked for {request.url}"))
        page.goto(path.as_uri())
        page.locator("#check:not([disabled])").wait_for(timeout=20_000)
        assert told == [f"asked for {path.as_uri()}"]
        return page, told

    yield open_page
    context.close()


@pytest.fixture
def plain(opened: Any, tmp_path: Path) -> Any:
    path = tmp_path / "page.html"
    written_page(path, ["one", "two"])
    return opened(path)[0]


RENDER = """async ([files, steps, seconds, rate]) => {
  const context = new OfflineAudioContext(2, Math.round(seconds * rate), rate);
  const buffers = [];
  for (const file of files) {
    buffers.push(await context.decodeAudioData(Ballot.fromBase64(file).buffer));
  }
  const graph = Engine.build(context, buffers,
    { fade: 0.015, levels: buffers.map(() => 1), current: 0, loop: null });
  Engine.start(graph, 0, 0);
  steps.forEach(([version, now]) => Engine.switchTo(graph, version, now));
  const made = await context.startRendering();
  return [0, 1].map((channel) => Array.from(made.getChannelData(channel)));
}"""


def played(
    page: Any, versions: list[NDArray[np.float64]], steps: list[tuple[int, float]]
) -> NDArray[np.float64]:
    """What the page's player renders of versions, shape (frames, 2)."""
    files = [b64encode(flac(version)).decode() for version in versions]
    seconds = len(versions[0]) / RATE
    return np.array(page.evaluate(RENDER, [files, steps, seconds, RATE])).T


def line(begin: float, frames: int) -> NDArray[np.float64]:
    """A linear rise from 0 to 1 over 15 ms from a time on."""
    return np.clip((np.arange(frames) / RATE - begin) / FADE, 0.0, 1.0)[:, None]


def test_versions_decode_to_their_samples_without_any_offset(plain: Any) -> None:
    version = music(1, 0.5)
    found = played(plain, [version, version], [])
    wanted = version * line(0.0, len(version))
    assert np.abs(found - wanted).max() < 1e-5
    assert np.abs(found[2000:-10] - version[2001:-9]).max() > 0.1  # a sample aside is far off


DECODE = """async ([file, rate]) => {
  const context = new OfflineAudioContext(2, rate, rate);
  const made = await context.decodeAudioData(Ballot.fromBase64(file).buffer);
  return [0, 1].map((channel) => Array.from(made.getChannelData(channel)));
}"""


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_vorbis_decodes_as_long_and_at_the_same_instant_as_flac(plain: Any, rate: int) -> None:
    """Whatever the quality and however odd the length; a sample aside fits far worse."""
    noise = music(5, 0.7)[:31_013]
    low = scipy.signal.sosfilt(scipy.signal.butter(4, 5_000, fs=rate, output="sos"), noise, axis=0)
    files = [
        flac(low, rate),
        *(vorbis(low.astype(np.float32), rate, quality) for quality in (6, 8, 10)),
    ]
    texts = [b64encode(data).decode() for data in files]
    lossless, *lossy = (np.array(plain.evaluate(DECODE, [text, rate])).T for text in texts)
    for heard in lossy:
        assert heard.shape == lossless.shape == low.shape
        apart = [np.square(np.roll(heard, lag, axis=0) - lossless).mean() for lag in range(-3, 4)]
        assert np.argmin(apart) == 3 and apart[3] < 0.3 * min(apart[2], apart[4])
        ends = np.abs(heard - lossless)[[*range(300), *range(-300, 0)]]
        assert ends.max() < 0.05 < np.abs(lossless).max()


def test_switching_between_equal_versions_leaves_no_trace(plain: Any) -> None:
    version = music(2, 1.0)
    steps = [(1, 0.2), (0, 0.203), (1, 0.21), (0, 0.5), (1, 0.7003)]
    still = played(plain, [version, version], [])
    moved = played(plain, [version, version], steps)
    assert np.abs(still).max() > 0.19
    error = 20 * np.log10(np.abs(moved - still).max() + 1e-12)
    assert error < -120.0


def test_a_switch_is_a_linear_crossfade_at_the_same_instant(plain: Any) -> None:
    one, two = music(3, 0.6), music(4, 0.6)
    found = played(plain, [one, two], [(1, 0.3)])
    rise = line(0.3 + LEAD, len(one))
    wanted = (one * (1.0 - rise) + two * rise) * line(0.0, len(one))
    assert np.abs(found - wanted).max() < 1e-4


def test_a_switch_within_a_crossfade_waits_for_its_end(plain: Any) -> None:
    one, two, three = (np.full((24_000, 2), value) for value in (0.5, -0.5, 0.25))
    found = played(plain, [one, two, three], [(1, 0.2), (2, 0.205)])[1000:, 0]
    assert np.abs(np.diff(found)).max() < 1.0 / (FADE * RATE) + 1e-4  # no jump anywhere
    assert found[-1] == pytest.approx(0.25, abs=1e-4)
    assert found.min() == pytest.approx(-0.5, abs=1e-3)


def test_sha_256_is_that_of_the_standard(plain: Any) -> None:
    """Lengths around the ends of a block (FIPS 180-4)."""
    for length in (0, 3, 55, 56, 63, 64, 65, 1000):
        text = "é" * (length // 2) + "a" * (length % 2)
        found = plain.evaluate("(text) => Ballot.sha256(new TextEncoder().encode(text))", text)
        assert found == hashlib.sha256(text.encode()).hexdigest()


def test_orders_are_drawn_alike(plain: Any) -> None:
    """All six orders of three, 600 draws: chi-square with 5 degrees below 25.7 (p = 0.0001)."""
    orders = plain.evaluate(
        "() => Array.from({length: 600}, () => Trial.shuffled(['a', 'b', 'c']).join(''))"
    )
    counts = np.unique(orders, return_counts=True)[1]
    assert len(counts) == 6
    assert ((counts - 100) ** 2 / 100).sum() < 25.7


def started(page: Any) -> None:
    page.get_by_label("headphones").check()
    page.locator("#check").click()
    page.locator("#ready").click()


def heard(page: Any, seconds: float, count: int) -> None:
    page.locator("#play").click()
    for number in range(count):
        page.keyboard.press("abcdefgh"[number])
        page.wait_for_timeout(seconds * 1000)
    page.locator("#play").click()


def ranked(page: Any, places: list[int]) -> None:
    for letter, place in zip("ABCDEFGH", places, strict=False):
        page.get_by_label(f"Place of {letter}", exact=True).select_option(str(place))


def voted(page: Any) -> None:
    page.locator("#finish:not([disabled])").click(timeout=3_000)


def saved(page: Any) -> dict[str, Any]:
    with page.expect_download() as download:
        page.locator("#save").click()
    ballot = json.loads(Path(download.value.path()).read_text(encoding="utf-8"))
    assert isinstance(ballot, dict)
    return ballot


def test_a_vote_from_the_caution_to_the_ballot(opened: Any, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    manifest = written_page(path, ["near", "far"], twin=True, trials=2, seconds=1.0)
    page, told = opened(path)
    assert page.locator("#listen").is_hidden()
    assert page.locator("#ready").is_disabled()
    started(page)
    page.locator("#loop-from").click()  # from the beginning on
    page.locator("#play").click()
    page.wait_for_timeout(700)
    page.locator("#loop-to").click()
    page.locator("#play").click()
    assert page.locator("#finish").is_disabled()
    assert "Listen to B, C" in page.locator("#guards").text_content().replace("A, ", "")
    ranked(page, [2, 1, 2])
    assert page.locator("#finish").is_disabled()  # places alone are no vote
    heard(page, 1.2, 3)
    assert page.locator("#answer-1").is_disabled()
    page.locator("#play").click()
    for number in (1, 2):
        page.get_by_role("button", name="X", exact=True).click()
        page.locator(f"#answer-{number}").click()
    page.locator("#play").click()
    page.locator("#comment-text").fill('dark "horns" \u00e9')
    page.get_by_role("button", name="Keep this comment").click()
    assert "near" not in page.locator("body").inner_text()  # still blind
    voted(page)
    assert "near" in page.locator("#names").inner_text()
    assert "same version" in page.locator("#twin").text_content()
    page.locator("#comment-seat").select_option(label="violas")
    page.locator("#comment-text").fill("too close")
    page.get_by_role("button", name="Keep this comment").click()
    ballot = saved(page)
    check_ballot(ballot, manifest)
    assert decoded_code(page.locator("#code").input_value()) == ballot
    assert told == [f"asked for {path.as_uri()}"]


def check_ballot(ballot: dict[str, Any], manifest: dict[str, Any]) -> None:
    facts = {key: value for key, value in ballot.items() if key != "checksum"}
    assert ballot["checksum"] == hashlib.sha256(canonical(facts)).hexdigest()
    assert (ballot["seatwright_ballot"], ballot["trial"]) == (1, manifest["id"])
    assert len(bytes.fromhex(ballot["listener"])) == 16
    assert (ballot["playback"], ballot["levels"]) == ("headphones", "matched")
    letters = ballot["letters"]
    assert sorted(letters.values()) == ["v1", "v2", "v3"] and list(letters) == ["A", "B", "C"]
    assert ballot["ranking"] == [[letters["B"]], sorted([letters["A"], letters["C"]])]
    assert all(1.0 <= ballot["heard"][version] < 4.0 for version in ("v1", "v2", "v3"))
    assert 2 <= ballot["switches"] <= 12
    assert [set(each) for each in ballot["identification"]] == [{"x", "answer"}] * 2
    assert {each["x"] for each in ballot["identification"]} <= {"v1", "v2"}
    assert sorted(each["answer"] for each in ballot["identification"]) == ["v1", "v2"]
    first, second = ballot["comments"]
    assert (first["text"], first["seat"]) == ('dark "horns" \u00e9', None)
    assert (second["text"], second["seat"]) == ("too close", "violas")
    assert 0.0 <= first["seconds"] <= 1.0
    assert ballot["begun"] < ballot["ended"] and ballot["ended"].endswith("Z")


def decoded_code(code: str) -> dict[str, Any]:
    head, _, body = code.partition(".")
    data = urlsafe_b64decode(body + "=" * (-len(body) % 4))
    ballot = json.loads(zlib.decompress(data) if head == "SWB1" else data)
    assert isinstance(ballot, dict)
    return ballot


def test_hostile_names_stay_text(opened: Any, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    written_page(path, HOSTILE, title=HOSTILE[0], seats=tuple(HOSTILE), seconds=0.6)
    page, told = opened(path)
    started(page)
    heard(page, 0.8, 3)
    ranked(page, [1, 1, 1])
    page.locator("#comment-text").fill(HOSTILE[0] + "\ud800")
    page.get_by_role("button", name="Keep this comment").click()
    voted(page)
    assert page.evaluate("typeof window.caught") == "undefined"
    names = page.locator("#names bdi").all_text_contents()
    assert HOSTILE[0] in names and HOSTILE[2] in names
    assert any("onerror" in name and "\\u{202e}" in name and "\u202e" not in name for name in names)
    assert page.locator("img").count() == 0
    assert page.locator("h1").inner_text() == HOSTILE[0]
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    ballot = saved(page)
    facts = {key: value for key, value in ballot.items() if key != "checksum"}
    assert ballot["checksum"] == hashlib.sha256(canonical(facts)).hexdigest()
    assert told == [f"asked for {path.as_uri()}"]


def test_a_section_alone_is_played_and_does_not_count_as_heard(opened: Any, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    alone = {"brass": [flac(0.5 * music(n, 0.6)) for n in (7, 8)]}
    written_page(path, ["one", "two"], seconds=0.6, sections=alone)
    page, told = opened(path)
    started(page)
    page.locator("#solo").select_option(label="brass")
    page.get_by_text("does not count as heard").wait_for()
    heard(page, 0.8, 2)
    ranked(page, [1, 2])
    page.wait_for_timeout(200)
    assert "Listen to A, B" in page.locator("#guards").text_content()
    page.locator("#solo").select_option(label="everything")
    heard(page, 0.8, 2)
    voted(page)
    assert told == [f"asked for {path.as_uri()}"]


def test_controls_have_names_and_are_large_enough(plain: Any) -> None:
    """44 pixels, as a finger wants them (WCAG 2.2, 2.5.5), on a telephone's screen."""
    plain.set_viewport_size({"width": 390, "height": 800})
    started(plain)
    for control in plain.locator("button:visible, select:visible, input[type=range]").all():
        box = control.bounding_box()
        assert box["height"] >= 44 and box["width"] >= 44
    nameless = plain.evaluate(
        """() => Array.from(document.querySelectorAll("button, select, textarea, input"))
          .filter((each) => !(each.textContent.trim() && each.tagName === "BUTTON")
            && !each.getAttribute("aria-label") && !(each.labels && each.labels.length))
          .map((each) => each.id)"""
    )
    assert nameless == []


def test_a_browser_without_the_codec_gets_a_clear_word(opened: Any, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    written_page(path, ["one", "two"])
    page, _ = opened(path)
    page.add_init_script(
        "AudioContext.prototype.decodeAudioData = () => Promise.reject(new Error('no codec'));"
    )
    page.reload()
    page.locator("#trouble:not([hidden])").wait_for()
    assert "cannot decode the FLAC audio" in page.locator("#trouble").text_content()
    assert page.locator("#check").is_disabled()
