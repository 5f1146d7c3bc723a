"""The stage plan: a seating chart as SVG, black ink on paper or light ink on dark.

Chairs stand on arcs around the podium; sections differ by the mark of their chairs, not by colour.
One metre is a fixed number of units, told by the scale bar.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from math import atan2, cos, degrees, hypot, radians, sin

from seatwright.errors import printable
from seatwright.stage.microphones import (
    Microphone,
    close_microphone,
    hall_microphones,
    listener,
)
from seatwright.stage.scene import Scene
from seatwright.stage.seats import Seat
from seatwright.views.plan_labels import Label, Mark, half_width, placed_labels
from seatwright.views.seat_shapes import Arc, outline, seat_arcs

UNITS = 40.0
"""Units of the picture a metre."""

_MARGIN = 1.2
_BELOW = 2.2
_CHAIR = 0.27

_INK, _SOFT, _PAPER = ("#161616", "#ececec"), ("#626262", "#a6a6a6"), ("#ffffff", "#17181a")

_RULES = """
text { font-family: Georgia, 'Liberation Serif', 'DejaVu Serif', serif; fill: INK; }
.paper { fill: PAPER; }
.wall { fill: none; stroke: INK; stroke-width: 5; }
.cut { fill: none; stroke: INK; stroke-width: 2; stroke-dasharray: 10 6; }
.row { fill: none; stroke: SOFT; stroke-width: 1.2; }
.chair { fill: PAPER; stroke: INK; stroke-width: 1.8; }
.full, .tip { fill: INK; }
.riser { fill: none; stroke: SOFT; stroke-width: 1.4; stroke-dasharray: 2 4; }
.old { fill: none; stroke: SOFT; stroke-width: 1.6; stroke-dasharray: 6 5; }
.move { fill: none; stroke: INK; stroke-width: 2.4; }
.microphone { fill: none; stroke: INK; stroke-width: 1.8; }
.podium { fill: none; stroke: INK; stroke-width: 2.4; }
.axis { fill: none; stroke: SOFT; stroke-width: 0.8; stroke-dasharray: 1 7; }
.name, .detail { text-anchor: middle; paint-order: stroke; stroke: PAPER; stroke-width: 4; }
.name { font-size: 15px; }
.detail { font-size: 11px; fill: SOFT; font-style: italic; }
.end { text-anchor: end; }
.start { text-anchor: start; }
.section { font-size: 13px; letter-spacing: 1.5px; }
.title { font-size: 24px; }
"""


def _style() -> str:
    """Ink on paper, turned round where the reader prefers dark."""
    light, dark = (
        _RULES.replace("INK", _INK[i]).replace("SOFT", _SOFT[i]).replace("PAPER", _PAPER[i])
        for i in (0, 1)
    )
    return f"{light}@media (prefers-color-scheme: dark) {{{dark}}}\n"


_MARKS = ("open", "full", "square", "cross", "triangle", "ring", "diamond", "bar")


@dataclass(frozen=True)
class _Frame:
    """Metres of the scene to units of the picture."""

    left: float
    top: float

    def at(self, x: float, y: float) -> tuple[float, float]:
        return (x - self.left) * UNITS, (self.top - y) * UNITS

    def pair(self, x: float, y: float) -> str:
        across, down = self.at(x, y)
        return f"{across:.1f} {down:.1f}"


def stage_plan(scene: Scene, against: Scene | None = None, title: str = "") -> str:
    """Draw a scene as a seating chart.

    Parameters
    ----------
    scene : Scene
        Seated as it is to be drawn.
    against : Scene, optional
        The same scene in another seating; where its seats differ they are drawn dashed, with an
        arrow from there to here.
    title : str
        Above the plan; the scene's by default.

    Returns
    -------
    str
        A whole SVG document.
    """
    (left, right), (low, high), _ = scene.hall.bounds
    bottom = max(low, min(-2.0, _lowest(scene) - _BELOW))
    frame = _Frame(left - _MARGIN, high + _MARGIN + 1.4)
    width = (right - left + 2 * _MARGIN) * UNITS
    height = (frame.top - bottom + _MARGIN + 1.9) * UNITS
    parts = [
        *_hall(frame, (left, right), (bottom, low, high)),
        *_bearings(frame, (left, right), high),
        *_podium(frame),
        *(_moves(frame, scene, against) if against is not None else []),
        *_seats(frame, scene),
        *_microphones(frame, scene),
        *_legend(frame, scene, (left, right), bottom),
    ]
    heading = printable(title or scene.title)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" role="img">\n'
        f"<title>{escape(heading)}</title>\n<style>{_style()}</style>\n"
        f'<rect class="paper" width="100%" height="100%"/>\n'
        f'<text class="title" x="{_MARGIN * UNITS:.0f}" y="34">{escape(heading)}</text>\n'
        + "\n".join(parts)
        + "\n</svg>\n"
    )


def _placed(scene: Scene) -> list[tuple[str, Seat]]:
    return [
        (name, seat)
        for name, seat in scene.seats.items()
        if seat.x is not None or seat.bearing is not None
    ]


def _arcs(seat: Seat) -> tuple[Arc, ...]:
    x, y = seat.floor_place
    instrument = seat.known_instrument
    players = min(seat.players or instrument.players, 120)
    standing = instrument.family == "choir"
    return seat_arcs(x, y, seat.source_width, players, *((0.6, 0.7) if standing else ()))


def _lowest(scene: Scene) -> float:
    """Lowest y of anything drawn."""
    seats = [seat.floor_place[1] for _, seat in _placed(scene)]
    microphones = [m.position[1] for m in hall_microphones(scene.microphones, scene.hall)]
    head = listener(scene.microphones, scene.hall).position[1]
    return min([*seats, *microphones, head])


def _hall(
    frame: _Frame, across: tuple[float, float], upstage: tuple[float, float, float]
) -> list[str]:
    (left, right), (bottom, low, high) = across, upstage
    walls = f"M {frame.pair(left, bottom)} L {frame.pair(left, high)} "
    walls += f"L {frame.pair(right, high)} L {frame.pair(right, bottom)}"
    if bottom <= low:
        return [f'<path class="wall" d="{walls} Z"/>']
    cut = f'<path class="cut" d="M {frame.pair(left, bottom)} L {frame.pair(right, bottom)}"/>'
    x, y = frame.at(right, bottom)
    note = f"the hall goes on to {-low:.1f} m from the podium"
    return [
        f'<path class="wall" d="{walls}"/>',
        cut,
        f'<text class="detail end" x="{x - 8:.1f}" y="{y - 8:.1f}">{note}</text>',
    ]


def _bearings(frame: _Frame, across: tuple[float, float], high: float) -> list[str]:
    """Thin rays every 30 degrees and circles every 5 m inside the walls, to read places off."""
    (x, y), (end, floor) = frame.at(across[0], high), frame.at(across[1], 0.0)
    clip = (
        f'<clipPath id="stage"><rect x="{x:.1f}" y="{y:.1f}" width="{end - x:.1f}" '
        f'height="{floor - y:.1f}"/></clipPath><g clip-path="url(#stage)">'
    )
    reach = high - 0.4
    rays = [
        f'<path class="axis" d="M {frame.pair(0, 0)} '
        f'L {frame.pair(reach * sin(radians(b)), reach * cos(radians(b)))}"/>'
        for b in (-60, -30, 0, 30, 60)
    ]
    circles = [
        f'<path class="axis" d="{_arc_path(frame, radius, -80.0, 80.0)}"/>'
        for radius in range(5, int(reach) + 1, 5)
    ]
    return [clip, *rays, *circles, "</g>"]


def _arc_path(frame: _Frame, radius: float, begin: float, end: float) -> str:
    start = frame.pair(radius * sin(radians(begin)), radius * cos(radians(begin)))
    stop = frame.pair(radius * sin(radians(end)), radius * cos(radians(end)))
    size = radius * UNITS
    large = 1 if end - begin > 180.0 else 0
    return f"M {start} A {size:.1f} {size:.1f} 0 {large} 1 {stop}"


def _podium(frame: _Frame) -> list[str]:
    x, y = frame.at(0.0, 0.0)
    half = 0.45 * UNITS
    return [
        f'<rect class="podium" x="{x - half:.1f}" y="{y - half:.1f}" width="{2 * half:.1f}" '
        f'height="{2 * half:.1f}"/>',
        f'<text class="detail" x="{x:.1f}" y="{y + half + 14:.1f}">podium</text>',
    ]


def _seats(frame: _Frame, scene: Scene) -> list[str]:
    sections = _sections(scene)
    parts: list[str] = []
    labels: list[Label] = []
    marks: list[Mark] = []
    for name, seat in _placed(scene):
        mark = _MARKS[sections.index(seat.section_name) % len(_MARKS)]
        arcs = _arcs(seat)
        parts += _chairs(frame, arcs, mark)
        if seat.riser:
            parts.append(_riser(frame, arcs))
        parts += _turned(frame, seat)
        labels.append(_label(frame, name, seat, arcs))
        chairs = (frame.at(*place) for arc in arcs for place in arc.chairs)
        marks += (Mark(x, y, _CHAIR * UNITS) for x, y in chairs)
    (low, high), (_, back), _ = scene.hall.bounds
    (left, top), (right, _) = frame.at(low, back), frame.at(high, back)
    placed = placed_labels(labels, marks, (left, top, right))
    return [*parts, *(text for label in placed for text in _text(label))]


def _sections(scene: Scene) -> list[str]:
    return list(dict.fromkeys(seat.section_name for _, seat in _placed(scene)))


def _chairs(frame: _Frame, arcs: tuple[Arc, ...], mark: str) -> list[str]:
    rows = [
        f'<path class="row" d="{_arc_path(frame, arc.radius, arc.begin, arc.end)}"/>'
        for arc in arcs
        if len(arc.bearings) > 1
    ]
    chairs = [_mark(frame, place, mark) for arc in arcs for place in arc.chairs]
    return [*rows, *chairs]


def _mark(frame: _Frame, place: tuple[float, float], mark: str, turn: float | None = None) -> str:
    """One chair, in the mark of its section, towards the podium or turned by some degrees."""
    x, y = frame.at(*place)
    size = _CHAIR * UNITS
    if turn is None:
        turn = degrees(atan2(place[0], place[1]))
    at = f'transform="translate({x:.1f} {y:.1f}) rotate({turn:.1f})"'
    shapes = {
        "open": f'<circle class="chair" r="{size:.1f}"/>',
        "full": f'<circle class="full" r="{0.8 * size:.1f}"/>',
        "square": f'<path class="chair" d="M {-size:.1f} {-size:.1f} h {2 * size:.1f} '
        f'v {2 * size:.1f} h {-2 * size:.1f} Z"/>',
        "cross": f'<circle class="chair" r="{size:.1f}"/><path class="row" '
        f'd="M {-size:.1f} 0 H {size:.1f} M 0 {-size:.1f} V {size:.1f}"/>',
        "triangle": f'<path class="chair" d="M 0 {size:.1f} L {size:.1f} {-size:.1f} '
        f'H {-size:.1f} Z"/>',
        "ring": f'<circle class="chair" r="{size:.1f}"/><circle class="full" '
        f'r="{0.35 * size:.1f}"/>',
        "diamond": f'<path class="chair" d="M 0 {-size:.1f} L {size:.1f} 0 L 0 {size:.1f} '
        f'L {-size:.1f} 0 Z"/>',
        "bar": f'<path class="full" d="M {-size:.1f} {-0.4 * size:.1f} h {2 * size:.1f} '
        f'v {0.8 * size:.1f} h {-2 * size:.1f} Z"/>',
    }
    return f"<g {at}>{shapes[mark]}</g>"


def _riser(frame: _Frame, arcs: tuple[Arc, ...]) -> str:
    inner, outer, begin, end = outline(arcs)
    far = _arc_path(frame, outer, begin, end)
    near = f"{inner * sin(radians(end)):.3f} {inner * cos(radians(end)):.3f}".split()
    back = frame.pair(float(near[0]), float(near[1]))
    first = frame.pair(inner * sin(radians(begin)), inner * cos(radians(begin)))
    size = inner * UNITS
    large = 1 if end - begin > 180.0 else 0
    return f'<path class="riser" d="{far} L {back} A {size:.1f} {size:.1f} 0 {large} 0 {first} Z"/>'


def _turned(frame: _Frame, seat: Seat) -> list[str]:
    """A short line where the instrument points, for seats that say so."""
    if seat.facing is None:
        return []
    x, y = seat.floor_place
    ahead = radians(seat.facing)
    ends = frame.pair(x + 0.9 * sin(ahead), y + 0.9 * cos(ahead))
    return [f'<path class="move" d="M {frame.pair(x, y)} L {ends}"/>']


def _label(frame: _Frame, name: str, seat: Seat, arcs: tuple[Arc, ...]) -> Label:
    """Best behind the last row; else before the first one or at either end."""
    bearing, distance = seat.polar_place
    detail = f"{bearing:+.0f}\u00b0  {distance:.1f} m"
    if seat.riser:
        detail += f"  +{seat.riser:g} m"
    written = printable(name)
    behind = _on_floor(frame, arcs[-1].radius + 0.75, bearing)
    before = _on_floor(frame, arcs[0].radius - 0.75, bearing)
    aside = half_width(written, detail) + 0.5 * UNITS
    ends = [_on_floor(frame, arc.radius, end) for arc in arcs for end in (arc.begin, arc.end)]
    left, right = min(ends), max(ends)
    others = (
        (before[0], before[1] + 10.0),
        (left[0] - aside, left[1]),
        (right[0] + aside, right[1]),
    )
    return Label(*behind, written, detail, others)


def _on_floor(frame: _Frame, radius: float, bearing: float) -> tuple[float, float]:
    return frame.at(radius * sin(radians(bearing)), radius * cos(radians(bearing)))


def _text(label: Label) -> list[str]:
    return [
        f'<text class="name" x="{label.x:.1f}" y="{label.y:.1f}">{escape(label.name)}</text>',
        f'<text class="detail" x="{label.x:.1f}" y="{label.y + 13:.1f}">'
        f"{escape(label.detail)}</text>",
    ]


def _microphones(frame: _Frame, scene: Scene) -> list[str]:
    heard = {
        perspective
        for _, seat in _placed(scene)
        for perspective in scene.balance_of(seat)
        if scene.treatment_of(seat) == "placed"
    }
    standing = [
        m for m in hall_microphones(scene.microphones, scene.hall) if m.perspective in heard
    ]
    parts = [_microphone(frame, m, label=m.perspective) for m in standing]
    if "head" in heard:
        x, y, _ = listener(scene.microphones, scene.hall).position
        across, down = frame.at(x, y)
        parts.append(
            f'<circle class="podium" cx="{across:.1f}" cy="{down:.1f}" r="9"/>'
            f'<text class="detail" x="{across:.1f}" y="{down + 24:.1f}">head</text>'
        )
    return [*parts, *(_spot(frame, place) for place in _spots(scene))]


def _spots(scene: Scene) -> list[tuple[float, float]]:
    """Where close microphones stand that are heard, x and y in metres."""
    close = scene.microphones.close
    return [
        close_microphone(close, seat.position, (1.0, 1.0)).position[:2]
        for _, seat in _placed(scene)
        if "close" in scene.balance_of(seat) and scene.treatment_of(seat) == "placed"
    ]


def _microphone(frame: _Frame, microphone: Microphone, label: str) -> str:
    """A circle with a line along its axis; an omni has none."""
    x, y, _ = microphone.position
    across, down = frame.at(x, y)
    axis = ""
    if microphone.omni_share < 1.0:
        tip = frame.pair(x + 0.6 * microphone.aim[0], y + 0.6 * microphone.aim[1])
        axis = f'<path class="microphone" d="M {across:.1f} {down:.1f} L {tip}"/>'
    return (
        f'<g><circle class="microphone" cx="{across:.1f}" cy="{down:.1f}" r="6"/>{axis}'
        f'<circle class="tip" cx="{across:.1f}" cy="{down:.1f}" r="1.8"/>'
        f'<text class="detail" x="{across:.1f}" y="{down + 20:.1f}">{escape(label)}</text></g>'
    )


def _spot(frame: _Frame, place: tuple[float, float]) -> str:
    x, y = frame.at(*place)
    return f'<circle class="tip" cx="{x:.1f}" cy="{y:.1f}" r="2.2"/>'


def _moves(frame: _Frame, scene: Scene, against: Scene) -> list[str]:
    """Where seats of another seating were, dashed, with arrows to where they are."""
    parts: list[str] = []
    for name, seat in _placed(scene):
        old = against.seats.get(name)
        if old is None or (old.x is None and old.bearing is None):
            continue
        (x, y), (old_x, old_y) = seat.floor_place, old.floor_place
        if hypot(x - old_x, y - old_y) < 0.05:
            continue
        for arc in _arcs(old):
            parts.append(
                f'<path class="old" d="{_arc_path(frame, arc.radius, arc.begin, arc.end)}"/>'
            )
            parts += [
                f'<circle class="old" cx="{cx:.1f}" cy="{cy:.1f}" r="{_CHAIR * UNITS:.1f}"/>'
                for cx, cy in (frame.at(*place) for place in arc.chairs)
            ]
        parts.append(_arrow(frame, (old_x, old_y), (x, y)))
    return parts


def _arrow(frame: _Frame, begin: tuple[float, float], end: tuple[float, float]) -> str:
    (x0, y0), (x1, y1) = frame.at(*begin), frame.at(*end)
    turn = degrees(atan2(y1 - y0, x1 - x0))
    return (
        f'<path class="move" d="M {x0:.1f} {y0:.1f} L {x1:.1f} {y1:.1f}"/>'
        f'<path class="tip" transform="translate({x1:.1f} {y1:.1f}) rotate({turn:.1f})" '
        'd="M 0 0 L -14 -6 L -14 6 Z"/>'
    )


def _legend(frame: _Frame, scene: Scene, across: tuple[float, float], bottom: float) -> list[str]:
    """Section marks, a scale bar and the mark of close microphones under the plan."""
    parts = []
    place = across[0] + 0.4
    for number, section in enumerate(_sections(scene)):
        parts.append(_mark(frame, (place, bottom - 0.9), _MARKS[number % len(_MARKS)], 0.0))
        x, y = frame.at(place + 0.5, bottom - 0.9)
        parts.append(
            f'<text class="section" x="{x:.1f}" y="{y + 5:.1f}">{escape(printable(section))}</text>'
        )
        place += 1.3 + 0.24 * len(section)
    if _spots(scene):
        parts.append(_spot(frame, (across[0] + 6.4, bottom - 1.9)))
        x, y = frame.at(across[0] + 6.6, bottom - 1.9)
        parts.append(f'<text class="detail start" x="{x:.1f}" y="{y + 4:.1f}">close</text>')
    bar, down = frame.at(across[0], bottom - 1.9)
    parts.append(
        f'<path class="podium" d="M {bar:.1f} {down - 5:.1f} v 10 M {bar:.1f} {down:.1f} '
        f'h {5 * UNITS:.1f} m 0 -5 v 10"/>'
        f'<text class="detail" x="{bar + 2.5 * UNITS:.1f}" y="{down + 18:.1f}">5 m</text>'
    )
    return parts
