/* The page: puts the trial on the screen, hears keys and fingers, and drives the player. */

(() => {
  const { find, shown, element, named, short, clock } = Parts;
  const facts = JSON.parse(find("data").textContent);
  const manifest = facts.trial;
  const trial = Trial.begin(manifest);
  const index = new Map(manifest.versions.map((version, i) => [version.id, i]));
  const player = { context: null, buffers: [], graph: null, place: 0, loop: null, current: 0,
    levels: null, ticked: 0, role: "letter", length: manifest.seconds };
  let unsaved = false;
  let checking = null;
  let chosenSeat = "";

  const letterOf = (id) => Trial.letter(trial.order.indexOf(id));

  function trouble(text) {
    find("trouble").textContent = text;
    find("trouble").hidden = false;
    find("loading").textContent = "";
  }

  // --- getting ready -----------------------------------------------------------------

  function madeContext() {
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!Context) {
      throw new Error("it has no Web Audio");
    }
    return new Context({ sampleRate: facts.rate, latencyHint: "interactive" });
  }

  async function decodeAll() {
    const own = manifest.versions.filter((version) => version.twin_of === null);
    const decoded = new Map();
    for (const [number, version] of own.entries()) { // one at a time: memory for one file only
      find("loading").textContent = `Getting the versions ready: ${number + 1} of ${own.length} …`;
      const held = find(`audio-${version.id}`);
      const bytes = Ballot.fromBase64(held.textContent);
      decoded.set(version.id, await player.context.decodeAudioData(bytes.buffer));
      held.remove();
    }
    player.buffers = forVersions(decoded);
    player.whole = player.buffers;
  }

  const forVersions = (decoded) => manifest.versions.map((v) => decoded.get(v.twin_of || v.id));

  /** Hear one section alone in every version; "" hears everything. Only one is kept decoded. */
  async function solo(choice) {
    const status = find("solo-status");
    player.wanted = choice;
    if (choice === "") {
      player.buffers = player.whole;
    } else {
      status.textContent = "Getting it ready …";
      const decoded = new Map();
      for (const version of manifest.versions.filter((v) => v.twin_of === null)) {
        const held = find(`audio-${version.id}-${choice}`).textContent;
        const bytes = Ballot.fromBase64(held);
        decoded.set(version.id, await player.context.decodeAudioData(bytes.buffer));
      }
      if (player.wanted !== choice) {
        return; // another one was chosen meanwhile
      }
      player.buffers = forVersions(decoded);
    }
    status.textContent = choice === "" ? "" : "One section alone: this time does not count as heard.";
    player.solo = choice !== "";
    if (player.graph) {
      play(position());
    }
  }

  function soloChoices() {
    find("solo-part").hidden = facts.sections.length === 0;
    find("solo").append(element("option", "everything", { value: "" }));
    facts.sections.forEach((name, number) => {
      find("solo").append(element("option", short(shown(name), 60), { value: String(number) }));
    });
    find("solo").addEventListener("change", () => {
      tick();
      solo(find("solo").value).catch((error) => trouble(`This section cannot be heard: ${error}`));
    });
  }

  async function prepare() {
    try {
      player.context = madeContext();
      await decodeAll();
    } catch (error) {
      const old = facts.codec === "Vorbis" ? "Older versions of Safari know no Ogg Vorbis. " : "";
      trouble(`This browser cannot decode the ${facts.codec} audio in this page `
        + `(${error.message || error.name || error}). ${old}Open the page in a current version `
        + "of Chromium or Firefox. Nothing is lost: the page stays as it is.");
      return;
    }
    const lengths = new Set(player.buffers.map((buffer) => buffer.length));
    if (lengths.size !== 1) {
      trouble("The versions in this page differ in length, so they cannot be compared fairly.");
      return;
    }
    player.length = player.buffers[0].duration;
    player.levels = levelsOf("matched");
    find("seek").max = player.length;
    find("loading").textContent = `${trial.order.length} versions of ${clock(player.length)} are `
      + "ready. Say how you listen, and play the level check.";
    find("audio-note").textContent = facts.audio_note && `The audio is ${facts.audio_note}; `
      + "the same for all versions.";
    find("check").disabled = false;
    allowReady();
  }

  const amplitude = (db) => 10 ** (db / 20);

  function levelsOf(kind) {
    return manifest.versions.map((version) => {
      const source = manifest.versions.filter((v) => v.twin_of === null)
        .findIndex((v) => v.id === (version.twin_of || version.id));
      return kind === "rendered" ? amplitude(facts.rendered[source]) : 1;
    });
  }

  function allowReady() {
    find("ready").disabled = !(trial.playback && player.checked);
  }

  function levelCheck() {
    player.context.resume();
    if (checking) {
      checking.stop();
      return;
    }
    const seconds = 8;
    const source = player.context.createBufferSource();
    source.buffer = Engine.levelNoise(player.context, player.buffers[0], seconds);
    const gain = player.context.createGain();
    const now = player.context.currentTime + 0.02;
    gain.gain.setValueAtTime(0, now);
    gain.gain.linearRampToValueAtTime(1, now + 4); // nobody is surprised by a slow rise
    gain.gain.setValueAtTime(1, now + seconds - 0.3);
    gain.gain.linearRampToValueAtTime(0, now + seconds);
    source.connect(gain).connect(player.context.destination);
    source.onended = () => {
      checking = null;
      find("check").textContent = "Play the level check again";
    };
    source.start(now);
    checking = source;
    player.checked = true;
    find("check").textContent = "Stop the level check";
    allowReady();
  }

  function begin() {
    if (checking) {
      checking.stop();
    }
    ["listen", "vote", "comments"].forEach((id) => {
      find(id).hidden = false;
    });
    find("identify").hidden = Trial.trials(trial) === 0;
    find("before").hidden = true;
    unsaved = true;
    drawWave();
    find("play").focus();
  }

  // --- playing -----------------------------------------------------------------------

  function position() {
    const graph = player.graph;
    return graph ? Engine.place(graph, player.context.currentTime, player.length) : player.place;
  }

  function play(from) {
    player.context.resume();
    const now = player.context.currentTime + 0.02;
    if (player.graph) {
      Engine.stop(player.graph, now);
    }
    const loop = player.loop && player.loop[1] ? player.loop : [0, player.length];
    const at = from < loop[0] || from >= loop[1] - 0.05 ? loop[0] : from;
    player.graph = Engine.build(player.context, player.buffers, { fade: facts.fade,
      levels: player.levels, current: player.current, loop });
    Engine.start(player.graph, now, at);
    player.ticked = player.context.currentTime;
    if (player.kind === "rendered" && !trial.ended) {
      trial.levels = "rendered";
    }
    find("play").textContent = "Stop";
  }

  function halt() {
    if (!player.graph) {
      return;
    }
    player.place = position();
    Engine.stop(player.graph, player.context.currentTime + 0.005);
    player.graph = null;
    find("play").textContent = "Play";
  }

  function toggle() {
    if (player.graph) {
      halt();
    } else {
      play(player.place);
    }
  }

  function seek(to) {
    const place = Math.min(Math.max(0, to), player.length);
    if (player.graph) {
      play(place);
    } else {
      player.place = place;
      refresh();
    }
  }

  /** Hear another version; `role` is a letter, or which of the references or X was chosen. */
  function hear(id, role) {
    tick();
    const next = index.get(id);
    if (player.graph && (role !== player.role || next !== player.current)) {
      trial.switches += 1;
    }
    player.role = role;
    player.current = next;
    if (player.graph) {
      Engine.switchTo(player.graph, next, player.context.currentTime);
    }
    press();
  }

  const currentId = () => manifest.versions[player.current].id;

  function tick() {
    if (!player.graph) {
      return;
    }
    const now = player.context.currentTime;
    const passed = Math.max(0, now - Math.max(player.ticked, player.graph.startedAt));
    player.ticked = now;
    if (player.role === "letter" && !player.solo && !trial.ended) {
      trial.heard[currentId()] += passed;
    }
  }

  function setLevels(kind) {
    const levels = levelsOf(kind);
    if (player.graph) {
      Engine.setLevels(player.graph, player.levels, levels, player.context.currentTime);
    }
    player.levels = levels;
    player.kind = kind;
    if (kind === "rendered" && player.graph && !trial.ended) {
      trial.levels = "rendered";
    }
  }

  function loopFrom() {
    player.loop = [position(), null];
    showLoop();
  }

  function loopTo() {
    const to = position();
    const from = player.loop ? player.loop[0] : 0;
    if (Math.abs(to - from) < 0.2) {
      return;
    }
    player.loop = [Math.min(from, to), Math.max(from, to)];
    showLoop();
    if (player.graph) {
      play(player.loop[0]);
    }
  }

  function loopOff() {
    const at = position();
    player.loop = null;
    showLoop();
    if (player.graph) {
      play(at);
    }
  }

  function showLoop() {
    find("loop-off").disabled = !player.loop;
    drawWave();
  }

  // --- what is seen ------------------------------------------------------------------

  function drawWave() {
    const pins = trial.comments.map((comment) => comment.seconds).filter((at) => at !== null);
    Parts.drawWave(find("wave"), { length: player.length, waveform: facts.waveform,
      loop: player.loop, at: position(), pins });
  }

  function press() {
    find("letters").querySelectorAll("button").forEach((button) => {
      const on = player.role === "letter" && button.dataset.version === currentId();
      button.setAttribute("aria-pressed", String(on));
    });
    find("references").querySelectorAll("button").forEach((button) => {
      button.setAttribute("aria-pressed", String(player.role === button.dataset.role));
    });
    if (player.role === "letter") {
      find("comment-version").value = currentId();
    }
  }

  function refresh() {
    tick();
    const at = position();
    find("clock").textContent = clock(at);
    find("comment-time").textContent = clock(at);
    if (document.activeElement !== find("seek") || player.graph) {
      find("seek").value = at;
    }
    find("seek").setAttribute("aria-valuetext", `${clock(at)} of ${clock(player.length)}`);
    if (!find("listen").hidden) {
      drawWave();
    }
    guards();
  }

  function guards() {
    if (trial.ended) {
      return;
    }
    const wanted = Trial.wanting(trial);
    const text = wanted.length ? `Before the vote: ${wanted.join(" ")}` : "All is there; you can vote.";
    if (find("guards").textContent !== text) { // a screen reader says it once
      find("guards").textContent = text;
    }
    find("finish").disabled = wanted.length > 0;
  }

  function letters() {
    trial.order.forEach((id, i) => {
      const letter = Trial.letter(i);
      const button = element("button", letter, { type: "button", "aria-pressed": "false",
        "aria-label": `Version ${letter}`, "data-version": id });
      button.addEventListener("click", () => hear(id, "letter"));
      find("letters").append(button);
      find("comment-version").append(element("option", letter, { value: id }));
      find("places").append(placeRow(id, letter));
    });
    player.current = index.get(trial.order[0]);
    press();
  }

  function placeRow(id, letter) {
    const row = element("label");
    const select = element("select", "", { "aria-label": `Place of ${letter}`, "data-version": id });
    select.append(element("option", "no place yet", { value: "" }));
    trial.order.forEach((_, i) => {
      const words = i === 0 ? "1, the best" : String(i + 1);
      select.append(element("option", words, { value: String(i + 1) }));
    });
    select.addEventListener("change", () => {
      trial.places[id] = Number(select.value) || 0;
      guards();
    });
    row.append(element("b", letter), select);
    return row;
  }

  // --- identification ----------------------------------------------------------------

  function references() {
    const total = Trial.trials(trial);
    if (!total) {
      return;
    }
    find("identify-text").textContent = `X is one of the two references, drawn anew each time. `
      + `Say which, ${total} times; the number was fixed beforehand, and you learn your score `
      + "after the vote. You may leave this part out, but not stop half-way.";
    const roles = [["reference 1", 0], ["X", -1], ["reference 2", 1]];
    roles.forEach(([role, number]) => {
      const label = number < 0 ? "X" : `Reference ${number + 1}`;
      const button = element("button", label, { type: "button", "aria-pressed": "false",
        "data-role": role });
      button.addEventListener("click", () => {
        hear(number < 0 ? trial.hidden : trial.references[number], role);
        player.heardX = player.heardX || (number < 0 && Boolean(player.graph));
        answerable();
      });
      find("references").append(button);
    });
    find("answer-1").addEventListener("click", () => answer(0));
    find("answer-2").addEventListener("click", () => answer(1));
    answerable();
  }

  function answer(number) {
    Trial.answer(trial, trial.references[number]);
    player.heardX = false;
    if (player.role === "X" && !Trial.identified(trial)) {
      hear(trial.references[0], "reference 1"); // the next X begins when it is asked for
    }
    answerable();
    guards();
  }

  function answerable() {
    const done = Trial.identified(trial) || Boolean(trial.ended);
    const blocked = done || !player.heardX;
    find("answer-1").disabled = blocked;
    find("answer-2").disabled = blocked;
    const total = Trial.trials(trial);
    const text = Trial.identified(trial) ? `All ${total} answers are kept.`
      : `Trial ${trial.answers.length + 1} of ${total}. `
        + (player.heardX ? "Which reference is X?" : "Play, and choose X to hear it.");
    find("identify-status").textContent = text;
  }

  // --- comments ----------------------------------------------------------------------

  function keepComment(event) {
    event.preventDefault();
    const text = Ballot.wellFormed(find("comment-text").value.trim());
    if (!text) {
      find("comment-text").focus();
      return;
    }
    trial.comments.push({
      version: find("comment-version").value,
      seconds: find("comment-here").checked ? Math.round(position() * 10) / 10 : null,
      seat: trial.ended && chosenSeat ? chosenSeat : null,
      text,
    });
    find("comment-text").value = "";
    listComments();
  }

  function listComments() {
    const rows = trial.comments.map((comment, number) => {
      const row = element("li");
      const about = [letterOf(comment.version)];
      if (comment.seconds !== null) {
        about.push(`at ${clock(comment.seconds)}`);
      }
      row.append(element("span", `${about.join(" ")}`));
      if (comment.seat !== null) {
        row.append(", ", named(comment.seat));
      }
      row.append(": ", named(comment.text), " ");
      const remove = element("button", "remove", { type: "button",
        "aria-label": `Remove comment ${number + 1}` });
      remove.addEventListener("click", () => {
        trial.comments.splice(number, 1);
        listComments();
      });
      row.append(remove);
      return row;
    });
    find("comment-list").replaceChildren(...rows);
    if (trial.ended) {
      unsaved = true;
      showCode();
    }
    drawWave();
  }

  // --- after the vote ----------------------------------------------------------------

  function finish() {
    tick();
    if (Trial.wanting(trial).length) {
      return;
    }
    trial.ended = new Date().toISOString();
    find("places").querySelectorAll("select").forEach((select) => {
      select.disabled = true;
    });
    find("finish").disabled = true;
    find("guards").textContent = "You have voted.";
    answerable();
    find("reveal").hidden = false;
    Reveal.show(facts, trial, levelsOf("rendered"));
    seats();
    showCode();
    find("reveal-title").focus();
  }

  function seats() {
    if (!manifest.seats.length) {
      return;
    }
    find("comment-seat").append(element("option", "none", { value: "" }));
    manifest.seats.forEach((seat, number) => {
      find("comment-seat").append(element("option", short(shown(seat), 60), { value: String(number) }));
    });
    find("comment-seat").addEventListener("change", () => {
      const value = find("comment-seat").value;
      choose(value === "" ? "" : manifest.seats[Number(value)]);
    });
    find("comment-seat-label").hidden = false;
    find("plan-part").hidden = !find("plan").querySelector("svg");
    find("plan").querySelectorAll("text.name").forEach((label) => {
      const seat = facts.plan_names[label.textContent];
      if (seat !== undefined) {
        label.classList.add("choosable");
        label.addEventListener("click", () => {
          choose(seat);
          find("comment-text").focus();
        });
      }
    });
  }

  function choose(seat) {
    chosenSeat = seat;
    const number = manifest.seats.indexOf(seat);
    find("comment-seat").value = number < 0 ? "" : String(number);
    find("plan").querySelectorAll("text.name").forEach((label) => {
      label.classList.toggle("chosen", facts.plan_names[label.textContent] === seat && seat !== "");
    });
  }

  async function showCode() {
    const ballot = Trial.ballot(trial);
    find("code").value = await Ballot.code(ballot);
  }

  function save() {
    const ballot = Trial.ballot(trial);
    const url = URL.createObjectURL(new Blob([JSON.stringify(ballot, null, 1)],
      { type: "application/json" }));
    const file = `ballot-${manifest.id.slice(0, 8)}-${trial.listener.slice(0, 8)}.json`;
    element("a", "", { href: url, download: file }).click();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
    unsaved = false;
    find("saved").textContent = `Saved as ${file}.`;
  }

  async function copy() {
    find("code").focus();
    find("code").select();
    try {
      await navigator.clipboard.writeText(find("code").value);
    } catch {
      if (!document.execCommand("copy")) {
        find("saved").textContent = "The code is selected: copy it with your browser's menu.";
        return;
      }
    }
    unsaved = false;
    find("saved").textContent = "The code is in the clipboard.";
  }

  // --- hands and keys ----------------------------------------------------------------

  function keyed(event) {
    const typing = /^(TEXTAREA|SELECT)$/.test(event.target.tagName);
    if (typing || event.ctrlKey || event.metaKey || event.altKey || find("listen").hidden) {
      return;
    }
    // a letter that has the focus is heard already: there the space bar plays as elsewhere
    const widget = event.target.closest("input, button") && !event.target.closest(".letters");
    const letter = event.key.length === 1 ? event.key.toUpperCase().charCodeAt(0) - 65 : -1;
    const digit = /^[1-9]$/.test(event.key) ? Number(event.key) - 1 : -1;
    const version = trial.order[digit >= 0 ? digit : letter];
    if (event.key === " " && !widget) {
      toggle();
    } else if (event.key.startsWith("Arrow") && event.target.tagName !== "INPUT"
      && /Left|Right/.test(event.key)) {
      seek(position() + (event.key === "ArrowLeft" ? -2 : 2));
    } else if (version !== undefined) {
      hear(version, "letter");
    } else {
      return;
    }
    event.preventDefault();
  }

  function pointed(event) {
    const box = find("wave").getBoundingClientRect();
    seek(((event.clientX - box.left) / box.width) * player.length);
  }

  function listeners() {
    document.getElementsByName("playback").forEach((choice) => {
      choice.addEventListener("change", () => {
        trial.playback = choice.value;
        allowReady();
      });
    });
    document.getElementsByName("levels").forEach((choice) => {
      choice.addEventListener("change", () => setLevels(choice.value));
    });
    const clicks = { check: levelCheck, ready: begin, play: toggle, "loop-from": loopFrom,
      "loop-to": loopTo, "loop-off": loopOff, finish, save, copy };
    Object.entries(clicks).forEach(([id, act]) => find(id).addEventListener("click", act));
    find("seek").addEventListener("input", () => seek(Number(find("seek").value)));
    find("wave").addEventListener("pointerdown", pointed);
    find("comment-form").addEventListener("submit", keepComment);
    document.addEventListener("keydown", keyed);
    window.addEventListener("resize", drawWave);
    window.addEventListener("beforeunload", (event) => {
      if (unsaved) {
        event.preventDefault();
      }
    });
  }

  function open() {
    const title = manifest.title || "Listening comparison";
    find("heading").replaceChildren(named(title));
    const versions = `${trial.order.length} versions of the same ${clock(manifest.seconds)}`;
    find("subheading").textContent = `${versions}, heard blind`;
    letters();
    references();
    soloChoices();
    listeners();
    setInterval(refresh, 80);
    prepare();
  }

  open();
})();
