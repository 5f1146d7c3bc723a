"""Two renders at once: into one folder the second is refused, into two folders both are right."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import seatwright


def other_render(stage: Any, folder: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "seatwright", "render", str(stage.scene), "--out", folder],
        cwd=stage.folder,
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONPATH": str(Path(seatwright.__file__).parents[1])},
    )


def test_a_second_render_into_the_folder_is_refused_and_one_into_another_is_right(
    quick: Any,
) -> None:
    quick.render("alone")
    ended: list[subprocess.CompletedProcess[str]] = []

    def meanwhile(what: str, _share: float) -> None:
        if what == "rendering" and not ended:
            ended.extend(other_render(quick, folder) for folder in ("out", "other"))

    quick.render(progress=meanwhile)
    refused, done = ended
    (line,) = refused.stderr.splitlines()
    assert refused.returncode == 4
    assert f"out: found another render (process {os.getpid()}, since 20" in line
    assert "wanted one at a time" in line
    assert done.returncode == 0
    assert quick.digests() == quick.digests("alone") == quick.digests("other")
