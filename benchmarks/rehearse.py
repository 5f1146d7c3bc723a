"""Benchmark of the rehearsal page: from dropping a chair to its sound, and whether all plays on.

    python benchmarks/rehearse.py            100 drops, then 5 minutes of moving without a pause
    python benchmarks/rehearse.py --small    12 drops, 15 seconds of moving

Work: 40 mono stems of 60 s at 48 kHz in six sections, a loop of 15 s, the demo's hall, in headless
Chromium (its sound goes nowhere, at the pace of a sound card). Needs `pip install playwright` and
the program chromium. The machine must do nothing else.

A drop is a real drag of the mouse. The time runs from the page's pointerup event to the instant at
which the first sample of the crossfade reaches the output, by the browser's own clock of its output
(AudioContext.getOutputTimestamp). That the sound does change there is held sample by sample by
tests/browser/test_rehearsal.py.

Underruns are counted two ways: by the browser (AudioContext.playbackStats, where it has it), and by
a recorder on the audio thread: the audio clock must not fall behind the page's clock, and the sound
that goes out must be without silence.
"""

from __future__ import annotations

import argparse
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

RATE = 48_000
STEMS = 40
SECONDS = 60
SECTIONS = ("strings", "woodwinds", "brass", "percussion", "keyboards", "choir")
INSTRUMENTS = ("violin", "flute", "horn", "timpani", "harp", "choir")

HALL = """[hall]
size = { width = 24, depth = 40, height = 17 }
reverberation = 2.0
podium = 14.0
"""

TAP = """
(() => {
  const code = `registerProcessor("tap", class extends AudioWorkletProcessor {
    constructor() { super(); this.silent = 0; this.longest = 0; this.blocks = 0; this.last = -1;
      this.lost = 0;
      this.port.onmessage = () => { this.longest = 0; }; }
    process(inputs) {
      const left = inputs[0][0];
      const quiet = !left || left.every((value) => value === 0);
      this.silent = quiet ? this.silent + 128 : 0;
      this.longest = Math.max(this.longest, this.silent);
      this.lost += this.last >= 0 ? currentFrame - this.last - 128 : 0;
      this.last = currentFrame;
      this.blocks += 1;
      if (this.blocks % 64 === 0) {
        this.port.postMessage({ frame: currentFrame, longest: this.longest, lost: this.lost });
      }
      return true;
    }
  });`;
  window.tap = { notes: [], context: null, node: null };
  const Plain = window.AudioContext;
  window.AudioContext = class extends Plain {
    constructor(options) {
      super(options);
      window.tap.context = this;
      const url = URL.createObjectURL(new Blob([code], { type: "text/javascript" }));
      this.tapReady = this.audioWorklet.addModule(url);
    }
  };
  const connect = AudioNode.prototype.connect;
  AudioNode.prototype.connect = function (to, ...rest) {
    if (to === this.context.destination && !window.tap.node) {
      window.tap.node = true;
      this.context.tapReady.then(() => {
        const node = new AudioWorkletNode(this.context, "tap");
        window.tap.node = node;
        node.port.onmessage = (event) => { window.tap.notes.push(event.data); };
        connect.call(this, node);
        const mute = this.context.createGain();
        mute.gain.value = 0;
        connect.call(node, mute);
        connect.call(mute, to);
      });
    }
    return connect.call(this, to, ...rest);
  };
})();
"""

CHAIR = """number => {
  const all = [...document.querySelectorAll("g.seat")];
  const {x, y, width, height} =
    all[number % all.length].querySelector(".chair, .full").getBoundingClientRect();
  return [x + width / 2, y + height / 2];
}"""


def work(folder: Path) -> Path:
    """Write stems and a scene."""
    rng = np.random.default_rng(1)
    seats = []
    for number in range(STEMS):
        swell = 0.6 + 0.4 * np.sin(np.arange(SECONDS * RATE) / RATE * (0.3 + 0.01 * number))
        music = (0.02 * swell * rng.standard_normal(SECONDS * RATE)).astype(np.float32)
        soundfile.write(folder / f"{number}.wav", music, RATE, "PCM_24")
        kind = number * len(SECTIONS) // STEMS
        x, y = (number % 8 - 3.5) * 2.2, 4.0 + number // 8 * 1.6
        seats.append(
            f'[seats.s{number}]\nstem = "{number}.wav"\nsection = "{SECTIONS[kind]}"\n'
            f'instrument = "{INSTRUMENTS[kind]}"\nplayers = 1\nx = {x:.2f}\ny = {y:.2f}\n'
        )
    scene = folder / "scene.toml"
    scene.write_text(HALL + "".join(seats), encoding="utf-8")
    return scene


def drag(page: Any, number: int, rng: random.Random, pause: float) -> None:
    """Take a chair, move it a little in eight steps, let it go."""
    x, y = page.evaluate(CHAIR, number)
    page.mouse.move(x, y)
    page.mouse.down()
    to_x, to_y = x + rng.choice([-1, 1]) * rng.uniform(12, 30), y + rng.uniform(-12, 12)
    for step in range(1, 9):
        page.mouse.move(x + (to_x - x) * step / 8, y + (to_y - y) * step / 8)
        time.sleep(0.02)
    time.sleep(0.05)
    page.mouse.up()
    time.sleep(pause)


def stats(page: Any) -> dict[str, Any]:
    """What browser and recorder know of the sound so far."""
    return dict(
        page.evaluate(
            """() => {
              const { context, notes } = window.tap;
              const own = context.playbackStats || context.playoutStats;
              const found = {};
              for (const key of ["underrunEvents", "underrunDuration", "fallbackFramesEvents",
                "fallbackFramesDuration", "totalFramesDuration"]) {
                if (own && key in own) { found[key] = own[key]; }
              }
              const last = notes[notes.length - 1] || {};
              return { ...found, ...last, clock: context.currentTime,
                now: performance.now() / 1000, base: context.baseLatency,
                output: context.outputLatency };
            }"""
        )
    )


def measured(page: Any, drops: int, seconds: float) -> None:
    """Drops one by one, then moving without a pause; prints what was found."""
    rng = random.Random(7)
    page.locator("#check:not([disabled])").click(timeout=600_000)
    page.locator("#ready").click()
    page.locator("#play").click()
    page.evaluate("window.scrollTo(0, document.getElementById('music').offsetTop)")
    time.sleep(2.0)
    page.evaluate("window.tap.node.port.postMessage('from now on')")
    time.sleep(0.5)
    start = stats(page)
    for number in range(drops):
        drag(page, 7 * number, rng, 0.5)
    times = page.evaluate("window.rehearsalTimes")
    late = sorted(one["heard"] - one["dropped"] for one in times)
    arrived = statistics.median(one["arrived"] - one["dropped"] for one in times)
    print(f"drops heard: {len(late)} of {drops}")
    most, longest = late[int(0.9 * (len(late) - 1))], late[-1]
    print(f"drop to sound at the output: median {statistics.median(late):.0f} ms")
    print(f"90 % of drops below {most:.0f} ms, longest {longest:.0f} ms")
    print(f"of it until the samples were in the page: median {arrived:.0f} ms")
    end, number = time.monotonic() + seconds, 0
    while time.monotonic() < end:
        drag(page, 11 * number, rng, 0.0)
        number += 1
    after = stats(page)
    behind = (after["now"] - start["now"]) - (after["clock"] - start["clock"])
    print(f"moved without a pause: {seconds:.0f} s, {number} drops")
    print(f"audio clock behind the page's: {1000 * behind:+.1f} ms")
    print(f"samples lost on the audio thread: {after.get('lost', 0) - start.get('lost', 0)}")
    print(f"longest silence while it played: {after.get('longest')} samples")
    known = [key for key in after if key.startswith(("underrun", "fallback"))]
    for key in known:
        print(f"{key}: {after[key] - start.get(key, 0)}")
    if not known:
        print("the browser does not count underruns itself")
    print(f"latency the browser adds: {1000 * (after['base'] or 0):.0f} ms + "
          f"{1000 * (after['output'] or 0):.0f} ms")  # fmt: skip


def main() -> None:
    """Serve the work, drive the page, print."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="a short run, to see that it runs")
    small = parser.parse_args().small
    with tempfile.TemporaryDirectory() as held, sync_playwright() as playwright:
        scene = work(Path(held))
        command = [sys.executable, "-m", "seatwright", "rehearse", str(scene), "--no-browser"]
        served = subprocess.Popen([*command, "--from", "20"], stdout=subprocess.PIPE, text=True)
        try:
            assert served.stdout is not None
            url = served.stdout.readline().strip()
            browser = playwright.chromium.launch(
                executable_path=shutil.which("chromium"),
                args=[
                    *("--no-sandbox", "--disable-gpu"),
                    "--enable-blink-features=AudioContextPlaybackStats,AudioContextPlayoutStats",
                ],
            )
            context = browser.new_context(bypass_csp=True, viewport={"width": 1280, "height": 1200})
            context.add_init_script(TAP)
            page = context.new_page()
            page.goto(url)
            measured(page, 12 if small else 100, 15.0 if small else 300.0)
            browser.close()
        finally:
            served.terminate()
            served.wait()


if __name__ == "__main__":
    main()
