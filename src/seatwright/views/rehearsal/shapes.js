"use strict";
/* Shapes of a printed seating chart, in metres from the podium and units of the picture. */

const Shapes = (() => {
  const UNITS = 40; // a metre
  const CHAIR = 0.27; // metres, half a chair
  const GAP = 0.9; // metres between neighbours
  const ROW = 1.15; // metres between rows
  const MARKS = ["open", "full", "square", "cross", "triangle", "ring", "diamond", "bar"];
  const SPACE = "http://www.w3.org/2000/svg";

  const radians = (degrees) => (degrees * Math.PI) / 180;
  const degrees = (angle) => (angle * 180) / Math.PI;

  function element(name, attributes, ...children) {
    const made = document.createElementNS(SPACE, name);
    for (const [key, value] of Object.entries(attributes || {})) {
      made.setAttribute(key, value);
    }
    made.append(...children);
    return made;
  }

  const path = (kind, d) => element("path", { class: kind, d });

  function text(kind, x, y, words) {
    const made = element("text", { class: kind, x: x.toFixed(1), y: y.toFixed(1) });
    made.textContent = words;
    return made;
  }

  /** Metres to units. */
  function frameOf(left, top) {
    return {
      at: (x, y) => [(x - left) * UNITS, (top - y) * UNITS],
      metres: (across, down) => [across / UNITS + left, top - down / UNITS],
    };
  }

  function pair(frame, x, y) {
    return frame.at(x, y).map((value) => value.toFixed(1)).join(" ");
  }

  const polar = (x, y) => ({ bearing: degrees(Math.atan2(x, y)), distance: Math.hypot(x, y) });
  const turn = (facing) => ((((facing + 180) % 360) + 360) % 360) - 180; // -180 to 180
  const floor = (bearing, distance) => [
    distance * Math.sin(radians(bearing)), distance * Math.cos(radians(bearing)),
  ];

  /** Rows of chairs on circles around the podium, the nearest first. */
  function seatArcs(seat) {
    const chair = seat.standing ? 0.6 : GAP;
    const row = seat.standing ? 0.7 : ROW;
    const distance = Math.max(Math.hypot(seat.x, seat.y), 0.6);
    const { bearing } = polar(seat.x, seat.y);
    const perRow = Math.max(1, Math.min(seat.players,
      1 + Math.floor(Math.max(seat.width, chair) / chair)));
    const rows = Math.ceil(seat.players / perRow);
    const first = Math.max(0.5, distance - (row * (rows - 1)) / 2);
    const arcs = [];
    let left = seat.players;
    for (let number = 0; number < rows; number += 1) {
      const count = Math.ceil(left / (rows - number));
      left -= count;
      const radius = first + row * number;
      const step = Math.min(degrees(chair / radius), 340 / Math.max(1, count));
      const bearings = Array.from({ length: count },
        (_, i) => bearing + step * (i - (count - 1) / 2));
      arcs.push({ radius, bearings, begin: bearings[0], end: bearings[count - 1] });
    }
    return arcs;
  }

  function arcPath(frame, radius, begin, end) {
    const size = (radius * UNITS).toFixed(1);
    const large = end - begin > 180 ? 1 : 0;
    return `M ${pair(frame, ...floor(begin, radius))} A ${size} ${size} 0 ${large} 1 `
      + pair(frame, ...floor(end, radius));
  }

  /** A line around all chairs of a seat. */
  function outline(frame, arcs, margin) {
    const inner = Math.max(0.2, arcs[0].radius - margin);
    const outer = arcs[arcs.length - 1].radius + margin;
    const pad = Math.min(20, degrees(margin / Math.max(arcs[0].radius, 0.5)));
    const begin = Math.min(...arcs.map((arc) => arc.begin)) - pad;
    const end = Math.max(...arcs.map((arc) => arc.end)) + pad;
    const size = (inner * UNITS).toFixed(1);
    const large = end - begin > 180 ? 1 : 0;
    return `${arcPath(frame, outer, begin, end)} L ${pair(frame, ...floor(end, inner))} `
      + `A ${size} ${size} 0 ${large} 0 ${pair(frame, ...floor(begin, inner))} Z`;
  }

  /** One chair in the mark of its section. */
  function mark(frame, x, y, kind, turn) {
    const [across, down] = frame.at(x, y);
    const s = CHAIR * UNITS;
    const turned = turn === undefined ? polar(x, y).bearing : turn;
    const group = element("g",
      { transform: `translate(${across.toFixed(1)} ${down.toFixed(1)}) rotate(${turned.toFixed(1)})` });
    const circle = (name, r) => element("circle", { class: name, r: r.toFixed(1) });
    const shapes = {
      open: () => [circle("chair", s)],
      full: () => [circle("full", 0.8 * s)],
      square: () => [path("chair", `M ${-s} ${-s} h ${2 * s} v ${2 * s} h ${-2 * s} Z`)],
      cross: () => [circle("chair", s), path("row-line", `M ${-s} 0 H ${s} M 0 ${-s} V ${s}`)],
      triangle: () => [path("chair", `M 0 ${s} L ${s} ${-s} H ${-s} Z`)],
      ring: () => [circle("chair", s), circle("full", 0.35 * s)],
      diamond: () => [path("chair", `M 0 ${-s} L ${s} 0 L 0 ${s} L ${-s} 0 Z`)],
      bar: () => [path("full", `M ${-s} ${-0.4 * s} h ${2 * s} v ${0.8 * s} h ${-2 * s} Z`)],
    };
    group.append(...shapes[kind]());
    return group;
  }

  /** Where names stand: behind their chairs, moved away from the podium until none is covered. */
  function placedLabels(labels, letter, high, wide) {
    const placed = [];
    const span = (label) => {
      const long = letter * Math.max(label.name.length, 0.72 * label.detail.length);
      const left = { start: 0, middle: -0.5, end: -1 }[label.anchor] * long + label.x;
      return [left - 2, left + long + 2];
    };
    const covers = (one, other) => {
      const [[a, b], [c, d]] = [span(one), span(other)];
      return a < d && c < b && Math.abs(one.y - other.y) < high;
    };
    for (const label of [...labels].sort((a, b) => b.y - a.y)) {
      const [left, right] = span(label);
      const inwards = Math.max(0, -left) - Math.max(0, right - wide); // on the sheet
      const moved = { ...label, x: label.x + inwards };
      for (let tries = 0; tries < 40 && placed.some((one) => covers(moved, one)); tries += 1) {
        moved.y -= 6;
      }
      placed.push(moved);
    }
    return placed;
  }

  return { UNITS, MARKS, element, path, text, frameOf, pair, polar, turn, floor, radians, degrees,
    seatArcs, arcPath, outline, mark, placedLabels };
})();
