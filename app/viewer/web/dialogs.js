// Decides what is asked and told in front of everything else: where it was, which keys there are.

// Species that was pressed before anybody said where: asked once, and kept until it is changed.
class WhereQuestion {
  constructor(places, answer, cancel) {
    this.answer = answer;
    this.cancel = cancel;
    this.words = el("h2", { id: "lastbite-where" });
    this.buttons = places.map(([name, words], at) =>
      button(
        [cap(at + 1), el("span", {}, words)],
        () => this.choose(name),
        { class: "who", "aria-keyshortcuts": String(at + 1) },
      ),
    );
    this.places = places;
    this.root = el(
      "dialog",
      {
        class: "question",
        "aria-labelledby": "lastbite-where",
        onkeydown: (event) => this.pressed(event),
        oncancel: () => this.leave(),
      },
      this.words,
      el("p", {}, "It stays until you change it with Up and Down."),
      el("div", { class: "answers" }, ...this.buttons),
      button("Cancel (Esc)", () => this.close(), { class: "small" }),
    );
  }

  draw(desk) {
    const { question } = desk;
    if (question && !this.root.open) {
      setText(this.words, `${speciesName(desk, question.species)}: where was it?`);
      this.root.showModal();
      this.buttons[0].focus();
    }
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
    const digit = /^(?:Digit|Numpad)([1-9])$/.exec(event.code)?.[1] ?? event.key;
    const place = this.places[Number(digit) - 1];
    const here = this.buttons.indexOf(event.target);
    const step = { ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 }[event.key];
    if (event.repeat && !step) event.preventDefault();
    else if (place) {
      event.preventDefault();
      this.choose(place[0]);
    } else if (step) {
      event.preventDefault();
      const count = this.buttons.length;
      this.buttons[(here + step + count) % count].focus();
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
    for (const { group, shown, words } of tools) {
      if (group) groups.push([group, []]);
      if (shown) groups[groups.length - 1][1].push([shown, words]);
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
