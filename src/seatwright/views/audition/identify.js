/* The identification: which of two references X is, a number of times fixed beforehand. */

const Identify = (() => {
  const { find, element } = Parts;

  /** Set it up; `changed` is called after each answer. Gives {refresh}. */
  function setUp(trial, player, changed) {
    const total = Trial.trials(trial);
    let heardX = false;

    function choices() {
      const roles = [["reference 1", 0], ["X", -1], ["reference 2", 1]];
      roles.forEach(([role, number]) => {
        const label = number < 0 ? "X" : `Reference ${number + 1}`;
        const button = element("button", label, { type: "button", "aria-pressed": "false",
          "data-role": role });
        button.addEventListener("click", () => {
          player.hear(number < 0 ? trial.hidden : trial.references[number], role);
          refresh();
        });
        find("references").append(button);
      });
    }

    function answer(number) {
      Trial.answer(trial, trial.references[number]);
      heardX = false;
      if (player.role === "X" && !Trial.identified(trial)) {
        player.hear(trial.references[0], "reference 1"); // the next X begins when it is asked for
      }
      refresh();
      changed();
    }

    function refresh() {
      heardX = heardX || (player.role === "X" && player.isPlaying());
      const done = Trial.identified(trial) || Boolean(trial.ended);
      find("answer-1").disabled = done || !heardX;
      find("answer-2").disabled = done || !heardX;
      if (trial.ended && !Trial.identified(trial)) {
        find("identify-status").textContent = "You left this part out.";
        return;
      }
      const asked = heardX ? "Which reference is X?" : "Play, and choose X to hear it.";
      const text = Trial.identified(trial) ? `All ${total} answers are kept.`
        : `Trial ${trial.answers.length + 1} of ${total}. ${asked}`;
      if (find("identify-status").textContent !== text) {
        find("identify-status").textContent = text;
      }
    }

    if (total) {
      find("identify-text").textContent = "X is one of the two references, drawn anew each time. "
        + `Say which, ${total} times; the number was fixed beforehand, and you learn your score `
        + "after the vote. You may leave this part out. Once you have answered, the vote opens "
        + `only after all ${total}; a page closed before that gives no ballot.`;
      choices();
      find("answer-1").addEventListener("click", () => answer(0));
      find("answer-2").addEventListener("click", () => answer(1));
      refresh();
    }
    return { refresh: total ? refresh : () => {} };
  }

  return { setUp };
})();
