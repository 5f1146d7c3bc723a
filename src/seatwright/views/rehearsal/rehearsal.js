"use strict";
/* The rehearsal: asks the server for news and sound, plays, and orders what the hand wants. */

(() => {
  const { byId } = Desk;
  const FADE = 0.025; // seconds of a crossfade
  const JOIN = 1000; // ms within which key presses on one chair are one step of undo
  const AGAIN = 1000; // ms before a lost connection is tried again

  const state = { facts: null, chosen: null, held: null, version: 0, session: 0, news: -1,
    buffer: null, context: null, player: null, noise: null, checked: false, ready: false,
    shown: null, unkept: "", heldFigures: null, lastMove: { seat: "", at: 0 }, waiting: [], ordering: false,
    trying: false, nextTry: null, dropped: null, drawn: "", fault: "", asked: null };
  /** For measurements: ms on the page's clock, from a drop to its sound at the output. */
  window.rehearsalTimes = [];

  const plan = Plan.build(byId("chart"), byId("legend"), { choose, held, moved });

  plan.svg.addEventListener("pointerdown", () => blame(""), true); // it was read

  // -- the server ------------------------------------------------------------------------------

  async function order(wanted) {
    const answer = await fetch("order", { method: "POST", body: JSON.stringify(wanted),
      headers: { "Content-Type": "application/json" } });
    const facts = await answer.json().catch(() => ({ faults: ["the answer cannot be read"] }));
    return { ok: answer.ok, facts };
  }

  async function newsLoop() {
    for (;;) {
      try {
        const answer = await fetch(`news?after=${state.news}&session=${state.session}`);
        if (!answer.ok) {
          throw new Error(String(answer.status));
        }
        show(await answer.json());
        lost(false);
      } catch {
        lost(true);
        await pause(AGAIN);
      }
    }
  }

  async function soundLoop() {
    for (;;) {
      try {
        const session = state.session;
        state.asked = new AbortController();
        const { signal } = state.asked;
        const question = `sound?after=${state.version}&session=${session}${place()}`;
        const answer = await fetch(question, { signal });
        state.asked = null;
        if (answer.status === 200 && session === state.session) {
          await hear(answer, session);
        } else if (answer.status !== 204) {
          await pause(AGAIN);
        } else {
          await pause(20);
        }
      } catch (error) {
        if (error.name !== "AbortError") {
          await pause(AGAIN);
        }
      }
    }
  }

  /** Ask for sound once more: from now on the answer begins where the music is. */
  function askAgain() {
    if (state.asked) {
      state.asked.abort();
    }
  }

  const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });

  function lost(is) {
    const trouble = state.facts ? state.facts.trouble : "";
    const words = is ? "No answer from Seatwright: was it ended in the terminal? What was not saved is printed there."
      : trouble;
    byId("trouble").textContent = words;
    byId("trouble").hidden = !words;
  }

  // -- sound -----------------------------------------------------------------------------------

  /** Where the music is at what time of the machine's clock: the answer begins there. */
  function place() {
    const { context, player, facts } = state;
    if (!player || !player.voice) {
      return "";
    }
    const at = performance.timeOrigin + performance.now();
    const here = Engine.placeAt(player, context.currentTime, facts.frames / facts.rate);
    return `&place=${here.toFixed(4)}&at=${at.toFixed(1)}`;
  }

  /** Take in an answer: a stretch of the new loop that is heard at once, then the whole. */
  async function hear(answer, session) {
    const { rate } = state.facts;
    if (!state.context) {
      state.context = contextFor(rate);
      state.player = Engine.build(state.context, FADE);
    }
    const short = 2 * Number(answer.headers.get("X-Stretch"));
    const total = Number(answer.headers.get("Content-Length")) / 4;
    const bytes = new Uint8Array(4 * total);
    const reader = answer.body.getReader();
    const least = Number(answer.headers.get("X-Version")); // the rest may be newer still
    let [filled, begun] = [0, short === 0];
    for (;;) {
      const { done, value } = await reader.read();
      if (done) {
        break;
      }
      bytes.set(value, filled);
      filled += value.length;
      if (!begun && filled >= 4 * short && session === state.session) {
        begun = true;
        first(new Float32Array(bytes.buffer, 0, short), answer, least);
      }
    }
    if (filled !== bytes.length) {
      throw new Error("the sound was cut off");
    }
    if (session !== state.session) {
      return; // begun anew meanwhile: its number would hide the first sounds that come now
    }
    const whole = new Float32Array(bytes.buffer, 4 * short, total - short - 2);
    const [version, peak] = new Float32Array(bytes.buffer, 4 * (total - 2));
    state.version = version;
    state.buffer = Engine.bufferOf(state.context, whole, rate);
    const over = peak + Number(byId("volume").value) > 0;
    byId("clock").dataset.over = over ? "1" : "";
    if (state.player.voice) {
      note(Engine.replace(state.player, state.buffer), version);
    }
    buttons();
  }

  /** Hear the stretch of the new loop that the music is in. */
  function first(samples, answer, version) {
    const { facts, player, context } = state;
    if (player.voice) {
      const stretch = Engine.bufferOf(context, samples, facts.rate);
      const from = Number(answer.headers.get("X-First")) / facts.rate;
      const when = Engine.begin(player, stretch, from, facts.frames / facts.rate);
      if (when !== null) {
        note(when, version);
      }
    }
  }

  function contextFor(rate) {
    try {
      return new AudioContext({ sampleRate: rate, latencyHint: "interactive" });
    } catch {
      return new AudioContext({ latencyHint: "interactive" });
    }
  }

  /** Keep how long the first sound after a drop took. */
  function note(when, version) {
    const { dropped } = state;
    if (dropped && version > dropped.version) {
      window.rehearsalTimes.push({ dropped: dropped.at, arrived: performance.now(), when,
        heard: Engine.heardAt(state.context, when), version });
      state.dropped = null;
    }
  }

  async function play() {
    await state.context.resume();
    stopNoise();
    if (state.player.voice) {
      Engine.stop(state.player);
    } else {
      Engine.level(state.player, Number(byId("volume").value));
      Engine.start(state.player, state.buffer, 0);
    }
    askAgain();
    buttons();
  }

  async function check() {
    await state.context.resume();
    if (state.noise) {
      stopNoise();
      return;
    }
    const answer = await fetch("level");
    if (answer.status !== 200) {
      return;
    }
    const buffer = Engine.bufferOf(state.context,
      new Float32Array(await answer.arrayBuffer()), state.facts.rate);
    const player = Engine.build(state.context, FADE);
    player.out.gain.value = 10 ** (Number(byId("volume").value) / 20);
    Engine.start(player, buffer, 0);
    state.noise = player;
    state.checked = true;
    buttons();
  }

  function stopNoise() {
    if (state.noise) {
      Engine.stop(state.noise);
      state.noise = null;
      buttons();
    }
  }

  function buttons() {
    const loaded = Boolean(state.buffer);
    byId("check").disabled = !loaded;
    byId("check").textContent = state.noise ? "Stop the noise" : "Play the level check";
    byId("ready").disabled = !state.checked;
    byId("play").disabled = !loaded || !state.ready;
    byId("play").textContent = state.player && state.player.voice ? "Stop" : "Play";
  }

  function clock() {
    const { facts, player } = state;
    if (facts && player && player.voice) {
      const length = facts.frames / facts.rate;
      const place = Engine.placeAt(player, state.context.currentTime, length);
      const at = facts.from + Math.max(0, place);
      const over = byId("clock").dataset.over ? " over full scale: turn the level down" : "";
      byId("clock").textContent = `${Math.floor(at / 60)}:${(at % 60).toFixed(1).padStart(4, "0")}${over}`;
      byId("bar-done").style.left = `${((100 * place) / length).toFixed(1)}%`;
    }
    requestAnimationFrame(clock);
  }

  // -- what the hand wants ---------------------------------------------------------------------

  function choose(name) {
    if (state.chosen !== name) {
      state.chosen = name;
      Plan.choose(plan, name);
      if (state.facts) {
        card();
        Desk.showAll(state.facts, state.chosen, choose);
      }
    }
  }

  /** A chair is in the hand: its figures follow, one question at a time. */
  function held(wish) {
    state.nextTry = wish;
    if (!state.trying) {
      tryNext();
    }
  }

  async function tryNext() {
    state.trying = true;
    while (state.nextTry) {
      const wish = state.nextTry;
      state.nextTry = null;
      try {
        const { ok, facts } = await order({ do: "try", ...wish });
        if (plan.hand && plan.hand.name === wish.seat) {
          Plan.setFaulty(plan, wish.seat, !ok);
          blame(ok ? "" : facts.faults.join("\n"));
          state.heldFigures = ok ? facts.figures : null;
          card();
        }
      } catch {
        lost(true);
      }
    }
    state.trying = false;
  }

  /** A chair was let go, or moved by a key: the newest wish is sent, those between are skipped. */
  function moved(wish, byKey) {
    const now = performance.now();
    const last = state.lastMove;
    const joined = byKey && last.byKey && last.seat === wish.seat && now - last.at < JOIN;
    state.lastMove = { seat: wish.seat, at: now, byKey };
    state.nextTry = null;
    state.heldFigures = null;
    send({ do: "move", ...wish, joined });
  }

  function send(wanted) {
    const last = state.waiting[state.waiting.length - 1];
    if (last && last.do === "move" && wanted.do === "move" && last.seat === wanted.seat) {
      // what was not sent yet and is of the same chair goes with this one
      Object.assign(last, wanted, { joined: last.joined && wanted.joined });
    } else {
      state.waiting.push(wanted);
    }
    state.dropped = { at: performance.now(), version: state.version };
    if (!state.ordering) {
      sendNext();
    }
  }

  async function sendNext() {
    state.ordering = true;
    while (state.waiting.length) {
      await carryOut(state.waiting.shift());
    }
    state.ordering = false;
    show(state.facts, true);
  }

  async function carryOut(wanted) {
    try {
      const { ok, facts } = await order(wanted);
      if (ok) {
        if (wanted.seat) {
          Plan.setFaulty(plan, wanted.seat, false);
        }
        blame("");
        state.unkept = "";
        if (wanted.do.startsWith("save") || wanted.do === "reload") {
          byId("conflict").hidden = true;
        }
        show(facts);
        said(wanted, facts);
      } else {
        refused(wanted, facts);
      }
    } catch {
      lost(true);
    }
  }

  /** Why it was not done; a chair goes back to where it was. */
  function refused(wanted, facts) {
    state.dropped = null;
    const words = facts.faults.join("\n");
    if (wanted.seat) {
      plan.faulty.delete(wanted.seat);
      state.shown = null; // its fields show again where it is, also the one that was typed in
    }
    if (facts.changed) { // said once, where the ways out are
      state.unkept = "";
      byId("conflict").hidden = false;
      byId("conflict").scrollIntoView({ block: "nearest" });
    } else if (wanted.do.startsWith("save")) {
      state.unkept = words;
    } else {
      blame(wanted.do === "move" ? `${words}\n${wanted.seat} went back to where it was.` : words);
    }
    show(state.facts, true);
  }

  function blame(words) {
    if (state.fault !== words) {
      state.fault = words;
      byId("fault").textContent = words;
      byId("fault").hidden = !words;
      if (state.facts) {
        card();
      }
    }
  }

  function said(wanted, facts) {
    if (wanted.do.startsWith("save")) {
      byId("saved").textContent = wanted.do === "save" ? `Saved into ${facts.file}.`
        : `Saved as the seating “${wanted.name}” in ${facts.file}.`;
      byId("new-name").value = "";
    }
    if (wanted.do === "move") {
      speak(Desk.placeWords(facts.scene.seats, wanted.seat));
    } else if (facts.went) {
      const what = wanted.do === "undo" ? "Undone" : "Redone";
      const seat = Desk.placeWords(facts.scene.seats, facts.went.seat);
      speak(`${what}: ${facts.went.what}. ${seat}`.trim());
    }
  }

  /** A status that is the same as before would not be read out: it differs by a blank. */
  function speak(words) {
    const same = byId("said").textContent === words;
    byId("said").textContent = same ? `${words}\u00a0` : words;
  }

  // -- what is shown ---------------------------------------------------------------------------

  function show(facts, again) {
    if (!facts) {
      return;
    }
    if (facts.session !== state.session) {
      Object.assign(state, { session: facts.session, version: 0, news: -1 });
    } else if (!again && facts.news < state.news) {
      return; // overtaken
    }
    state.news = facts.news;
    state.facts = facts;
    const busy = plan.hand || state.waiting.length || (state.ordering && !again);
    if (!plan.facts || !busy) {
      if (!facts.scene.seats.some((seat) => seat.name === state.chosen)) {
        state.chosen = facts.scene.seats.length ? facts.scene.seats[0].name : null;
      }
      plan.chosen = state.chosen;
      const scene = JSON.stringify(facts.scene);
      if (again || scene !== state.drawn) {
        state.drawn = scene;
        Plan.draw(plan, JSON.parse(scene));
      }
      card();
    }
    header(facts);
    progress(facts);
    Desk.showAll(facts, state.chosen, choose);
    buttons();
  }

  function header(facts) {
    const title = facts.scene.title || facts.file;
    byId("heading").textContent = title;
    document.title = `${facts.unsaved ? "* " : ""}${title}, rehearsal`;
    const from = facts.from;
    byId("subheading").textContent = `${facts.file}; loop of ${(facts.frames / facts.rate).toFixed(1)} s `
      + `from ${Math.floor(from / 60)}:${(from % 60).toFixed(1).padStart(4, "0")}`;
    const seatings = facts.seatings.map((name) => [`s ${name}`, name]);
    Desk.options(byId("seating"), [["written", "as written"], ...seatings],
      facts.seating === null ? "written" : `s ${facts.seating}`);
    byId("undo").disabled = !facts.undo;
    byId("redo").disabled = !facts.redo;
    byId("undo").title = facts.undo;
    byId("redo").title = facts.redo;
    byId("save").disabled = !facts.unsaved;
    lost(false);
    keeping(facts);
  }

  /** Whether it is saved; a conflict is said by its own box. */
  function keeping(facts) {
    const now = byId("saved").textContent;
    const rest = now.startsWith("Saved") || !now ? now : "Nothing to save.";
    const plain = facts.unsaved ? "Not saved yet." : rest;
    const words = state.unkept || (byId("conflict").hidden ? plain : "");
    if (now !== words) {
      byId("saved").textContent = words;
    }
  }

  function progress(facts) {
    const failed = Object.entries(facts.failed).map(([name, why]) => `${name} is silent: ${why}`);
    const parts = [];
    if (facts.stage) {
      parts.push(`${facts.stage}: ${Math.round(100 * facts.share)} %`);
    } else if (facts.done < facts.wanted) {
      parts.push(`${facts.done} of ${facts.wanted} chairs ready to be heard`);
    }
    const words = [...parts, ...failed].join("; ");
    if (byId("progress").textContent !== words) {
      byId("progress").textContent = words;
    }
    byId("progress").hidden = !words;
  }

  function card() {
    const seat = Plan.seatOf(plan, state.chosen);
    byId("card").hidden = byId("balance").hidden = !seat;
    if (!seat) {
      return;
    }
    const pairs = state.facts.scene.seats.map((one) => [one.name, one.name]);
    Desk.options(byId("seat"), pairs, seat.name);
    const outside = plan.hand && plan.faulty.has(seat.name);
    const figures = outside ? null : state.heldFigures || state.facts.figures[seat.name];
    Desk.showSeat(seat, figures, state.shown);
    Desk.showDoubt(seat, state.fault ? [] : Plan.near(plan, seat));
    state.shown = seat.name;
    const section = state.facts.scene.sections.find((one) => one.name === seat.section);
    Desk.showBalance(section, seat, state.facts.scene.perspectives, (levels) => {
      if (Object.keys(levels).length) {
        send({ do: "balance", section: section.name, levels });
      } else {
        blame("A balance wants at least one perspective that is heard.");
        card();
      }
    });
  }

  // -- the page's own controls -----------------------------------------------------------------

  function typed() {
    const seat = Plan.seatOf(plan, state.chosen);
    const [bearing, distance] = ["bearing", "distance"].map((id) => byId(id).valueAsNumber);
    if (seat && Number.isFinite(bearing) && Number.isFinite(distance)) {
      const [x, y] = Shapes.floor(bearing, distance);
      moved({ seat: seat.name, x, y }, false);
    }
  }

  byId("bearing").onchange = byId("distance").onchange = typed;
  byId("facing").onchange = () => {
    if (Number.isFinite(byId("facing").valueAsNumber)) {
      moved({ seat: state.chosen, facing: byId("facing").valueAsNumber }, false);
    }
  };
  byId("seat").onchange = () => choose(byId("seat").value);
  byId("seating").onchange = () => {
    const { value } = byId("seating");
    send({ do: "choose", seating: value === "written" ? null : value.slice(2) });
  };
  byId("undo").onclick = () => send({ do: "undo" });
  byId("redo").onclick = () => send({ do: "redo" });
  byId("save").onclick = () => send({ do: "save" });
  byId("save-as").onsubmit = (event) => {
    event.preventDefault();
    saveAs(false);
  };
  byId("beside").onclick = () => saveAs(true);
  byId("reload").onclick = () => send({ do: "reload" });

  function saveAs(beside) {
    const name = byId("new-name").value.trim();
    if (name) {
      send({ do: "save-as", name, beside });
    } else {
      state.unkept = "Give the new seating a name first.";
      byId("saved").textContent = state.unkept;
      byId("new-name").focus();
    }
  }

  byId("play").onclick = play;
  byId("check").onclick = check;
  byId("ready").onclick = () => {
    stopNoise();
    state.ready = true;
    byId("before").hidden = true;
    buttons();
    byId("play").focus();
    byId("stage").style.scrollMarginTop = `${byId("music").offsetHeight}px`; // it stays on top
    byId("stage").scrollIntoView({ block: "start" });
  };
  byId("volume").oninput = () => {
    const level = Number(byId("volume").value);
    byId("volume-value").textContent = `${level < 0 ? "−" : ""}${Math.abs(level)} dB`;
    for (const player of [state.player, state.noise]) {
      if (player && state.context) {
        Engine.level(player, level);
      }
    }
  };
  document.addEventListener("keydown", (event) => {
    const inText = /^(INPUT|TEXTAREA)$/.test(event.target.tagName) && event.target.type !== "range";
    if (!(event.ctrlKey || event.metaKey) || inText) {
      return;
    }
    const letter = event.key.toLowerCase();
    if (letter === "z" || letter === "y") {
      event.preventDefault();
      send({ do: letter === "y" || event.shiftKey ? "redo" : "undo" });
    } else if (letter === "s") {
      event.preventDefault();
      if (state.facts && state.facts.unsaved) {
        send({ do: "save" });
      }
    }
  });
  window.addEventListener("beforeunload", (event) => {
    if (state.facts && state.facts.unsaved) {
      event.preventDefault();
    }
  });
  let wide = window.innerWidth;
  window.addEventListener("resize", () => {
    if (wide !== window.innerWidth) { // letters are as large as the width of the chart wants
      wide = window.innerWidth;
      show(state.facts, true);
    }
  });

  newsLoop();
  soundLoop();
  requestAnimationFrame(clock);
})();
