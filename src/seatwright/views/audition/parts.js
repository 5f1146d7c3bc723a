/* Small pieces of a page: elements whose text is only text, times, tables, the outline. */

const Parts = (() => {
  const find = (id) => document.getElementById(id);

  /** A name that shows what it holds: what steers text or is invisible stands as an escape. */
  function shown(name) {
    return name.replace(/[\p{C}\u2028\u2029]/gu, (c) => `\\u{${c.codePointAt(0).toString(16)}}`);
  }

  function element(tag, text, attributes = {}) {
    const made = document.createElement(tag);
    if (text) {
      made.textContent = text;
    }
    Object.entries(attributes).forEach(([key, value]) => made.setAttribute(key, value));
    return made;
  }

  const named = (name) => element("bdi", shown(name), name.length > 80 ? { class: "long" } : {});
  const short = (text, most) => (text.length > most ? `${text.slice(0, most)}…` : text);
  function clock(seconds) {
    const tenths = Math.floor(seconds * 10 + 1e-6);
    const rest = String(Math.floor(tenths / 10) % 60).padStart(2, "0");
    return `${Math.floor(tenths / 600)}:${rest}.${tenths % 10}`;
  }

  /** How long something is, in words. */
  function lasting(seconds) {
    const whole = Math.round(seconds);
    return whole < 60 ? `${whole} s` : `${Math.floor(whole / 60)} min ${whole % 60} s`;
  }

  /** What differs between two versions, a row a seat. */
  function differenceTable(heads, each) {
    const frame = element("div", "", { class: "scroll", tabindex: "0", role: "region" });
    const table = element("table");
    frame.setAttribute("aria-label", "What differs, seat by seat");
    const head = element("tr");
    heads.forEach((text) => head.append(element("th", text, { scope: "col" })));
    const body = element("tbody");
    each.rows.forEach((cells) => {
      const row = element("tr");
      cells.forEach((text, i) => {
        const cell = i === 0 ? element("th", "", { scope: "row" }) : element("td");
        cell.append(named(text.replace(" > ", " \u2192 ").replace(/-(?=\d)/g, "\u2212")));
        row.append(cell);
      });
      body.append(row);
    });
    const top = element("thead");
    top.append(head);
    table.append(top, body);
    frame.append(table);
    return frame;
  }

  /** Draw one outline for all versions.
      view: {length, waveform, loop, at, pins: seconds of comments} */
  function drawWave(canvas, view) {
    const scale = window.devicePixelRatio || 1;
    const width = canvas.clientWidth;
    const height = canvas.clientHeight;
    if (!width) {
      return;
    }
    if (canvas.width !== Math.round(width * scale)) {
      canvas.width = Math.round(width * scale);
      canvas.height = Math.round(height * scale);
    }
    const style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(name).trim();
    const pen = canvas.getContext("2d");
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.clearRect(0, 0, width, height);
    const x = (seconds) => (seconds / view.length) * width;
    if (view.loop) {
      const to = view.loop[1] === null ? view.loop[0] : view.loop[1];
      pen.fillStyle = colour("--rule");
      pen.fillRect(x(view.loop[0]), 0, Math.max(2, x(to) - x(view.loop[0])), height);
    }
    const { at } = view;
    const step = width / view.waveform.length;
    view.waveform.forEach((value, i) => {
      pen.fillStyle = colour(i * step <= x(at) ? "--ink" : "--soft");
      const high = Math.max(1, (value / 100) * (height - 8));
      pen.fillRect(i * step, (height - high) / 2, Math.max(0.6, step * 0.75), high);
    });
    pen.fillStyle = colour("--ink");
    pen.fillRect(x(at) - 1, 0, 2, height);
    pen.fillStyle = colour("--soft");
    view.pins.forEach((seconds) => {
      pen.fillRect(x(seconds) - 1.5, height - 6, 3, 6);
    });
  }

  return { find, shown, element, named, short, clock, lasting, differenceTable, drawWave };
})();
