"use strict";
/* The card of the chosen chair, its section's balance, and the table of all chairs. */

const Desk = (() => {
  const byId = (id) => document.getElementById(id);
  const LOWEST = -40; // dB on a balance's slider
  const HIGHEST = 6;

  function cell(kind, words, name) {
    const made = document.createElement(kind);
    if (name) {
      made.className = name;
    }
    made.textContent = words;
    return made;
  }

  const isNumber = (value) => typeof value === "number";
  const signed = (value, digits) =>
    `${value < -(10 ** -digits) / 2 ? "−" : "+"}${Math.abs(value).toFixed(digits)}`;
  const inDegrees = (value) => (isNumber(value) ? `${signed(value, 1)}°` : "–");
  const inDecibels = (value) => (isNumber(value) ? `${signed(value, 1)} dB` : "–");

  /** Fill a select with names; a value that stays is kept. */
  function options(select, pairs, value) {
    const same = select.options.length === pairs.length
      && pairs.every(([key, words], i) =>
        select.options[i].value === key && select.options[i].textContent === words);
    if (!same) {
      select.replaceChildren(...pairs.map(([key, words]) => {
        const made = cell("option", words);
        made.value = key;
        return made;
      }));
    }
    select.value = value;
  }

  function showSeat(seat, figures, shown) {
    byId("card-title").textContent = seat.name;
    const { bearing, distance } = Shapes.polar(seat.x, seat.y);
    byId("place").textContent = `${seat.section}; bearing ${signed(bearing, 1)}°, `
      + `${distance.toFixed(2)} m from the podium, facing ${signed(Shapes.turn(seat.facing), 0)}°`
      + `${seat.turned ? "" : " as it would by itself"}; ${seat.treatment}`;
    showFigures(figures);
    byId("line").textContent = `${seat.name}: ${distance.toFixed(2)} m at ${signed(bearing, 1)}°, `
      + `heard at ${figures ? inDegrees(figures.heard) : "…"}, direct to reverberant `
      + `${figures ? inDecibels(figures.direct) : "…"}, C80 `
      + `${figures ? inDecibels(figures.clarity) : "…"}`;
    const fields = { bearing: bearing.toFixed(1), distance: distance.toFixed(2),
      facing: Shapes.turn(seat.facing).toFixed(0) };
    for (const [id, value] of Object.entries(fields)) {
      if (document.activeElement !== byId(id) || shown !== seat.name) {
        byId(id).value = value;
      }
    }
  }

  /** A seat's place as it is read out, "" where there is none of that name. */
  function placeWords(seats, name) {
    const seat = seats.find((one) => one.name === name);
    if (!seat) {
      return "";
    }
    const { bearing, distance } = Shapes.polar(seat.x, seat.y);
    const near = nearWords(seat, Labels.near(seats, seat));
    return `${seat.name}: bearing ${bearing.toFixed(0)} degrees, ${distance.toFixed(1)} metres, `
      + `facing ${Shapes.turn(seat.facing).toFixed(0)}. ${near}`.trim();
  }

  function nearWords(seat, near) {
    if (!near.length) {
      return "";
    }
    const names = near.slice(0, 3).map(({ name, away }) => `${away.toFixed(2)} m from ${name}`);
    const more = near.length > 3 ? `, and ${near.length - 3} more` : "";
    return `Doubtful: ${seat.name} is only ${names.join(", ")}${more}.`;
  }

  /** Chairs on top of one another are told, never refused. */
  function showDoubt(seat, near) {
    const words = nearWords(seat, near);
    if (byId("doubt").textContent !== words) {
      byId("doubt").textContent = words;
    }
    byId("doubt").hidden = !words;
  }

  function showFigures(figures) {
    const over = figures && figures.over === "headphones" ? " over headphones" : "";
    byId("f-heard").textContent = figures ? inDegrees(figures.heard) + over : "…";
    byId("f-placed").textContent = figures ? inDegrees(figures.placed) : "…";
    byId("f-direct").textContent = figures ? inDecibels(figures.direct) : "…";
    byId("f-clarity").textContent = figures ? inDecibels(figures.clarity) : "…";
  }

  /** Show a section's balance; tell(levels) is called with what the hand wants. */
  function showBalance(section, seat, perspectives, tell) {
    const blended = seat.treatment === "blended";
    byId("balance-of").textContent = blended
      ? `${seat.name} has a room of its own: only the tree's tail is added, no balance.`
      : seat.ownBalance
        ? `Of ${section.name}. ${seat.name} has a balance of its own in the scene file and does not follow it.`
        : `Of ${section.name}, all its chairs. What is not ticked is not heard.`;
    const body = byId("levels");
    const same = body.dataset.section === section.name && body.children.length;
    if (!same) {
      body.replaceChildren(...perspectives.map((name) => levelRow(name)));
      body.dataset.section = section.name;
    }
    for (const row of body.children) {
      const [tick, slider] = row.querySelectorAll("input");
      const heard = row.dataset.name in section.levels;
      tick.checked = heard;
      slider.disabled = !heard;
      if (heard && document.activeElement !== slider) {
        slider.value = section.levels[row.dataset.name];
      }
      row.lastChild.textContent = heard ? signed(section.levels[row.dataset.name], 1) : "–";
      tick.onchange = () => tell(levelsOf(body), false);
      slider.oninput = () => {
        row.lastChild.textContent = signed(Number(slider.value), 1);
      };
      slider.onchange = () => tell(levelsOf(body), true);
    }
  }

  function levelRow(name) {
    const row = document.createElement("tr");
    row.dataset.name = name;
    const tick = document.createElement("input");
    tick.type = "checkbox";
    tick.setAttribute("aria-label", `${name} heard`);
    const held = document.createElement("label");
    held.append(tick);
    const slider = document.createElement("input");
    Object.assign(slider, { type: "range", min: LOWEST, max: HIGHEST, step: 0.5, value: -8 });
    slider.setAttribute("aria-label", `${name}, dB`);
    const head = cell("th", name);
    head.scope = "row";
    const [first, level] = [document.createElement("td"), document.createElement("td")];
    first.append(held);
    level.append(slider);
    row.append(first, head, level, cell("td", "", "number"));
    return row;
  }

  function levelsOf(body) {
    const levels = {};
    for (const row of body.children) {
      const [tick, slider] = row.querySelectorAll("input");
      if (tick.checked) {
        levels[row.dataset.name] = Number(slider.value);
      }
    }
    return levels;
  }

  function showAll(facts, chosen, choose) {
    byId("rows").replaceChildren(...facts.scene.seats.map((seat) => {
      const figures = facts.figures[seat.name];
      const { bearing, distance } = Shapes.polar(seat.x, seat.y);
      const row = document.createElement("tr");
      row.className = seat.name === chosen ? "chosen" : "";
      const name = cell("button", seat.name);
      name.type = "button";
      name.onclick = () => choose(seat.name);
      const head = document.createElement("th");
      head.scope = "row";
      head.append(name);
      const silent = facts.failed[seat.name] ? " (silent, see above)" : seat.sounds ? "" : " (muted)";
      head.append(silent);
      row.append(head, cell("td", seat.section, "roomy"), cell("td", inDegrees(bearing), "number"),
        cell("td", `${distance.toFixed(2)} m`, "number roomy"),
        cell("td", figures ? inDegrees(figures.heard) : "…", "number"),
        cell("td", figures ? inDecibels(figures.direct) : "…", "number"),
        cell("td", figures ? inDecibels(figures.clarity) : "…", "number roomy"));
      return row;
    }));
  }

  return { byId, options, placeWords, showDoubt, showSeat, showFigures, showBalance, showAll, signed, inDegrees, inDecibels };
})();
