/* Comments: on a version, at a moment, and after the vote on a seat. */

const Comments = (() => {
  const { find, shown, element, named, short, clock } = Parts;

  /** Set the form up; `changed` is called after each change. Gives {seats}. */
  function setUp(facts, trial, player, changed) {
    const { manifest } = trial;
    const letterOf = (id) => Trial.letter(trial.order.indexOf(id));
    let chosenSeat = "";

    function keep(event) {
      event.preventDefault();
      const text = Ballot.wellFormed(find("comment-text").value.trim());
      if (!text) {
        find("comment-text").focus();
        return;
      }
      trial.comments.push({
        version: find("comment-version").value,
        seconds: find("comment-here").checked ? Math.round(player.position() * 10) / 10 : null,
        seat: trial.ended && chosenSeat ? chosenSeat : null,
        text,
      });
      find("comment-text").value = "";
      list();
    }

    function list() {
      find("comment-list").replaceChildren(...trial.comments.map(row));
      changed();
    }

    function row(comment, number) {
      const made = element("li");
      const at = comment.seconds === null ? "" : ` at ${clock(comment.seconds)}`;
      made.append(element("span", letterOf(comment.version) + at));
      if (comment.seat !== null) {
        made.append(", ", named(comment.seat));
      }
      made.append(": ", named(comment.text), " ");
      const remove = element("button", "remove", { type: "button",
        "aria-label": `Remove comment ${number + 1}` });
      remove.addEventListener("click", () => {
        trial.comments.splice(number, 1);
        list();
      });
      made.append(remove);
      return made;
    }

    /** Offer the seats, in the list and on the plan. */
    function seats() {
      if (!manifest.seats.length) {
        return;
      }
      find("comment-seat").append(element("option", "none", { value: "" }));
      manifest.seats.forEach((seat, number) => {
        const words = short(shown(seat), 60);
        find("comment-seat").append(element("option", words, { value: String(number) }));
      });
      find("comment-seat").addEventListener("change", () => {
        const { value } = find("comment-seat");
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
        const on = seat !== "" && facts.plan_names[label.textContent] === seat;
        label.classList.toggle("chosen", on);
      });
    }

    find("comment-form").addEventListener("submit", keep);
    return { seats };
  }

  return { setUp };
})();
