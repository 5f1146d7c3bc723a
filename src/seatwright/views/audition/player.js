/* The player: decodes the versions, keeps one place in the music, counts what is heard of each
   version, and notices when the browser makes no sound. */

const Player = (() => {
  const START = 0.02; // seconds ahead of the clock at which play begins
  const STALL = 4000; // milliseconds without progress after which there is no sound to come
  const amplitude = (db) => 10 ** (db / 20);

  /** A player of a trial. told: {changed(), stalled()} are called when something is to be shown. */
  function make(facts, trial, told) {
    const { versions } = trial.manifest;
    const own = versions.filter((version) => version.twin_of === null);
    const places = versions.map((v) => own.findIndex((o) => o.id === (v.twin_of || v.id)));
    const index = new Map(versions.map((version, i) => [version.id, i]));
    const player = { length: trial.manifest.seconds, loop: null, role: "letter", kind: "matched",
      solo: "" };
    let context = null;
    let buffer = null; // what is heard: `whole`, or one section of it
    let whole = null;
    let graph = null;
    let place = 0;
    let current = index.get(trial.order[0]);
    let ticked = 0;
    let check = null;
    const seen = { time: -1, at: 0 };

    // --- getting ready -----------------------------------------------------------------

    function decoder() {
      const Offline = window.OfflineAudioContext || window.webkitOfflineAudioContext;
      if (!Offline) {
        throw new Error("it has no Web Audio");
      }
      return new Offline(2, 1, facts.rate);
    }

    /** Decode a file of each version, one at a time: memory for one more version only. */
    async function decoded(ending, each) {
      const machine = decoder();
      let made = null;
      for (const [number, version] of own.entries()) {
        each(number, own.length);
        const held = document.getElementById(`audio-${version.id}${ending}`);
        const one = await machine.decodeAudioData(Ballot.fromBase64(held.textContent).buffer);
        made = made || Engine.joined(machine, own.length, one.length);
        if (one.length !== made.length) {
          throw new Error("the versions differ in length");
        }
        Engine.join(made, number, one);
        if (ending === "") {
          held.remove();
        }
      }
      return made;
    }

    async function prepare(each) {
      whole = await decoded("", each);
      buffer = whole;
      player.length = whole.duration;
    }

    /** Hear one section alone in every version; "" hears everything. Only one is kept decoded. */
    async function alone(choice) {
      tick();
      player.wanted = choice;
      const chosen = choice === "" ? whole : await decoded(`-${choice}`, () => {});
      if (player.wanted !== choice) {
        return false; // another one was chosen meanwhile
      }
      tick();
      buffer = chosen;
      player.solo = choice;
      if (graph) {
        play(position());
      }
      return true;
    }

    /** The browser's sound, made when a hand asks for it: browsers let no page sound unasked. */
    function awake() {
      const Context = window.AudioContext || window.webkitAudioContext;
      if (context && player.stalled) {
        context.close();
        context = null;
      }
      player.stalled = false;
      context = context || new Context({ sampleRate: facts.rate, latencyHint: "interactive" });
      if (context.state !== "running") {
        context.resume();
      }
      Object.assign(seen, { time: -1, at: performance.now() });
    }

    function levelCheck() {
      if (check) {
        endCheck();
        return;
      }
      halt(); // never both at once
      awake();
      const seconds = 8;
      const source = context.createBufferSource();
      source.buffer = Engine.levelNoise(context, whole, seconds);
      const gain = context.createGain();
      const now = context.currentTime + START;
      gain.gain.setValueAtTime(0, now);
      gain.gain.linearRampToValueAtTime(1, now + 4); // nobody is surprised by a slow rise
      gain.gain.setValueAtTime(1, now + seconds - 0.3);
      gain.gain.linearRampToValueAtTime(0, now + seconds);
      source.connect(gain).connect(context.destination);
      source.onended = endCheck;
      source.start(now);
      check = source;
      told.changed();
    }

    function endCheck() {
      if (check) {
        check.onended = null;
        check.stop();
        check = null;
        told.changed();
      }
    }

    // --- playing -----------------------------------------------------------------------

    const position = () => (graph ? Engine.place(graph, context.currentTime, player.length) : place);

    function play(from) {
      endCheck();
      awake();
      const now = context.currentTime + START;
      if (graph) {
        Engine.stop(graph, now);
      }
      const loop = player.loop && player.loop[1] ? player.loop : [0, player.length];
      const at = from < loop[0] || from >= loop[1] - 0.05 ? loop[0] : from;
      graph = Engine.build(context, buffer, { fade: facts.fade, places,
        levels: levelsOf(player.kind), current, loop });
      Engine.start(graph, now, at);
      ticked = context.currentTime;
      marked();
      told.changed();
    }

    function halt() {
      if (graph) {
        tick();
        place = position();
        Engine.stop(graph, context.currentTime + 0.005);
        graph = null;
        told.changed();
      }
    }

    function seek(to) {
      const wanted = Math.min(Math.max(0, to), player.length);
      if (graph) {
        tick();
        play(wanted);
      } else {
        place = wanted;
      }
    }

    /** Hear another version; `role` is a letter, or which of the references or X was chosen. */
    function hear(id, role) {
      tick();
      const next = index.get(id);
      if (graph && (role !== player.role || next !== current)) {
        trial.switches += 1;
      }
      player.role = role;
      current = next;
      if (graph) {
        Engine.switchTo(graph, next, context.currentTime);
      }
      told.changed();
    }

    /** Count the time since the last call for the version that is heard. */
    function tick() {
      if (!graph) {
        return;
      }
      const now = context.currentTime;
      const passed = Math.max(0, now - Math.max(ticked, graph.startedAt));
      ticked = now;
      if (player.role === "letter" && player.solo === "" && !trial.ended) {
        trial.heard[versions[current].id] += passed;
      }
    }

    const levelsOf = (kind) => places.map((at) => (
      kind === "rendered" ? amplitude(facts.rendered[at]) : 1));

    function setLevels(kind) {
      if (graph) {
        Engine.setLevels(graph, levelsOf(player.kind), levelsOf(kind), context.currentTime);
      }
      player.kind = kind;
      marked();
    }

    /** A ballot tells whether any of it was heard with other levels than matched ones. */
    function marked() {
      if (player.kind === "rendered" && graph && !trial.ended) {
        trial.levels = "rendered";
      }
    }

    function loopFrom() {
      player.loop = [position(), null];
    }

    /** End the loop here; says whether it is long enough to be one. */
    function loopTo() {
      const to = position();
      const from = player.loop ? player.loop[0] : 0;
      if (Math.abs(to - from) < 0.2) {
        return false;
      }
      tick();
      player.loop = [Math.min(from, to), Math.max(from, to)];
      if (graph) {
        play(player.loop[0]);
      }
      return true;
    }

    function loopOff() {
      const at = position();
      tick();
      player.loop = null;
      if (graph) {
        play(at);
      }
    }

    // --- a clock that stands still -----------------------------------------------------

    /** Notice a browser whose sound does not run: no output, or one that another program holds. */
    function watch() {
      if (!graph && !check) {
        return;
      }
      const { currentTime } = context;
      const now = performance.now();
      if (currentTime !== seen.time) {
        player.sounded = player.sounded || (check !== null && seen.time >= 0);
        Object.assign(seen, { time: currentTime, at: now });
      } else if (now - seen.at > STALL) {
        player.stalled = true;
        halt();
        endCheck();
        told.stalled();
        told.changed();
      }
    }

    return Object.assign(player, { prepare, alone, levelCheck, position, play, halt, seek, hear,
      tick, setLevels, levelsOf, loopFrom, loopTo, loopOff, watch,
      toggle: () => (graph ? halt() : play(place)),
      isPlaying: () => graph !== null,
      isChecking: () => check !== null,
      endCheck,
      currentId: () => versions[current].id });
  }

  return { make };
})();
