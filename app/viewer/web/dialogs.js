// Decides what is asked and told in front of everything else: where it was, which keys there are.

// Species that was pressed before anybody said where: asked once, and kept until it is changed.
class WhereQuestion {
  constructor(places, { answer, cancel, hold }) {
    Object.assign(this, { answer, cancel, hold });
    this.words = el("h2", { id: "lastbite-where" });
    this.waiting = el("p", { role: "status" });
    this.buttons = places.map(([name, words]) =>
      button(el("span", {}, words), () => this.choose(name), { class: "who" }),
    );
    this.places = places;
    this.root = el(
      "dialog",
      {
        class: "question",
        "aria-labelledby": "lastbite-where",
        tabindex: -1,
        onkeydown: (event) => this.pressed(event),
        oncancel: () => this.leave(),
      },
      this.words,
      el(
        "p",
        {},
        "Up and Down choose, Enter answers; or click. It stays until you change it. " +
          "Other keys wait for the answer.",
      ),
      el("div", { class: "answers" }, ...this.buttons),
      this.waiting,
      button("Cancel (Esc)", () => this.close(), { class: "small" }),
    );
  }

  draw(desk) {
    const { question } = desk;
    if (question && !this.root.open) {
      setText(this.words, `${speciesName(desk, question.act.species)}: where was it?`);
      this.root.showModal();
      this.root.focus(); // no answer is the first by itself: Space and Enter choose none yet
    }
    const held = question?.held.length ?? 0;
    const words = [held ? `${many(held, "key")} waiting.` : "", question?.note ?? ""];
    setText(this.waiting, words.filter(Boolean).join(" "));
    if (!question && this.root.open) this.root.close();
  }

  choose(name) {
    this.root.close();
    this.answer(name);
  }

  close() {
    this.root.close();
    this.cancel();
  }

  leave() {
    this.cancel();
  }

  pressed(event) {
    event.stopPropagation();
    const here = this.buttons.indexOf(event.target);
    const step = event.shiftKey ? 0 : { ArrowDown: 1, ArrowUp: -1 }[event.key];
    const presses = event.key === "Enter" && event.target !== this.root;
    if (step) {
      event.preventDefault();
      const [count, from] = [this.buttons.length, here < 0 && step < 0 ? 0 : here];
      this.buttons[(from + step + count) % count].focus();
    } else if (event.repeat || (!presses && event.key !== "Tab" && this.hold(event))) {
      event.preventDefault();
    }
  }
}

class KeySheet {
  constructor(species) {
    this.species = species;
    this.body = el("div", { class: "keys" });
    this.root = el(
      "dialog",
      {
        class: "keysheet",
        "aria-labelledby": "lastbite-keys",
        onkeydown: (event) => this.pressed(event),
      },
      el("h2", { id: "lastbite-keys" }, "Keys"),
      el("p", {}, "Small letters and digits are your species. Shift and a letter is a tool."),
      this.body,
      button("Close (Esc)", () => this.root.close(), { class: "small" }),
    );
  }

  open(isSheet) {
    const tools = isSheet ? SHEET_TOOLS : TOOLS;
    const species = this.species.map(({ key, name }) => [key, name]);
    const groups = [isSheet ? ["The quiet sheet", []] : ["Species", species]];
    for (const one of tools) {
      if (one.group) groups.push([one.group, []]);
      const way = isSheet ? one.shown : wayTo(one, this.species);
      if (one.shown) groups[groups.length - 1][1].push([way, one.words]);
    }
    this.body.replaceChildren(...groups.map(([title, lines]) => keyList(title, lines)));
    this.root.showModal();
  }

  pressed(event) {
    event.stopPropagation();
    if (event.key === "?") this.root.close();
  }
}

function keyList(title, lines) {
  const rows = lines.flatMap(([shown, words]) => [
    el("dt", {}, ...shown.split(" or ").map((one) => el("kbd", {}, one))),
    el("dd", {}, words),
  ]);
  return el("section", {}, el("h3", {}, title), el("dl", {}, ...rows));
}
