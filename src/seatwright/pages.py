"""Pages: a render's report and a check as HTML, with all that their plots need."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from seatwright.acoustics.decay_curves import HallDecays, hall_decays, middle_seat
from seatwright.acoustics.listening import Listening, tree_middle
from seatwright.disk.kept_figures import kept_figures
from seatwright.disk.page_file import refuse_page_place
from seatwright.disk.store import Store
from seatwright.disk.whole_file import write_whole
from seatwright.sound.spectra import Picture
from seatwright.stage.scene import Scene
from seatwright.stage.seats import seat_sources
from seatwright.views.check_page import check_page
from seatwright.views.check_table import Check
from seatwright.views.report import Report
from seatwright.views.report_page import report_page
from seatwright.views.stage_plan import stage_plan

__all__ = ["heard_decays", "page_of", "refuse_page_place", "write_check_page"]


def page_of(
    report: Report,
    scene: Scene,
    listening: Listening,
    heard: Iterable[str],
    pictures: Sequence[Picture],
    store: Store | None = None,
) -> str:
    """A render's report as HTML.

    Parameters
    ----------
    report : Report
    scene : Scene
        Seated as it was rendered.
    listening : Listening
    heard : iterable of str
        Seats that sound.
    pictures : sequence of Picture
        Of each output, before the trim.
    store : Store, optional

    Returns
    -------
    str
    """
    plan = stage_plan(scene, title=report.title or Path(report.scene).stem)
    return report_page(report, plan, pictures, heard_decays(scene, listening, heard, store))


def write_check_page(path: Path, check: Check, scene: Scene, listening: Listening) -> None:
    """Write a check as HTML; DiskError if the disk refuses."""
    heard = [row.seat for row in check.seats]
    plan = stage_plan(scene, title=check.title or Path(check.scene).stem)
    page = check_page(check, plan, heard_decays(scene, listening, heard))
    write_whole(path, page.encode())


def heard_decays(
    scene: Scene, listening: Listening, heard: Iterable[str], store: Store | None = None
) -> HallDecays | None:
    """How the hall dies away from a seat in the middle.

    Parameters
    ----------
    scene : Scene
    listening : Listening
    heard : iterable of str
        Seats that sound; untouched ones are not in the hall.
    store : Store, optional

    Returns
    -------
    HallDecays or None
        At the listener's head, or at the tree where a scene leaves the head outside the hall; None
        where no seat is heard in the hall.
    """
    sources = {
        name: seat_sources(scene.seats[name], 1)[0]
        for name in heard
        if scene.treatment_of(scene.seats[name]) != "untouched"
    }
    place, where = listening.ears.position, "the listener's head"
    if scene.hall.outside(place):
        place, where = tree_middle(listening), "the middle of the tree"
    seat = middle_seat(sources, place) if sources else ""
    if not seat:
        return None
    things = (listening.room, seat, sources[seat], place, where)
    return kept_figures(store, HallDecays, things, lambda: hall_decays(*things))
