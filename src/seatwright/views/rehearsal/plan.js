"use strict";
/* The seating chart: drawn from facts, moved by hand and keys; it tells what was wanted. */

const Plan = (() => {
  const { element, path, text, pair } = Shapes;
  const STEP = 0.25; // metres an arrow key moves
  const FINE = 0.05;
  const TURN = 5; // degrees
  const REACH = 1.7; // metres from a chair to the circle that turns it
  const NUDGE = 3; // pixels a hand may shake without moving a chair

  /** Make the chart in `box` and its marks in `legend`. tell: {choose, held, moved} */
  function build(box, legend, tell) {
    const plan = { box, legend, tell, facts: null, chosen: null, hand: null, faulty: new Set(),
      groups: new Map() };
    plan.svg = element("svg", { role: "application", "aria-roledescription": "seating chart",
      "aria-label": "Seating chart", "aria-describedby": "keys" });
    box.replaceChildren(plan.svg);
    plan.svg.addEventListener("pointermove", (event) => drag(plan, event));
    plan.svg.addEventListener("pointerup", (event) => drop(plan, event));
    plan.svg.addEventListener("pointercancel", () => putBack(plan));
    plan.svg.addEventListener("keydown", (event) => key(plan, event));
    return plan;
  }

  /** Draw everything anew. */
  function draw(plan, facts) {
    const focused = plan.svg.contains(document.activeElement);
    plan.facts = facts;
    const { hall } = facts;
    const bottom = lowest(facts);
    plan.frame = Shapes.frameOf(hall.left - 0.5, hall.high + 0.5);
    plan.wide = (hall.right - hall.left + 1) * Shapes.UNITS;
    const tall = (hall.high - bottom + 1) * Shapes.UNITS;
    plan.svg.setAttribute("viewBox", `0 0 ${plan.wide.toFixed(0)} ${tall.toFixed(0)}`);
    plan.letter = large() ? Labels.units(plan) : 0;
    plan.svg.style.setProperty("--letter", `${plan.letter.toFixed(1)}px`);
    plan.layers = { still: element("g"), seats: element("g"), grip: element("g"),
      labels: element("g") };
    plan.groups = new Map();
    plan.layers.still.append(...stillParts(plan, bottom));
    for (const seat of facts.seats) {
      plan.groups.set(seat.name, seatGroup(plan, seat));
    }
    // the largest first, so that a chair among the choir can still be taken
    const order = [...facts.seats].sort((a, b) => b.players * b.width - a.players * a.width);
    plan.layers.seats.append(...order.map((seat) => plan.groups.get(seat.name)));
    plan.svg.replaceChildren(...Object.values(plan.layers));
    plan.legend.replaceChildren(...facts.sections.map(Labels.legendEntry));
    mark(plan);
    if (focused) {
      focus(plan);
    }
  }

  function lowest(facts) {
    const trees = facts.microphones.filter((one) => one.perspective === "tree");
    const most = Math.min(...facts.seats.map((seat) => seat.y - 1), ...trees.map((m) => m.y - 1), -2.5);
    return Math.max(most, facts.hall.low);
  }

  function stillParts(plan, bottom) {
    const { frame, facts } = plan;
    const { left, right, low, high } = facts.hall;
    const cut = bottom > low;
    const walls = `M ${pair(frame, left, bottom)} L ${pair(frame, left, high)} `
      + `L ${pair(frame, right, high)} L ${pair(frame, right, bottom)}${cut ? "" : " Z"}`;
    const parts = [hatch(), path("wall", walls)];
    if (cut) {
      const [x, y] = frame.at(right, bottom);
      parts.push(path("cut", `M ${pair(frame, left, bottom)} L ${pair(frame, right, bottom)}`),
        text("detail end", x - 8, y - 8, `the hall goes on to ${(-low).toFixed(1)} m from the podium`));
    }
    for (const bearing of [-60, -30, 0, 30, 60]) {
      parts.push(path("axis", `M ${pair(frame, 0, 0)} L ${pair(frame, ...ray(facts.hall, bearing))}`));
    }
    for (let radius = 5; radius < high; radius += 5) {
      const side = Math.min(80, Shapes.degrees(Math.asin(Math.min(1, right / radius))) - 1);
      parts.push(path("axis", Shapes.arcPath(frame, radius, -side, side)));
    }
    const [x, y] = frame.at(0, 0);
    parts.push(element("rect", { class: "podium", x: x - 18, y: y - 18, width: 36, height: 36 }),
      text("detail", x, y + 33, "podium"));
    const seen = facts.microphones.filter((one) => one.y > bottom && heard(facts, one.perspective));
    parts.push(...seen.map((one) => microphone(frame, one)));
    return parts;
  }

  /** Where a ray from the podium meets a wall. */
  function ray(hall, bearing) {
    const [x, y] = Shapes.floor(bearing, 1);
    const most = Math.min(hall.high / y, x ? hall.right / Math.abs(x) : Infinity) - 0.3;
    return [most * x, most * y];
  }

  function heard(facts, perspective) {
    return facts.sections.some((section) => perspective in section.levels);
  }

  function hatch() {
    const lines = element("path", { class: "row-line", d: "M 0 8 L 8 0" });
    return element("defs", {}, element("pattern",
      { id: "hatch", width: 8, height: 8, patternUnits: "userSpaceOnUse" }, lines));
  }

  function microphone(frame, one) {
    const [x, y] = frame.at(one.x, one.y);
    const group = element("g", {},
      element("circle", { class: "stroke", cx: x, cy: y, r: 6 }),
      element("circle", { class: "full", cx: x, cy: y, r: 1.8 }),
      text("detail", x, y + 20, one.perspective));
    if (one.aim) {
      const tip = pair(frame, one.x + 0.6 * one.aim[0], one.y + 0.6 * one.aim[1]);
      group.append(path("stroke", `M ${x.toFixed(1)} ${y.toFixed(1)} L ${tip}`));
    }
    return group;
  }

  const large = () => window.matchMedia("(max-width: 36rem)").matches;

  function seatGroup(plan, seat) {
    const group = element("g", { role: "button", tabindex: -1 });
    group.addEventListener("pointerdown", (event) => take(plan, seat.name, "place", event));
    group.addEventListener("focus", () => plan.tell.choose(seat.name));
    fill(plan, group, seat);
    return group;
  }

  /** Draw one seat where it is. */
  function fill(plan, group, seat) {
    const { frame, facts } = plan;
    const number = facts.sections.findIndex((section) => section.name === seat.section);
    const kind = Shapes.MARKS[number % Shapes.MARKS.length];
    const arcs = Shapes.seatArcs(seat);
    const parts = [path("reach", Shapes.outline(frame, arcs, 0.5))];
    if (seat.riser) {
      parts.push(path("riser", Shapes.outline(frame, arcs, 0.55)));
    }
    for (const arc of arcs) {
      if (arc.bearings.length > 1) {
        parts.push(path("row-line", Shapes.arcPath(frame, arc.radius, arc.begin, arc.end)));
      }
      parts.push(...arc.bearings.map(
        (bearing) => Shapes.mark(frame, ...Shapes.floor(bearing, arc.radius), kind)));
    }
    if (seat.turned) {
      parts.push(path("turn", `M ${pair(frame, seat.x, seat.y)} L ${pair(frame, ...ahead(seat, 0.9))}`));
    }
    if (seat.close) {
      const away = Math.max(0.01, Math.hypot(seat.x, seat.y));
      const share = 1 - facts.closeDistance / away;
      const [x, y] = frame.at(seat.x * share, seat.y * share);
      parts.push(element("circle", { class: "full", cx: x, cy: y, r: 2.2 }));
    }
    group.replaceChildren(...parts);
    const { bearing, distance } = Shapes.polar(seat.x, seat.y);
    group.setAttribute("aria-label", `${seat.name}, ${seat.section}, bearing `
      + `${bearing.toFixed(0)} degrees, ${distance.toFixed(1)} metres, facing ${Shapes.turn(seat.facing).toFixed(0)}`);
  }

  function ahead(seat, metres) {
    const [x, y] = Shapes.floor(seat.facing, metres);
    return [seat.x + x, seat.y + y];
  }

  /** Show which seat is chosen, which are faulty or silent, names and the circle that turns. */
  function mark(plan) {
    for (const seat of plan.facts.seats) {
      const group = plan.groups.get(seat.name);
      const chosen = seat.name === plan.chosen;
      group.setAttribute("class", ["seat", chosen && "chosen", plan.faulty.has(seat.name) && "faulty",
        !seat.sounds && "silent", plan.hand && plan.hand.name === seat.name && "held",
      ].filter(Boolean).join(" "));
      group.setAttribute("tabindex", chosen ? 0 : -1);
      group.setAttribute("aria-pressed", chosen);
    }
    plan.layers.labels.replaceChildren(...Labels.all(plan));
    plan.layers.grip.replaceChildren(...grip(plan));
  }

  function grip(plan) {
    const seat = seatOf(plan, plan.chosen);
    if (!seat) {
      return [];
    }
    const [x, y] = plan.frame.at(...ahead(seat, REACH));
    const size = large() ? 13 : 8;
    const line = path("grip-axis", `M ${pair(plan.frame, ...ahead(seat, 0.35))} L ${x} ${y}`);
    const reach = element("circle", { class: "grip-reach", cx: x, cy: y, r: 22 });
    const circle = element("circle", { class: "grip", cx: x, cy: y, r: size });
    for (const part of [reach, circle]) {
      part.addEventListener("pointerdown", (event) => take(plan, seat.name, "turn", event));
    }
    return [line, reach, circle];
  }

  const seatOf = (plan, name) => plan.facts && plan.facts.seats.find((seat) => seat.name === name);

  function metresOf(plan, event) {
    const point = new DOMPoint(event.clientX, event.clientY)
      .matrixTransform(plan.svg.getScreenCTM().inverse());
    return plan.frame.metres(point.x, point.y);
  }

  function take(plan, name, what, event) {
    if (event.button !== 0 || plan.hand) {
      return;
    }
    event.stopPropagation();
    event.preventDefault();
    plan.tell.choose(name);
    const seat = seatOf(plan, name);
    const [x, y] = metresOf(plan, event);
    plan.hand = { name, what, before: { ...seat }, off: [seat.x - x, seat.y - y], moved: false,
      at: [event.clientX, event.clientY], pointer: event.pointerId };
    plan.svg.setPointerCapture(event.pointerId);
    mark(plan);
    focus(plan);
  }

  function drag(plan, event) {
    const { hand } = plan;
    if (!hand || event.pointerId !== hand.pointer) {
      return;
    }
    const far = Math.hypot(event.clientX - hand.at[0], event.clientY - hand.at[1]);
    if (!hand.moved && far < NUDGE) {
      return;
    }
    hand.moved = true;
    const seat = seatOf(plan, hand.name);
    const [x, y] = metresOf(plan, event);
    if (hand.what === "place") {
      put(plan, seat, { x: x + hand.off[0], y: y + hand.off[1] });
    } else {
      put(plan, seat, { facing: Math.round(Shapes.polar(x - seat.x, y - seat.y).bearing) });
    }
    plan.tell.held(wish(seat, hand.what));
  }

  /** Show a seat elsewhere; one that faces the podium by default goes on doing so. */
  function put(plan, seat, change) {
    Object.assign(seat, change);
    if (change.facing !== undefined) {
      seat.turned = true;
    } else if (!seat.turned) {
      const turned = Shapes.polar(seat.x, seat.y).bearing + 180 + seat.turnedByDefault;
      seat.facing = ((turned % 360) + 360) % 360;
    }
    fill(plan, plan.groups.get(seat.name), seat);
    mark(plan);
  }

  function wish(seat, what) {
    return what === "place" ? { seat: seat.name, x: seat.x, y: seat.y }
      : { seat: seat.name, facing: seat.facing };
  }

  function drop(plan, event) {
    const { hand } = plan;
    if (!hand || event.pointerId !== hand.pointer) {
      return;
    }
    plan.hand = null;
    mark(plan);
    if (hand.moved) {
      plan.tell.moved(wish(seatOf(plan, hand.name), hand.what), false);
    }
  }

  function putBack(plan) {
    const { hand } = plan;
    plan.hand = null;
    if (hand) {
      Object.assign(seatOf(plan, hand.name), hand.before);
      plan.faulty.delete(hand.name);
      draw(plan, plan.facts);
    }
  }

  function key(plan, event) {
    const seat = seatOf(plan, plan.chosen);
    if (!seat || event.ctrlKey || event.metaKey || event.altKey) {
      return;
    }
    if (event.key === "Escape" && plan.hand) {
      putBack(plan);
      return;
    }
    const step = event.shiftKey ? FINE : STEP;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step],
      ArrowDown: [0, -step] };
    const turns = { PageUp: -TURN, PageDown: TURN };
    const chosen = { n: 1, p: -1 }[event.key.toLowerCase()];
    if (moves[event.key]) {
      const [x, y] = moves[event.key];
      put(plan, seat, { x: seat.x + x, y: seat.y + y });
      plan.tell.moved(wish(seat, "place"), true);
    } else if (turns[event.key]) {
      const turned = seat.facing + turns[event.key];
      put(plan, seat, { facing: Shapes.turn(turned) });
      plan.tell.moved(wish(seat, "turn"), true);
    } else if (chosen) {
      const { seats } = plan.facts;
      const next = seats[(seats.indexOf(seat) + chosen + seats.length) % seats.length];
      plan.tell.choose(next.name);
      focus(plan);
    } else {
      return;
    }
    event.preventDefault();
  }

  function choose(plan, name) {
    plan.chosen = name;
    if (plan.facts) {
      mark(plan);
    }
  }

  function focus(plan) {
    const group = plan.groups.get(plan.chosen);
    if (group && document.activeElement !== group) {
      group.focus({ preventScroll: true });
    }
  }

  function setFaulty(plan, name, faulty) {
    if (faulty !== plan.faulty.has(name)) {
      if (faulty) {
        plan.faulty.add(name);
      } else {
        plan.faulty.delete(name);
      }
      mark(plan);
    }
  }

  const near = (plan, seat) => Labels.near(plan.facts.seats, seat);

  return { build, draw, choose, setFaulty, seatOf, near };
})();
