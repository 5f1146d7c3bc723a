/* The trial of one listener: the drawn order, what was heard, answers, and when a vote may be. */

const Trial = (() => {
  /** A whole number below `count`, every one as likely as any other. */
  function drawn(count) {
    const limit = Math.floor(4294967296 / count) * count;
    const word = new Uint32Array(1);
    do {
      crypto.getRandomValues(word);
    } while (word[0] >= limit);
    return word[0] % count;
  }

  function shuffled(items) {
    const order = items.slice();
    for (let i = order.length - 1; i > 0; i -= 1) {
      const other = drawn(i + 1);
      [order[i], order[other]] = [order[other], order[i]];
    }
    return order;
  }

  function randomHex(bytes) {
    const values = crypto.getRandomValues(new Uint8Array(bytes));
    return Array.from(values, (value) => value.toString(16).padStart(2, "0")).join("");
  }

  /** A listener's trial, from a manifest. */
  function begin(manifest) {
    const ids = manifest.versions.map((version) => version.id);
    const pair = manifest.identification ? shuffled(manifest.identification.pair) : null;
    return {
      manifest,
      listener: randomHex(16),
      begun: new Date().toISOString(),
      order: shuffled(ids),
      heard: Object.fromEntries(ids.map((id) => [id, 0])),
      switches: 0,
      playback: null,
      levels: "matched",
      places: {},
      references: pair,
      hidden: pair ? pair[drawn(2)] : null,
      answers: [],
      comments: [],
      ended: null,
    };
  }

  const letter = (index) => String.fromCharCode(65 + index);

  /** Keep an answer to which reference X is, and draw the next X. */
  function answer(trial, version) {
    trial.answers.push({ x: trial.hidden, answer: version });
    trial.hidden = trial.references[drawn(2)];
  }

  const trials = (trial) => (trial.manifest.identification || { trials: 0 }).trials;
  const identified = (trial) => trial.answers.length >= trials(trial);

  /** How long each version is still to be heard before the vote, in words; empty where none is. */
  function toHear(trial) {
    const least = trial.manifest.minimum_seconds;
    const short = trial.order.filter((id) => trial.heard[id] < least);
    const named = short.map((id) => `${letter(trial.order.indexOf(id))} `
      + `${Math.ceil(least - trial.heard[id])} s`);
    return named.length ? `Still to hear: ${named.join(", ")}.` : "";
  }

  /** What is still wanted before the vote, in words; empty where nothing is. */
  function wanting(trial) {
    const wanted = [];
    const least = trial.manifest.minimum_seconds;
    const short = trial.order.filter((id) => trial.heard[id] < least);
    if (short.length) {
      const named = short.map((id) => letter(trial.order.indexOf(id)));
      wanted.push(`Listen to ${named.join(", ")} for at least ${Math.ceil(least)} s each.`);
    }
    const open = trial.order.filter((id) => !trial.places[id]);
    if (open.length) {
      const named = open.map((id) => letter(trial.order.indexOf(id)));
      wanted.push(`Give ${named.join(", ")} a place.`);
    }
    if (trial.answers.length && !identified(trial)) {
      const left = trials(trial) - trial.answers.length;
      wanted.push(`Finish the trials you began: ${left} to go.`);
    }
    return wanted;
  }

  /** Places as lists of equals, best first. */
  function ranking(trial) {
    const groups = new Map();
    trial.order.forEach((id) => {
      const place = trial.places[id];
      groups.set(place, [...(groups.get(place) || []), id].sort());
    });
    return [...groups.entries()].sort((a, b) => a[0] - b[0]).map((entry) => entry[1]);
  }

  /** The ballot, with its checksum. */
  function ballot(trial) {
    const letters = Object.fromEntries(trial.order.map((id, i) => [letter(i), id]));
    const rounded = Object.entries(trial.heard).map(([id, s]) => [id, Math.round(s * 100) / 100]);
    return Ballot.signed({
      seatwright_ballot: 1,
      trial: trial.manifest.id,
      listener: trial.listener,
      playback: trial.playback,
      begun: trial.begun,
      ended: trial.ended,
      letters,
      heard: Object.fromEntries(rounded),
      switches: trial.switches,
      ranking: ranking(trial),
      identification: trials(trial) && identified(trial) ? trial.answers : null,
      comments: trial.comments,
      levels: trial.levels,
    });
  }

  return { begin, letter, answer, trials, identified, toHear, wanting, ranking, ballot, drawn,
    shuffled };
})();
