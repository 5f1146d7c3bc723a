"use strict";
/* Names on the chart and below it: all of them where there is room, on a phone a few that are large. */

const Labels = (() => {
  const { element, text } = Shapes;
  const SIDE = 25; // degrees from which on a chair is at the side
  const MANY = 24; // chairs from which on only the chosen one has its place written beside it
  const READABLE = 15; // pixels of letters on a phone
  const NEAR = 0.5; // metres below which two seats are at one place

  const shortened = (words, most) => (words.length > most ? `${words.slice(0, most)}…` : words);

  function all(plan) {
    const many = plan.facts.seats.length > MANY;
    const most = many ? 14 : 28;
    const made = plan.letter ? fewLabels(plan)
      : plan.facts.seats.map((seat) => label(plan, seat, shortened(seat.name, most), !many));
    const size = plan.letter ? [0.56 * plan.letter, 1.1 * plan.letter] : [7.6, many ? 16 : 30];
    return Shapes.placedLabels(made, ...size, plan.wide).flatMap((one) => [
      text(`${one.chosen ? "name chosen-name" : "name"} ${one.anchor}`, one.x, one.y, one.name),
      text(`detail ${one.anchor}`, one.x, one.y + 13, one.detail),
    ]);
  }

  /** On a phone: the chosen chair, and each other section at its middle chair. */
  function fewLabels(plan) {
    const { seats, sections } = plan.facts;
    const chosen = seats.find((seat) => seat.name === plan.chosen);
    const made = chosen ? [label(plan, chosen, shortened(chosen.name, 22), false)] : [];
    for (const { name } of sections) {
      const own = seats.filter((seat) => seat.section === name);
      if (!chosen || chosen.name !== name) {
        made.push({ ...label(plan, middleOf(own), shortened(name, 20), false), chosen: false });
      }
    }
    return made;
  }

  function middleOf(seats) {
    const mean = (key) => seats.reduce((sum, seat) => sum + seat[key], 0) / seats.length;
    const [x, y] = [mean("x"), mean("y")];
    const off = (seat) => Math.hypot(seat.x - x, seat.y - y);
    return seats.reduce((best, seat) => (off(seat) < off(best) ? seat : best));
  }

  function label(plan, seat, name, detailed) {
    const arcs = Shapes.seatArcs(seat);
    const { bearing, distance } = Shapes.polar(seat.x, seat.y);
    const [x, y] = plan.frame.at(...Shapes.floor(bearing, arcs[arcs.length - 1].radius + 0.6));
    const sign = bearing < 0 ? "−" : "+";
    let detail = `${sign}${Math.abs(bearing).toFixed(0)}°  ${distance.toFixed(1)} m`;
    detail += seat.riser ? `  +${seat.riser} m` : "";
    // at the sides a name stands beside its chairs, not on them
    const anchor = Math.abs(bearing) < SIDE ? "middle" : bearing < 0 ? "end" : "start";
    const chosen = seat.name === plan.chosen;
    const told = !plan.letter && (detailed || chosen);
    return { x, y: y - (plan.letter ? 0 : 13), anchor, chosen, name, detail: told ? detail : "" };
  }

  /** A section's mark and name below the chart, where names wrap as text does. */
  function legendEntry(section, number) {
    const entry = document.createElement("li");
    const drawn = element("svg", { viewBox: "-14 -14 28 28", "aria-hidden": "true" },
      Shapes.mark(Shapes.frameOf(0, 0), 0, 0, Shapes.MARKS[number % Shapes.MARKS.length], 0));
    entry.append(drawn, section.name);
    return entry;
  }

  /** Units of the picture that letters need to be read on a phone. */
  function units(plan) {
    return (READABLE * plan.wide) / Math.max(240, plan.box.clientWidth);
  }

  /** Names of other seats at a seat's place, and how far they are, the nearest first. */
  function near(seats, seat) {
    return seats.filter((other) => other.name !== seat.name)
      .map(({ name, x, y }) => ({ name, away: Math.hypot(x - seat.x, y - seat.y) }))
      .filter(({ away }) => away < NEAR)
      .sort((one, other) => one.away - other.away);
  }

  return { all, legendEntry, units, near };
})();
