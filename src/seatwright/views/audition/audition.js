/* The page: puts the trial on the screen, and hears keys and fingers. */

(() => {
  const { find, shown, element, named, short, clock, lasting } = Parts;
  const facts = JSON.parse(find("data").textContent);
  const { trial: manifest } = facts;
  const trial = Trial.begin(manifest);
  const player = Player.make(facts, trial, { changed: refresh, stalled });
  const identify = Identify.setUp(trial, player, guards);
  const comments = Comments.setUp(facts, trial, player, commented);
  let unsaved = false;

  // --- before the listening ----------------------------------------------------------

  function trouble(text) {
    find("trouble").textContent = text;
    find("trouble").hidden = false;
    find("loading").textContent = "";
  }

  async function prepare() {
    try {
      await player.prepare((number, count) => {
        find("loading").textContent = `Getting the versions ready: ${number + 1} of ${count} …`;
      });
    } catch (error) {
      const old = facts.codec === "Vorbis" ? "Older versions of Safari know no Ogg Vorbis. " : "";
      trouble(`This browser cannot decode the ${facts.codec} audio in this page `
        + `(${error.message || error.name || error}). ${old}Open the page in a current version `
        + "of Chromium or Firefox. Nothing is lost: the page stays as it is.");
      return;
    }
    find("seek").max = player.length;
    find("loading").textContent = `${trial.order.length} versions of ${lasting(player.length)} are `
      + "ready. Say how you listen, and play the level check.";
    find("audio-note").textContent = facts.audio_note && `The audio is ${facts.audio_note}; `
      + "the same for all versions.";
    find("check").disabled = false;
  }

  function stalled() {
    trouble("The browser's sound does not run. See that this device has an output for sound and "
      + "that no other program keeps it for itself, then play again: your place is kept.");
  }

  function begin() {
    player.endCheck();
    ["listen", "vote", "comments"].forEach((id) => {
      find(id).hidden = false;
    });
    find("identify").hidden = Trial.trials(trial) === 0;
    find("before").hidden = true;
    unsaved = true;
    refresh();
    find("play").focus();
  }

  // --- what is seen ------------------------------------------------------------------

  function drawWave() {
    const pins = trial.comments.map((comment) => comment.seconds).filter((at) => at !== null);
    Parts.drawWave(find("wave"), { length: player.length, waveform: facts.waveform,
      loop: player.loop, at: player.position(), pins });
  }

  function press() {
    const id = player.currentId();
    document.querySelectorAll("#letters button, #places button").forEach((button) => {
      const on = player.role === "letter" && button.dataset.version === id;
      button.setAttribute("aria-pressed", String(on));
    });
    find("references").querySelectorAll("button").forEach((button) => {
      button.setAttribute("aria-pressed", String(player.role === button.dataset.role));
    });
  }

  function label(id, text) {
    if (find(id).textContent !== text) { // a screen reader says it once
      find(id).textContent = text;
    }
  }

  function checkWords() {
    const again = player.sounded ? "Play the level check again" : "Play the level check";
    return player.isChecking() ? "Stop the level check" : again;
  }

  function before() {
    label("check", checkWords());
    find("ready").disabled = !(trial.playback && player.sounded);
  }

  function refresh() {
    player.watch();
    player.tick();
    if ((player.isPlaying() || player.isChecking()) && player.length) {
      find("trouble").hidden = true;
    }
    if (find("listen").hidden) {
      before();
      return;
    }
    const at = player.position();
    label("play", player.isPlaying() ? "Stop" : "Play");
    label("check-again", checkWords());
    label("clock", clock(at));
    label("comment-time", clock(at));
    if (document.activeElement !== find("seek") || player.isPlaying()) {
      find("seek").value = at;
    }
    find("seek").setAttribute("aria-valuetext", `${clock(at)} of ${clock(player.length)}`);
    find("loop-off").disabled = !player.loop;
    press();
    drawWave();
    identify.refresh();
    guards();
  }

  function guards() {
    if (trial.ended) {
      return;
    }
    const wanted = Trial.wanting(trial);
    label("guards", wanted.length ? `Before the vote: ${wanted.join(" ")}`
      : "All is there; you can vote.");
    label("to-hear", Trial.toHear(trial));
    find("finish").disabled = wanted.length > 0;
  }

  function hear(id) {
    player.hear(id, "letter");
    find("comment-version").value = id;
  }

  function letters() {
    trial.order.forEach((id, i) => {
      const letter = Trial.letter(i);
      const button = element("button", letter, { type: "button", "aria-pressed": "false",
        "aria-label": `Version ${letter}`, "data-version": id });
      button.addEventListener("click", () => hear(id));
      find("letters").append(button);
      find("comment-version").append(element("option", letter, { value: id }));
      find("places").append(placeRow(id, letter));
    });
  }

  function placeRow(id, letter) {
    const row = element("div");
    const hearIt = element("button", letter, { type: "button", "aria-pressed": "false",
      "aria-label": `Hear ${letter}`, "data-version": id });
    hearIt.addEventListener("click", () => {
      hear(id);
      if (!player.isPlaying()) {
        player.toggle();
      }
    });
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
    row.append(hearIt, select);
    return row;
  }

  function soloChoices() {
    find("solo-part").hidden = facts.sections.length === 0;
    find("solo").append(element("option", "everything", { value: "" }));
    facts.sections.forEach((name, number) => {
      find("solo").append(element("option", short(shown(name), 60), { value: String(number) }));
    });
    find("solo").addEventListener("change", () => {
      solo(find("solo").value).catch((error) => trouble(`This section cannot be heard: ${error}`));
    });
  }

  async function solo(choice) {
    find("solo-status").textContent = choice === "" ? "" : "Getting it ready …";
    if (await player.alone(choice)) {
      find("solo-status").textContent = choice === "" ? ""
        : "One section alone: this time does not count as heard.";
    }
  }

  // --- after the vote ----------------------------------------------------------------

  function finish() {
    player.tick();
    if (Trial.wanting(trial).length) {
      return;
    }
    trial.ended = new Date().toISOString();
    find("places").querySelectorAll("select").forEach((select) => {
      select.disabled = true;
    });
    find("finish").disabled = true;
    find("guards").textContent = "You have voted.";
    find("to-hear").textContent = "";
    identify.refresh();
    find("reveal").hidden = false;
    Reveal.show(facts, trial, player.levelsOf("rendered"));
    comments.seats();
    showCode();
    find("reveal-title").focus();
  }

  function commented() {
    if (trial.ended) {
      unsaved = true;
      showCode();
    }
    drawWave();
  }

  async function showCode() {
    find("code").value = await Ballot.code(Trial.ballot(trial));
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
    const widget = event.target.closest("input, button") && !event.target.closest(".letters, .places");
    const letter = event.key.length === 1 ? event.key.toUpperCase().charCodeAt(0) - 65 : -1;
    const digit = /^[1-9]$/.test(event.key) ? Number(event.key) - 1 : -1;
    const version = trial.order[digit >= 0 ? digit : letter];
    if (event.key === " " && !widget) {
      player.toggle();
    } else if (event.key.startsWith("Arrow") && event.target.tagName !== "INPUT"
      && /Left|Right/.test(event.key)) {
      player.seek(player.position() + (event.key === "ArrowLeft" ? -2 : 2));
    } else if (version !== undefined) {
      hear(version);
    } else {
      return;
    }
    event.preventDefault();
  }

  function pointed(event) {
    const box = find("wave").getBoundingClientRect();
    player.seek(((event.clientX - box.left) / box.width) * player.length);
  }

  function listeners() {
    document.getElementsByName("playback").forEach((choice) => {
      choice.addEventListener("change", () => {
        trial.playback = choice.value;
      });
    });
    document.getElementsByName("levels").forEach((choice) => {
      choice.addEventListener("change", () => player.setLevels(choice.value));
    });
    const clicks = { check: player.levelCheck, "check-again": player.levelCheck, ready: begin,
      play: player.toggle, "loop-from": player.loopFrom, "loop-to": player.loopTo, "loop-off": player.loopOff, finish,
      save, copy };
    Object.entries(clicks).forEach(([id, act]) => find(id).addEventListener("click", () => {
      act();
      refresh();
    }));
    find("seek").addEventListener("input", () => player.seek(Number(find("seek").value)));
    find("wave").addEventListener("pointerdown", pointed);
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
    const versions = `${trial.order.length} versions of the same ${lasting(manifest.seconds)} of music`;
    find("subheading").textContent = `${versions}, heard blind`;
    letters();
    find("comment-version").value = player.currentId();
    soloChoices();
    listeners();
    setInterval(refresh, 80);
    prepare();
  }

  open();
})();
