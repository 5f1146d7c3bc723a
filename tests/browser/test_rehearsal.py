"""The rehearsal page in a real browser: drawn, moved by keys and hand, heard without a click."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from threading import Thread
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from seatwright.disk.scene_file import read_scene
from seatwright.serving.desk import Desk
from seatwright.serving.page_server import PageServer
from seatwright.stage.request import Request

RATE = 16_000
FADE = 0.025
HOSTILE = "<img src=x onerror='window.caught = 1'>\u202e" + "long " * 30
SCENE = f"""# By hand
title = {json.dumps("</title><script>window.caught = 1</script>")}
[hall]
size = {{ width = 12, depth = 16, height = 7 }}
reverberation = 0.5
[seats.oboe]
stem = "oboe.wav"
section = "winds"
bearing = -20 # left
distance = 2.8
[seats.violas]
stem = "violas.wav"
section = "strings"
x = 1.8
y = 2.2
[seats.{json.dumps(HOSTILE)}]
stem = "horn.wav"
section = {json.dumps(HOSTILE[:60])}
x = -0.5
y = 3.6
[seatings.across]
violas = {{ x = -1.8, y = 2.2 }}
"""

TAP = """
(() => {
  const code = `registerProcessor("tap", class extends AudioWorkletProcessor {
    process(inputs) {
      const [left, right] = inputs[0];
      if (left) {
        this.port.postMessage([currentFrame, left.slice(), (right || left).slice()]);
      }
      return true;
    }
  });`;
  window.taps = [];
  const Plain = window.AudioContext;
  window.AudioContext = class extends Plain {
    constructor(options) {
      super(options);
      const url = URL.createObjectURL(new Blob([code], { type: "text/javascript" }));
      this.tapReady = this.audioWorklet.addModule(url);
    }
  };
  const connect = AudioNode.prototype.connect;
  AudioNode.prototype.connect = function (to, ...rest) {
    if (to === this.context.destination && this.context.tapReady) {
      this.context.tapReady.then(() => {
        const tap = new AudioWorkletNode(this.context, "tap", { outputChannelCount: [2],
          channelCount: 2, channelCountMode: "explicit" });
        const kept = [];
        window.taps.push(kept);
        tap.port.onmessage = (event) => kept.push(event.data);
        connect.call(this, tap);
        const mute = this.context.createGain();
        mute.gain.value = 0;
        connect.call(tap, mute);
        connect.call(mute, to);
      });
    }
    return connect.call(this, to, ...rest);
  };
})();
"""
"""Keeps every sample that goes to the output, with its place in time."""


@contextmanager
def served(folder: Path, **request: Any) -> Iterator[PageServer]:
    asked = Request(**{"start": 0.0, "stop": 1.5, **request})
    with closing(Desk(folder / "scene.toml", asked)) as desk:
        server = PageServer(desk)
        Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
        try:
            yield server
        finally:
            server.shutdown()
            server.server_close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for number, name in enumerate(["oboe", "violas", "horn"]):
        music = np.random.default_rng(number).uniform(-0.1, 0.1, 2 * RATE)
        soundfile.write(tmp_path / f"{name}.wav", music, RATE)
    (tmp_path / "scene.toml").write_text(SCENE, encoding="utf-8")
    return tmp_path


@contextmanager
def opened(chromium: Any, server: PageServer, tap: bool = False, **context: Any) -> Iterator[Any]:
    """A page with its level set; whatever goes wrong in its scripts fails the test."""
    held = chromium.new_context(bypass_csp=tap, **context)
    if tap:
        held.add_init_script(TAP)
    page = held.new_page()
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on(
        "console",
        lambda line: (
            problems.append(line.text)
            if line.type == "error" and "status of 4" not in line.text
            else None
        ),
    )
    page.goto(server.url)
    yield page
    assert problems == []
    held.close()


def begin(page: Any) -> None:
    """Level check, then play."""
    page.locator("#check:not([disabled])").click(timeout=60_000)
    page.locator("#ready").click()
    page.locator("#play").click()
    page.get_by_role("button", name="Stop", exact=True).wait_for()


def until(page: Any, holds: str) -> None:
    """Wait for what a script says; the page's own policy forbids to have it wait by itself."""
    for _ in range(200):
        if page.evaluate(holds):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never came: {holds}")


def loop_of(server: PageServer) -> NDArray[np.float32]:
    found = server.desk.rehearsal.loop.sound_after(0, 30.0)
    assert found is not None
    return found[1]


def captured(page: Any) -> tuple[int, NDArray[np.float64]]:
    """First frame, and all samples up to now, shape (2, frames), of the player's output."""
    blocks = page.evaluate("window.taps[0].map(([at, l, r]) => [at, Array.from(l), Array.from(r)])")
    blocks = blocks[96:]  # a recorder that was just connected may miss a block, or count one twice
    starts = [block[0] for block in blocks]
    assert np.all(np.diff(starts) == 128)  # nothing was lost on the way
    samples = np.array([[block[1], block[2]] for block in blocks])
    return starts[0], samples.transpose(1, 0, 2).reshape(2, -1)


def test_nothing_is_played_before_the_level_is_set(chromium: Any, folder: Path) -> None:
    with served(folder) as server, opened(chromium, server) as page:
        page.locator("#check:not([disabled])").wait_for(timeout=60_000)
        assert page.locator("#play").is_disabled()
        assert page.locator("#ready").is_disabled()
        assert "Turn the volume of your computer and amplifier down first" in page.inner_text(
            "body"
        )
        begin(page)
        assert not page.locator("#before").is_visible()


def test_a_move_by_keyboard_changes_the_sound_at_one_place_without_a_click(
    chromium: Any, folder: Path
) -> None:
    with served(folder) as server, opened(chromium, server, tap=True) as page:
        begin(page)
        old = loop_of(server)
        page.wait_for_timeout(2_500)
        page.locator("#seat").select_option("violas")
        page.locator("g.seat.chosen").focus()
        page.keyboard.press("Shift+ArrowLeft")
        page.wait_for_timeout(1_500)
        (time,) = page.evaluate("window.rehearsalTimes")
        first, heard = captured(page)
        new = loop_of(server)
    frames = old.shape[1]
    gain = 10.0 ** (-10.0 / 20.0)
    change = round(time["when"] * RATE) - first
    before = heard[:, change - frames : change] / gain
    shift = phase_of(before, old)
    expected_old, expected_new = (
        np.take(loop, np.arange(len(heard[0])) - (change - frames) + shift, axis=1, mode="wrap")
        for loop in (old, new)
    )
    rising = np.clip((np.arange(len(heard[0])) - change) / (FADE * RATE), 0.0, 1.0)
    expected = gain * ((1.0 - rising) * expected_old + rising * expected_new)
    after_start = slice(change - frames, change + RATE)
    assert np.abs(expected_old - expected_new).max() > 1e-3  # there is a change to be heard
    # gains of ramps are computed in float32
    np.testing.assert_allclose(
        heard[:, after_start], expected[:, after_start], atol=3e-5 * np.abs(old).max() + 2e-6
    )


@pytest.mark.parametrize("size", [(1280, 800), (1024, 768), (1920, 1080), (390, 844)])
def test_player_buttons_and_the_whole_chart_stand_on_one_screen(
    chromium: Any, folder: Path, size: tuple[int, int]
) -> None:
    screen = {"width": size[0], "height": size[1]}
    with served(folder) as server, opened(chromium, server, viewport=screen) as page:
        begin(page)
        page.wait_for_timeout(300)
        tops, ends = zip(
            *(
                page.evaluate(
                    "one => { const {top, bottom} = document.querySelector(one)"
                    ".getBoundingClientRect(); return [top, bottom]; }",
                    one,
                )
                for one in ("#play", "#undo", "#save", "#chart svg")
            ),
            strict=True,
        )
        player = page.evaluate("document.getElementById('music').getBoundingClientRect().bottom")
    assert min(tops) >= 0
    assert max(ends) <= size[1] or size[0] < 400  # a telephone is scrolled
    assert min(tops[1:]) >= player - 1  # nothing is hidden below the player


OFFLINE = """async ([rate, whole]) => {
  const context = new OfflineAudioContext(2, 3 * rate, rate);
  const flat = (value, frames) =>
    Engine.bufferOf(context, new Float32Array(2 * frames).fill(value), rate);
  const player = Engine.build(context, 0.025);
  player.out.gain.value = 1;
  Engine.start(player, flat(0.25, 2 * rate), 0.5);
  Engine.begin(player, flat(0.75, rate), 0.4, 2);
  if (whole) {
    Engine.replace(player, flat(0.75, 2 * rate));
  }
  const heard = await context.startRendering();
  return Array.from(heard.getChannelData(0));
}"""


@pytest.mark.parametrize("whole", [True, False])
def test_a_rest_that_is_late_brings_the_old_sound_back_and_never_silence(
    chromium: Any, folder: Path, whole: bool
) -> None:
    with served(folder) as server, opened(chromium, server) as page:
        heard = np.array(page.evaluate(OFFLINE, [RATE, whole]))
    begun = heard[round(0.05 * RATE) :]  # after the lead and the fading in
    assert begun.min() >= 0.25 - 1e-6
    assert begun.max() == pytest.approx(0.75, abs=1e-6)
    assert np.abs(np.diff(begun)).max() < 1.1 * 0.5 / (0.025 * RATE)  # no faster than a crossfade
    assert heard[-1] == pytest.approx(0.75 if whole else 0.25, abs=1e-6)
    assert np.mean(heard > 0.7) == pytest.approx(0.98 if whole else 0.27, abs=0.02)


def phase_of(piece: NDArray[np.float64], loop: NDArray[np.float32]) -> int:
    """By how many samples a loop is ahead where a piece as long as it begins."""
    product = np.fft.rfft(loop) * np.conj(np.fft.rfft(piece))
    return int(np.argmax(np.fft.irfft(product, n=loop.shape[1]).sum(axis=0)))


SLOW_SOUND = """
(() => {
  const plain = window.fetch;
  window.questions = [];
  window.release = null;
  window.fetch = async (path, ...rest) => {
    const sound = String(path).startsWith("sound");
    if (sound) {
      window.questions.push(path);
    }
    const answer = await plain(path, ...rest);
    if (!sound || answer.status !== 200 || !window.holding) {
      return answer;
    }
    const reader = answer.body.getReader();
    const come = new Promise((done) => { window.release = done; });
    const read = () => come.then(() => reader.read());
    return { status: 200, headers: answer.headers, body: { getReader: () => ({ read }) } };
  };
})();
"""
"""Holds the samples of an answer back, as a busy machine may."""


def test_a_sound_of_before_a_reload_does_not_hide_that_of_after_it(
    chromium: Any, folder: Path
) -> None:
    with served(folder) as server, opened(chromium, server) as page:
        page.evaluate(SLOW_SOUND)
        begin(page)
        for x in (1.5, 1.4, 1.3):  # versions the new session will not reach
            server.desk.rehearsal.move("violas", (x, 2.2), None)
            server.desk.rehearsal.save()
            page.wait_for_timeout(400)
        page.evaluate("window.holding = true")
        server.desk.rehearsal.move("violas", (1.2, 2.2), None)
        until(page, "window.release !== null")
        server.desk.rehearsal.save()
        server.desk.reload()
        server.desk.rehearsal.loop.sound_after(0, 30.0)
        asks = "performance.getEntriesByType('resource').some((e) => e.name.includes('session=2'))"
        until(page, asks)  # the page has heard of the new session
        page.evaluate("window.holding = false; window.release()")
        asked = "window.questions.find((path) => path.includes('session=2'))"
        until(page, f"Boolean({asked})")
        found = page.evaluate(asked)
        assert "after=0&" in found


def test_keys_move_turn_and_choose_and_saving_writes_it(chromium: Any, folder: Path) -> None:
    with served(folder) as server, opened(chromium, server) as page:
        begin(page)
        page.locator("g.seat.chosen").focus()
        for key in ("ArrowRight", "ArrowRight", "ArrowUp", "PageDown"):
            page.keyboard.press(key)
        page.keyboard.press("n")
        assert page.locator("#card-title").inner_text() == "violas"
        page.keyboard.press("Shift+ArrowDown")
        page.get_by_text("Not saved yet.").wait_for()
        page.wait_for_timeout(500)  # drawn anew by now: the focus is where it was
        assert page.evaluate("document.activeElement.matches('g.seat.chosen')")
        page.locator("#save:not([disabled])").click()
        page.get_by_text("Saved into scene.toml.").wait_for()
        said = page.locator("g.seat.chosen").get_attribute("aria-label")
        assert said.startswith("violas, strings, bearing 40 degrees, 2.8 metres")
    text = (folder / "scene.toml").read_text(encoding="utf-8")
    assert text.startswith("# By hand\n")
    seats = read_scene(folder / "scene.toml").scene.seats
    x, y = seats["oboe"].floor_place
    assert (x, y) == pytest.approx(
        (-2.8 * np.sin(np.radians(20)) + 0.5, 2.8 * 0.9397 + 0.25), abs=0.02
    )
    assert seats["oboe"].facing is not None
    assert (seats["violas"].x, seats["violas"].y) == (1.8, 2.15)
    assert "# left" in text


def centre_of(page: Any, number: int) -> tuple[float, float]:
    """Of a seat's middle on the screen."""
    box = page.evaluate(
        "number => { const found = [...document.querySelectorAll('g.seat')].find((one) =>"
        " one.getAttribute('aria-label').startsWith(['oboe', 'violas'][number]));"
        " found.scrollIntoView({block: 'center'});"
        " const {x, y, width, height} = found.querySelector('.reach').getBoundingClientRect();"
        " return [x + width / 2, y + height / 2]; }",
        number,
    )
    return box[0], box[1]


def test_a_chair_dragged_into_a_wall_goes_back_and_the_page_says_why(
    chromium: Any, folder: Path
) -> None:
    with served(folder) as server, opened(chromium, server) as page:
        begin(page)
        x, y = centre_of(page, 1)
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + 100, y - 20, steps=4)
        page.mouse.move(2_000, y - 20, steps=4)
        page.locator("g.seat.faulty").wait_for()
        page.mouse.up()
        page.locator("#fault", has_text="violas went back to where it was").wait_for()
        assert "outside the hall" in page.locator("#fault").inner_text()
        page.wait_for_timeout(300)
        assert page.locator("g.seat.faulty").count() == 0
        assert centre_of(page, 1) == pytest.approx((x, y), abs=3)
        assert not server.desk.rehearsal.unsaved


def test_a_drag_moves_a_chair_with_figures_in_the_hand_and_undo_brings_it_back(
    chromium: Any, folder: Path
) -> None:
    with served(folder) as server, opened(chromium, server) as page:
        begin(page)
        x, y = centre_of(page, 0)
        page.mouse.move(x, y)
        page.mouse.down()
        before = page.locator("#f-heard").inner_text()
        page.mouse.move(x + 60, y - 30, steps=6)
        page.locator("#f-heard").filter(has_not_text=before).wait_for()
        page.mouse.up()
        page.locator("#undo:not([disabled])").click()
        page.locator("#redo:not([disabled])").wait_for()
        assert server.desk.rehearsal.written.seats["oboe"].polar_place == (-20.0, 2.8)
        page.locator("#seating").select_option("s across")
        page.locator("#seat").select_option("violas")
        page.locator("#place", has_text="−39.3°").wait_for()


def test_a_number_that_is_refused_goes_back_and_undo_is_read_out(
    chromium: Any, folder: Path
) -> None:
    with served(folder) as server, opened(chromium, server) as page:
        page.locator("#seat").select_option("violas")
        distance = page.locator("#distance")
        distance.fill("50")
        distance.press("Enter")
        page.locator("#fault", has_text="outside the hall").wait_for()
        page.wait_for_function("document.querySelector('#distance').value === '2.84'")
        assert page.evaluate("document.activeElement.id") == "distance"
        distance.fill("4")
        distance.press("Enter")
        said = page.locator("#said")
        said.filter(has_text="violas: bearing 39 degrees, 4.0 metres").wait_for(state="attached")
        page.locator("#undo").click()
        said.filter(has_text="Undone: violas moved. violas: bearing 39 degrees, 2.8 m").wait_for(
            state="attached"
        )
        page.locator("#redo").click()
        said.filter(has_text="Redone: violas moved. violas: bearing 39 degrees, 4.0 m").wait_for(
            state="attached"
        )


def test_a_chair_on_another_is_a_doubt_and_stays(chromium: Any, folder: Path) -> None:
    with served(folder) as server, opened(chromium, server) as page:
        page.locator("#seat").select_option("violas")
        assert page.locator("#doubt").is_hidden()
        page.locator("#bearing").fill("-20")
        page.locator("#bearing").press("Enter")
        page.locator("#doubt", has_text="violas is only 0.04 m from oboe").wait_for()
        assert page.locator("#fault").is_hidden()
        assert server.desk.rehearsal.unsaved  # it was moved all the same
        page.locator("#undo").click()
        page.locator("#doubt").wait_for(state="hidden")


def test_a_telephone_has_large_names_and_a_table_that_fits(chromium: Any, folder: Path) -> None:
    size = {"width": 390, "height": 844}
    with (
        served(folder) as server,
        opened(chromium, server, viewport=size, has_touch=True, is_mobile=True) as page,
    ):
        page.locator("#legend li").first.wait_for()
        names = page.locator("#chart .name").all_text_contents()
        assert {"oboe", "strings"} <= set(names) and "violas" not in names
        for box in [one.bounding_box() for one in page.locator("#chart .name").all()]:
            assert box["height"] >= 14
        for box in [one.bounding_box() for one in page.locator("#legend li").all()]:
            assert box["x"] >= 0 and box["x"] + box["width"] <= 390
        wide = "(one) => [one.scrollWidth, one.clientWidth]"
        assert len(set(page.locator(".scroll").evaluate(wide))) == 1
        assert page.locator(".by-keys").is_hidden()
        save, chart = (page.locator(one).bounding_box()["y"] for one in ("#save", "#chart"))
        assert save < chart


def test_two_pages_on_one_scene_lose_nothing(chromium: Any, folder: Path) -> None:
    with served(folder) as one, served(folder) as other:
        with opened(chromium, other) as page:
            page.locator("g.seat.chosen").focus()
            page.keyboard.press("ArrowUp")
            page.locator("#save:not([disabled])").click()
            page.get_by_text("Saved into scene.toml.").wait_for()
        theirs = (folder / "scene.toml").read_bytes()
        with opened(chromium, one) as page:
            page.locator("g.seat.chosen").focus()
            page.keyboard.press("ArrowRight")
            page.locator("#save:not([disabled])").click()
            page.locator("#conflict").wait_for()
            told = page.get_by_text("changed meanwhile").all()
            assert [one.is_visible() for one in told] == [True]  # once
            assert page.locator("#fault").is_hidden()
            assert page.locator("#saved").inner_text() == ""
            page.locator("#new-name").fill("across")
            page.locator("#beside").click()
            page.locator("#saved", has_text="wanted a new name").wait_for()
            assert page.locator("#conflict").is_visible()
            assert (folder / "scene.toml").read_bytes() == theirs
            page.locator("#new-name").fill("to the right")
            page.locator("#beside").click()
            page.get_by_text("Saved as the seating “to the right”").wait_for()
            page.locator("#check:not([disabled])").wait_for(timeout=60_000)
            assert page.locator("#seating").input_value() == "s to the right"
    assert (folder / "scene.toml").read_bytes().startswith(theirs)
    assert "to the right" in read_scene(folder / "scene.toml").scene.seatings


def test_names_are_shown_and_never_run(chromium: Any, folder: Path) -> None:
    with served(folder) as server, opened(chromium, server) as page:
        page.locator("#check:not([disabled])").wait_for(timeout=60_000)
        assert page.evaluate("window.caught") is None
        assert page.locator("#rows img").count() == 0
        assert "onerror" in page.locator("#rows").inner_text()
        assert "</title><script>" in page.title()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1_280, 360])
def test_it_fits_its_window(chromium: Any, folder: Path, scheme: str, width: int) -> None:
    size = {"width": width, "height": 800}
    with (
        served(folder) as server,
        opened(chromium, server, viewport=size, color_scheme=scheme) as page,
    ):
        page.locator("#check:not([disabled])").wait_for(timeout=60_000)
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width
        assert page.locator("g.seat").count() == 3
