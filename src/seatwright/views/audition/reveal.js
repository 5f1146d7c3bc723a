/* What is shown after the vote: which letter was which, how consistent, what differs. */

const Reveal = (() => {
  const { find, shown, element, named, short, differenceTable } = Parts;

  /** Show all of it; `rendered` are gains that bring back the levels as rendered. */
  function show(facts, trial, rendered) {
    names(trial, rendered);
    consistency(trial);
    differences(facts);
  }

  const letterOf = (trial, id) => Trial.letter(trial.order.indexOf(id));
  const versionOf = (trial, id) => trial.manifest.versions.find((version) => version.id === id);

  function names(trial, rendered) {
    const rows = trial.order.map((id) => {
      const version = versionOf(trial, id);
      const db = 20 * Math.log10(rendered[trial.manifest.versions.findIndex((each) => each.id === id)]);
      const row = element("tr");
      const cell = element("td");
      cell.append(named(version.name));
      row.append(element("th", letterOf(trial, id), { scope: "row" }), cell,
        element("td", String(trial.places[id])), element("td", `${trial.heard[id].toFixed(0)} s`),
        element("td", `${db.toFixed(1).replace("-", "\u2212")} dB`));
      return row;
    });
    find("names").replaceChildren(...rows);
    find("letters").querySelectorAll("button").forEach((button) => {
      const small = element("small");
      const name = versionOf(trial, button.dataset.version).name;
      small.append(named(short(name, 24)));
      button.append(small);
      const says = `Version ${letterOf(trial, button.dataset.version)}, ${shown(name)}`;
      button.setAttribute("aria-label", says);
    });
  }

  function consistency(trial) {
    const twin = trial.manifest.versions.find((version) => version.twin_of !== null);
    if (twin) {
      const apart = Math.abs(trial.places[twin.id] - trial.places[twin.twin_of]);
      const pair = `${letterOf(trial, twin.id)} and ${letterOf(trial, twin.twin_of)} were the same version. `;
      find("twin").textContent = pair + (apart === 0 ? "You gave them the same place."
        : `You set them ${apart} ${apart === 1 ? "place" : "places"} apart.`);
    }
    const total = Trial.trials(trial);
    if (total && Trial.identified(trial)) {
      const right = trial.answers.filter((each) => each.x === each.answer).length;
      find("score").textContent = `You named X rightly ${right} times of ${total}; guessing gives `
        + `${total / 2} on average.`;
    }
  }

  function differences(facts) {
    const parts = facts.differences.flatMap((each) => {
      const heading = element("h3");
      heading.append(named(each.heading));
      return [heading, ...(each.rows.length ? [differenceTable(facts.heads, each)] : []),
        ...(each.note ? [element("p", each.note)] : [])];
    });
    find("differences").replaceChildren(...parts);
  }

  return { show };
})();
