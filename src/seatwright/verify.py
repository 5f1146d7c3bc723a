"""Verify: read a folder again and say whether it still is what was written, in reading order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from seatwright.disk.earlier_render import REPORT_NAME
from seatwright.disk.listed_comparison import (
    TRIAL_NAME,
    listed_trial,
    matched_faults,
    matched_files,
    missing_renders,
    page_faults,
    render_folders,
    twin_faults,
)
from seatwright.disk.listed_render import ListedRender, listed_render
from seatwright.disk.output_checks import (
    foreign_files,
    input_doubts,
    output_faults,
    removed_faults,
    report_faults,
)
from seatwright.disk.output_sums import Addends, addends_of, difference
from seatwright.disk.text_files import refused
from seatwright.errors import Fault, SceneError
from seatwright.render import Progress
from seatwright.sound.convolution import block_grid
from seatwright.sound.rounding import transform_error
from seatwright.views.verified import CheckedFile, CheckedSum, Verified


def verify(folder: Path, progress: Progress = lambda _what, _share: None) -> Verified:
    """Verify a folder that a render or a comparison left; nothing in it is changed.

    Parameters
    ----------
    folder : Path
    progress : callable
        Called with what is being done and how much of it is done, 0 to 1.

    Returns
    -------
    Verified
        With every fault of every output.

    Raises
    ------
    SceneError
        If it is no folder of a render or a comparison.
    RenderError
        If its report or manifest is too damaged to say what should be there.
    DiskError
        If the disk refuses.
    """
    try:
        if not folder.is_dir():
            raise SceneError(Fault("found no such folder", file=str(folder)))
        if (folder / REPORT_NAME).exists():
            return _verified_render(listed_render(folder), progress)
        if (folder / TRIAL_NAME).exists():
            return _verified_comparison(folder, progress)
    except OSError as error:
        raise refused(folder, "cannot be read", error) from error
    what = f"found neither {REPORT_NAME} nor {TRIAL_NAME}, wanted the folder of a render"
    hint = "a render that ended early leaves no report"
    raise SceneError(Fault(what, file=str(folder), hint=hint))


def _verified_render(render: ListedRender, progress: Progress) -> Verified:
    per_file: dict[str, list[Fault]] = {}
    for number, output in enumerate(render.outputs, start=1):
        per_file[output.file] = output_faults(render, output)
        progress("outputs", 0.5 * number / len(render.outputs))
    whole = {file for file, faults in per_file.items() if not faults}
    sums = _checked_sums(render, whole, lambda share: progress("sums", 0.5 + 0.4 * share))
    faults = [
        *(fault for faults in per_file.values() for fault in faults),
        *(_sum_fault(render.folder, row) for row in sums if not row.holds),
        *report_faults(render.folder),
        *removed_faults(render),
    ]
    warnings = [
        *foreign_files(render),
        *input_doubts(render, lambda: progress("inputs", 0.9)),
    ]
    progress("inputs", 1.0)
    files = tuple(CheckedFile(file, file in whole) for file in per_file)
    return Verified(
        str(render.folder), "render", files, tuple(sums), tuple(faults), tuple(warnings)
    )


def _checked_sums(
    render: ListedRender, whole: set[str], progress: Callable[[float], None]
) -> list[CheckedSum]:
    """Every sum whose files are all what they should be; the others' faults are told already."""
    wanted = [
        addends
        for addends in addends_of(render)
        if {addends.whole.file, *(part.file for part in addends.parts)} <= whole
    ]
    rows = []
    for number, addends in enumerate(wanted, start=1):
        rows.append(_checked_sum(render, addends))
        progress(number / len(wanted))
    return rows


def _checked_sum(render: ListedRender, addends: Addends) -> CheckedSum:
    length = block_grid(render.response_frames).length
    apart = transform_error(length) if addends.apart else 0.0
    found = difference(render.folder, addends, render.encoding, apart)
    return CheckedSum(
        addends.whole.file,
        len(addends.parts),
        addends.parts[0].kind,
        found.largest,
        found.allowed,
        found.frame / render.rate,
        found.holds,
    )


def _sum_fault(folder: Path, row: CheckedSum) -> Fault:
    what = (
        f"found samples {row.largest:.3g} apart from the sum of its {row.parts} {row.kind} at "
        f"{row.seconds:.3f} s, wanted at most {row.allowed:.3g}, which rounding explains"
    )
    return Fault(what, file=str(folder / row.whole))


def _verified_comparison(folder: Path, progress: Progress) -> Verified:
    """The sounds voted on and the page, then every render that stands under `renders`."""
    trial = listed_trial(folder)
    listed = matched_files(trial)
    files, faults = [], [*twin_faults(folder, trial), *page_faults(folder, trial)]
    for number, file in enumerate(listed, start=1):
        found = matched_faults(folder, file)
        faults += found
        files.append(CheckedFile(file.file, not found))
        progress("versions", 0.5 * number / len(listed))
    inner = [
        _verified_render(listed_render(path), lambda _what, _share: None)
        for path in render_folders(folder)
    ]
    progress("renders", 1.0)
    sums: list[CheckedSum] = []
    for one in inner:
        place = Path(one.folder).relative_to(folder)
        sums += [replace(row, whole=(place / row.whole).as_posix()) for row in one.sums]
        files += [CheckedFile((place / row.file).as_posix(), row.holds) for row in one.files]
    return Verified(
        str(folder),
        "comparison",
        tuple(files),
        tuple(sums),
        (*faults, *(fault for one in inner for fault in one.faults)),
        (
            *missing_renders(folder, trial),
            *dict.fromkeys(fault for one in inner for fault in one.warnings),
        ),
    )
