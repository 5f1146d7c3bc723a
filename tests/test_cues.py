"""Many scenes in one command: a folder each, every fault before the first render, one more try."""

from __future__ import annotations

import json
import pickle
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from seatwright.cli import main
from seatwright.commands.cue_watch import cue_watch
from seatwright.cues import Cue, cues_of, render_cues
from seatwright.errors import Fault, SceneError
from seatwright.executors.attempt import Attempt, Job
from seatwright.stage.request import Request
from seatwright.views.cue_table import CueRow

SEAT = '[seats.oboe]\nstem = "oboe.wav"\nsection = "winds"\nbearing = -20\ndistance = 2.2\n'


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(["render", *arguments])
    told = capsys.readouterr()
    return int(end.value.code or 0), told.out, told.err


@pytest.fixture
def three(stage: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Scenes 1m1, 1m2 and 1m3 of one oboe, in three halls."""
    stage.stem("oboe.wav", stage.noise(1, 0.2))
    stage.write(SEAT)
    for number, height in enumerate((5, 6, 7), start=1):
        text = stage.scene.read_text().replace("height = 5", f"height = {height}")
        (stage.folder / f"1m{number}.toml").write_text(text)
    stage.scene.unlink()
    monkeypatch.chdir(stage.folder)
    return stage


def test_each_scene_goes_where_it_would_go_alone(
    three: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    names = ["1m1", "1m2", "1m3"]
    for name in names:
        assert run(capsys, f"{name}.toml", "--only", "winds")[0] == 0
    alone = three.digests("renders")
    (three.folder / "renders").rename(three.folder / "alone")
    code, out, err = run(capsys, *(f"{name}.toml" for name in names), "--only", "winds")
    assert code == 0
    assert three.digests("renders") == alone
    assert sorted(path.name for path in Path("renders").iterdir()) == [f"{n} winds" for n in names]
    rows = [line.split() for line in out.splitlines()]
    assert [row[:2] for row in rows[1:4]] == [[f"{name}.toml", "done"] for name in names]
    assert out.splitlines()[2].endswith(str(Path("renders") / "1m2 winds"))
    assert "3 of 3 scenes are rendered." in out
    assert [line.split(": ")[0] for line in err.splitlines()] == [f"{name}.toml" for name in names]


def test_a_bad_scene_is_told_at_first_and_keeps_no_other(
    three: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("bad.toml").write_text('[seats.a]\nstem = "gone.wav"\nbearin = 3\n')
    Path("worse.toml").write_text("stems = 3\n")
    code, out, err = run(
        capsys, "1m1.toml", "bad.toml", "1m2.toml", "worse.toml", "--out", "out", "--json"
    )
    facts = json.loads(out)
    assert code == facts["exit_code"] == 2
    states = [cue["state"] for cue in facts["cues"]]
    assert states == ["done", "failed", "done", "failed"]
    assert [cue["tries"] for cue in facts["cues"]] == [1, 0, 1, 0]
    assert len(facts["cues"][1]["faults"]) == 2
    first_done = err.index("1m1.toml: done")
    for said in ("seatwright: bad.toml:3: seats.a.bearin", "gone.wav", "seatwright: worse.toml:1"):
        assert err.index(said) < first_done
    assert sorted(path.name for path in Path("out").iterdir()) == ["1m1", "1m2"]


def test_all_or_nothing_renders_nothing_beside_a_bad_scene(
    three: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("bad.toml").write_text("stems = 3\n")
    before = three.digests(".")
    code, out, _ = run(capsys, "1m1.toml", "bad.toml", "--all-or-nothing")
    assert code == 2
    assert [line.split()[1] for line in out.splitlines()[1:3]] == ["not", "failed"]
    assert "0 of 2 scenes are rendered." in out
    assert three.digests(".") == before
    assert run(capsys, "1m1.toml", "1m2.toml", "--all-or-nothing")[0] == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--seating", "left"], 'found no seating "left"'),
        (["--only", "brass"], "wanted a section or a seat"),
        (["--from", "9"], "found an excerpt from 9 s on"),
    ],
)
def test_what_a_request_cannot_have_is_told_before_anything_is_rendered(
    three: Any, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    code, out, err = run(capsys, "1m1.toml", "1m2.toml", *arguments)
    assert code == 2
    assert err.count(said) == 2
    assert "0 of 2 scenes" in out
    assert not Path("renders").exists()


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["a/Act.toml", "b/act.toml"], "b/act.toml: found a folder "),
        (["a/caf\u00e9.toml", "b/cafe\u0301.toml"], "wanted names of scenes that differ by more"),
        (["a/x.toml", "a/x.toml"], "a/x.toml: found this scene twice"),
    ],
)
@pytest.mark.parametrize("out", [None, Path("out")])
def test_folders_that_clash_are_refused(names: list[str], said: str, out: Path | None) -> None:
    with pytest.raises(SceneError) as caught:
        cues_of([Path("c/other.toml"), *map(Path, names)], out, Request())
    (fault,) = caught.value.faults
    assert said in str(fault)
    assert str(Path(names[1])) == fault.file


def test_a_clash_renders_nothing(three: Any, capsys: pytest.CaptureFixture[str]) -> None:
    before = three.digests(".")
    code, out, err = run(capsys, "1m1.toml", "1m2.toml", "./1M1.toml", "--jobs", "2")
    assert (code, out, three.digests(".")) == (2, "", before)
    assert "also be that of 1m1.toml" in err


def test_jobs_and_a_scheduler_exclude_each_other(
    three: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run(capsys, "1m1.toml", "1m2.toml", "--jobs", "2", "--scheduler", "h:1")
    assert (code, out) == (2, "")
    assert "wanted one" in err


class Scripted:
    """An executor whose attempts end as it was told, cue by cue."""

    def __init__(self, *ends: Attempt):
        self.ends, self.order = list(ends), list[int]()

    def run(
        self,
        jobs: Sequence[Job],
        progress: Callable[[int, str, float], None],
        again: Callable[[Attempt], bool],
    ) -> None:
        waiting = list(jobs)
        while waiting:
            job = waiting.pop(0)
            self.order.append(job.number)
            end = next(end for end in self.ends if end.number == job.number)
            self.ends.remove(end)
            if again(end):
                waiting.append(job)


def failing(number: int, code: int, passing: bool, tries: int = 1) -> Attempt:
    return Attempt(number, (Fault("it failed"),), code, passing, 1.5, tries=tries)


def scripted(three: Any, *ends: Attempt) -> tuple[tuple[CueRow, ...], Scripted]:
    cues = [
        Cue(three.folder / f"1m{n}.toml", three.folder / "out" / str(n), Request())
        for n in (1, 2, 3)
    ]
    executor = Scripted(*ends)
    with cue_watch(3) as watch:
        return render_cues(cues, executor, watch), executor


def test_only_what_may_pass_is_tried_again_and_only_once(three: Any) -> None:
    rows, executor = scripted(
        three,
        failing(0, 4, passing=True),
        failing(1, 3, passing=False),
        failing(2, 1, passing=True),
        Attempt(0, seconds=2.0, trim_db=-1.0, warnings=("one",)),
        failing(2, 1, passing=True),
    )
    assert executor.order == [0, 1, 2, 0, 2]
    assert [(row.state, row.tries, row.exit_code) for row in rows] == [
        ("done", 2, 0),
        ("failed", 1, 3),
        ("failed", 2, 1),
    ]
    assert rows[0].faults == () and rows[0].seconds == 3.5 and rows[0].retried


def test_tries_of_a_cluster_count_as_well(three: Any) -> None:
    done = [Attempt(number) for number in (1, 2)]
    rows, executor = scripted(three, failing(0, 1, passing=True, tries=2), *done)
    assert executor.order == [0, 1, 2]
    assert (rows[0].state, rows[0].tries) == ("failed", 2)


def test_a_terminal_has_one_bar_and_faults_above_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    bad = CueRow("a.toml", "out/a", "failed", faults=(Fault("[b]wrong\x1b", file="a.toml"),))
    with cue_watch(2) as watch:
        watch.progress(0, "rendering", 0.5)
        watch.ended(0, bad)
        watch.progress(1, "writing", 0.9)
    told = capsys.readouterr()
    assert told.out == ""
    assert "seatwright: a.toml: [b]wrong\\x1b\n" in told.err
    assert "writing, 1 of 2 scenes ended" in told.err


def test_what_goes_to_other_processes_is_plain() -> None:
    job = Job(3, "a.toml", "out", Request(only=("winds",)))
    end = failing(3, 4, passing=True)
    assert pickle.loads(pickle.dumps((job, end))) == (job, end)
