"""Reports of finished renders: whether a render would leave just what stands there already."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from seatwright.acoustics.head import HeadModel
from seatwright.disk.bounce_folder import BounceFolder
from seatwright.disk.casting import Cast
from seatwright.disk.earlier_render import WholeRender, listed_outputs
from seatwright.disk.file_contents import Content, file_content
from seatwright.disk.regular_files import is_plain_file, regular_bytes
from seatwright.disk.scene_file import ReadScene
from seatwright.disk.store import Store
from seatwright.disk.store_keys import key_of
from seatwright.disk.typed_facts import typed
from seatwright.errors import StemError
from seatwright.stage.request import Request
from seatwright.views.report import Report, report_table


def report_key(
    read: ReadScene,
    cast: Cast,
    head: HeadModel,
    request: Request,
    contents: Mapping[Path, Content],
    whole: WholeRender | None,
) -> str:
    """What a report follows from, but for the folder."""
    stems = [(str(path), content.sha256) for path, content in contents.items()]
    said = [str(fault) for fault in (*read.warnings, *cast.warnings)]
    asked = asdict(replace(request, threads=0))
    compared = whole is not None and (request.part or request.seating)  # a note tells of it
    earlier = (str(whole.folder), whole.trim_db) if whole and compared else None
    return key_of("report", str(read.path), read.content_hash, head, asked, stems, said, earlier)


def standing_report(
    store: Store, key: str, outputs: BounceFolder, threads: int = 1
) -> Report | None:
    """The report of a render whose every file stands in the folder; else None.

    Parameters
    ----------
    store : Store
    key : str
    outputs : BounceFolder
        Entered, so that nobody else writes there.
    threads : int
        Files read at the same time, where they have to be.
    """
    facts = store.facts("reports", key)
    try:
        report = typed(Report, facts["report"]) if facts else None
    except (KeyError, ValueError):
        return None
    if report is None or not _texts_stand(outputs.folder, report):
        return None
    rows = report.outputs
    with ThreadPoolExecutor(threads) as pool:
        found = pool.map(lambda row: _hash(outputs.folder / row.file, store), rows)
        if any(sha != row.sha256 for sha, row in zip(found, rows, strict=True)):
            return None
    superseded = outputs.superseded()
    foreign = bool(superseded.ours or superseded.foreign)
    return None if foreign else replace(report, unchanged=True)


def _texts_stand(folder: Path, report: Report) -> bool:
    texts = {"report.json": report.as_json(), "report.txt": report_table(report)}
    try:
        for file, text in texts.items():
            wanted = text.encode()
            if regular_bytes(folder / file, len(wanted)) != wanted:
                return False
        page = folder / "report.html"
        return page.is_file() and page.stat().st_size > 0
    except (OSError, ValueError):
        return False


def _hash(path: Path, store: Store) -> str:
    """SHA-256 of a file; "" for a link, a pipe, or what cannot be read."""
    try:
        return file_content(path, store).sha256 if is_plain_file(path) else ""
    except StemError:
        return ""


def keep_report(store: Store, key: str, report: Report) -> None:
    """Keep the report of a finished render."""
    store.keep("reports", key, {"report": asdict(report)})


def standing_outputs(
    folder: Path, follows_from: Mapping[str, str], store: Store | None
) -> dict[str, str]:
    """Outputs of the render before that would come out the same, with their SHA-256.

    Parameters
    ----------
    folder : Path
    follows_from : mapping of str to str
        File and what the new output follows from; "" where that is not known.
    store : Store or None
    """
    if store is None:
        return {}
    rows: dict[str, dict[str, Any]] = {}
    with suppress(OSError):  # an unreadable report is told of where outputs are superseded
        rows = listed_outputs(folder)
    standing = {
        file: str(rows[file].get("sha256"))
        for file, wanted in follows_from.items()
        if wanted and file in rows and rows[file].get("follows_from") == wanted
    }
    return {file: sha for file, sha in standing.items() if _hash(folder / file, store) == sha}
