"""Every case that once failed, and some fresh ones, the same ones each time.

Many more are run by hand: `python tests/fuzz --minutes 60`.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent
FRESH = {
    "scene": 2000,
    "audio": 6000,
    "ballot": 3000,
    "report": 1500,
    "names": 1000,
    "draft": 120,
    "sofa": 300,
}
"""Cases of each target: about two seconds for each, and one to begin with."""

needs_limits = pytest.mark.skipif(
    not Path("/proc/self/statm").exists(), reason="memory is limited and measured as Linux does it"
)


def fuzz(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(FOLDER), *arguments],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
    )


@needs_limits
@pytest.mark.parametrize("target", FRESH)
def test_whatever_comes_ends_in_a_result_or_an_error_in_words(target: str) -> None:
    seeds = len(list((FOLDER / "seeds" / target).glob("*")))
    done = fuzz("--target", target, "--cases", str(FRESH[target]), "--replay", "--dry")
    assert done.returncode == 0, done.stdout + done.stderr
    assert f"{target}: {seeds} kept cases, {FRESH[target]} cases" in done.stdout


@needs_limits
@pytest.mark.parametrize(
    ("harm", "signature"),
    [
        ("error", "ZeroDivisionError at"),
        ("slow", "slow at"),
        ("memory", "memory at"),
        ("death", "the process died with -6"),  # libraries do
        ("hang", "hangs in a library"),
        ("words", "message with control characters"),
        ("letters", "message of too many letters"),
        ("growth", "memory grows"),
        ("files", "open files leak"),
    ],
)
def test_the_harness_sees_harm(harm: str, signature: str) -> None:
    """A target that does what none should."""
    patience = ("--patience", "8") if harm == "hang" else ()
    done = fuzz("--target", f"harm-{harm}", *("--cases", "1200", "--dry"), *patience)
    assert done.returncode == 1, done.stdout + done.stderr
    assert signature in done.stdout
    assert "1200 cases" in done.stdout


@needs_limits
def test_a_hunt_is_the_same_each_time() -> None:
    first, second = (fuzz("--target", "harm-some", "--cases", "500", "--dry") for _ in range(2))
    cut = [done.stdout.split("/s,")[1] for done in (first, second)]
    assert cut[0] == cut[1]
    assert "x ValueError at" in cut[0]
