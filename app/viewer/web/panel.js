// Decides what stands beside the picture: which run it is, where the animal was, who it was, and
// what was said of it before.

const DOUBLE_MS = 350;

class Panel {
  constructor(data, act) {
    this.act = act;
    this.clicked = { deed: "", at: 0 };
    this.data = data;
    this.name = el("h2", {});
    this.when = el("p", { class: "when" });
    this.tray = el("p", { class: "window" });
    this.dial = new Dial(data.where, (where) => act("where", where));
    this.count = el("output", { class: "count", "aria-label": "How many" });
    this.unsure = this.toggle("unsure", "Not sure");
    this.also = this.toggle("also", "Another too");
    this.trays = el(
      "div",
      {
        class: "trays",
        role: "radiogroup",
        "aria-label": "Which tray? Leave it open when you cannot tell",
      },
    );
    this.traysKey = null;
    this.comment = el(
      "input",
      {
        type: "text",
        class: "comment",
        maxlength: 500,
        "aria-label": "Comment on the next tag",
        placeholder: "Comment (Shift+C)",
      },
    );
    this.said = el("ul", { class: "said", "aria-label": "What was said" });
    this.state = el("p", { class: "state" });
    this.species = el(
      "div",
      { class: "species", role: "group", "aria-label": "Who was it?" },
      ...data.species.map((one) => this.speciesButton(one)),
    );
    this.answers = el(
      "div",
      { class: "answers", role: "group", "aria-label": "No species" },
      ...["blank", "unknown", "handler"].map((one) => this.answerButton(one)),
    );
    this.tags = el(
      "fieldset",
      { class: "tagging" },
      el("legend", { class: "unseen" }, "Tag this run"),
      this.choices(),
      this.trays,
      this.species,
      this.answers,
    );
    this.root = el(
      "section",
      { class: "panel", "aria-label": "Tag" },
      el("header", {}, this.name, this.when, this.tray),
      this.tags,
      this.state,
      this.said,
    );
    this.typing();
  }

  choices() {
    const step = (deed, words) => button(
      words,
      () => this.act(deed),
      this.hint(deed, { class: "step", "aria-label": toolOf(deed).words }),
    );
    return el(
      "div",
      { class: "choices" },
      this.dial.root,
      el(
        "div",
        { class: "details" },
        el(
          "div",
          { class: "row", role: "group", "aria-label": "How many" },
          step("fewer", "−"),
          this.count,
          step("more", "+"),
        ),
        el("div", { class: "row" }, this.unsure, this.also),
        el(
          "div",
          { class: "row" },
          this.plainButton("split", "Split here"),
          this.plainButton("join", "Join next"),
        ),
        this.comment,
      ),
    );
  }

  hint(deed, more = {}) {
    const { words } = toolOf(deed);
    const way = wayTo(toolOf(deed), this.data.species);
    const keys = way === toolOf(deed).shown ? shortcut(way) : null;
    return { title: `${words} (${way})`, "aria-keyshortcuts": keys, ...more };
  }

  plainButton(deed, words) {
    return button(words, () => this.act(deed), this.hint(deed));
  }

  toggle(deed, words) {
    return button(
      words,
      () => this.act(deed),
      this.hint(deed, { class: "toggle", "aria-pressed": "false" }),
    );
  }

  speciesButton({ key, name, role }) {
    return button([cap(key), el("span", {}, name)], (event) => this.once(event, "species", key), {
      class: "who",
      "data-key": key,
      "data-role": role,
      "aria-keyshortcuts": key,
      title: `${name} (${key})`,
    });
  }

  answerButton(deed) {
    const { shown } = toolOf(deed);
    const free = wayTo(toolOf(deed), this.data.species) === shown;
    return button(
      [free ? cap(shown.replace("Shift+", "⇧")) : null, el("span", {}, ANSWERS[deed])],
      (event) => this.once(event, deed),
      this.hint(deed, { class: "who", "data-key": deed }),
    );
  }

  // The second click of a double click would tag a run that nobody has looked at.
  once(event, deed, value) {
    const name = `${deed} ${value}`;
    const soon = event.timeStamp - this.clicked.at < DOUBLE_MS;
    const twice = event.detail > 1 && soon && this.clicked.deed === name;
    this.clicked = { deed: name, at: event.timeStamp };
    this.act(twice ? "twice" : deed, value);
  }

  // Esc and Enter leave the field; nothing that is typed in it is a key of the viewer.
  typing() {
    this.comment.addEventListener("input", () => this.act("commented", this.comment.value));
    this.comment.addEventListener("keydown", (event) => {
      event.stopPropagation();
      if (event.key === "Escape" || event.key === "Enter") this.act("commentLeft");
    });
  }

  draw(desk) {
    const { row } = desk;
    setText(this.name, row?.name ?? (desk.run?.gone ? "Gone" : "…"));
    setText(this.when, row ? `${row.when}, ${many(row.photos.length, "photo")}` : "");
    setText(this.tray, row?.tray ?? "");
    this.tray.classList.toggle("outside", row ? !row.in_window : false);
    setOff(this.tags, !row || row.kind === "untimed" || !desk.data.who || Boolean(desk.edit));
    this.dial.draw(desk.where);
    setText(this.count, String(desk.count));
    setState(this.unsure, "pressed", !desk.sure);
    setState(this.also, "pressed", desk.also);
    if (this.comment.value !== desk.comment) this.comment.value = desk.comment;
    this.drawTrays(desk);
    this.drawSaid(desk);
  }

  drawTrays(desk) {
    const names = desk.row?.trays ?? [];
    const key = names.join("\n");
    if (key !== this.traysKey) {
      this.traysKey = key;
      const choice = (name) => button(
        name ? `Tray ${name}` : "Cannot tell",
        () => this.act("trayIs", name),
        { role: "radio", "data-tray": name },
      );
      this.trays.replaceChildren(...(names.length ? ["", ...names].map(choice) : []));
    }
    for (const one of this.trays.children) chosen(one, one.dataset.tray === desk.tray);
  }

  drawSaid(desk) {
    const { run, row } = desk;
    setText(this.state, row?.state ? `State: ${row.state}` : row?.learned ?? "");
    const standing = row ? desk.said.standing(run) : [];
    const lines = keyed(this.said, standing, (tag) => lineKey(desk, tag), () => this.saidLine());
    lines.forEach((line, at) => this.drawLine(line, standing[at]));
  }

  saidLine() {
    const line = el(
      "li",
      {},
      el("span", { class: "mark" }),
      el("span", { class: "words" }),
      button("Take back", () => this.act("takeBack", line.tag), { class: "small" }),
    );
    return line;
  }

  drawLine(line, tag) {
    const [mark, words, back] = line.children;
    const state = tag.number ? "kept" : "waiting";
    line.tag = tag;
    setText(mark, `${MARKS[state]} ${state}`);
    setText(words, `${tag.mine ? "You said" : `${tag.who} said`}: ${tag.words}`);
    setAttribute(back, "aria-label", `Take back: ${tag.words}`);
    back.hidden = !tag.mine && !this.data.instructor;
  }
}

// One name for a tag from the moment it was made here, also when the study tells of it later.
function lineKey(desk, tag) {
  const made = tag.act ?? desk.said.actOf(tag.number);
  return made ?? String(tag.number);
}

// The tray seen from above: fed in its middle, on the tray round it, near it outside.
class Dial {
  constructor(places, choose) {
    this.places = places;
    this.choose = choose;
    this.buttons = places.map(([name, words]) =>
      button(
        el("span", {}, words),
        () => choose(name),
        { role: "radio", class: `zone ${name}`, "data-where": name },
      ),
    );
    this.words = el("p", { class: "dial-words", "aria-hidden": "true" });
    this.group = el(
      "div",
      {
        class: "dial",
        role: "radiogroup",
        "aria-label": "Where was it?",
        title: "Up and Down",
        "aria-keyshortcuts": "ArrowUp ArrowDown",
      },
      ...this.buttons,
    );
    this.root = el("div", { class: "dial-box" }, this.group, this.words);
  }

  draw(where) {
    for (const one of this.buttons) {
      chosen(one, one.dataset.where === where);
      if (!where) one.tabIndex = one === this.buttons[0] ? 0 : -1;
    }
    const words = this.places.find(([name]) => name === where)?.[1];
    setText(this.words, words ? `✓ ${words}` : "Where? ↑ ↓");
  }
}

function chosen(node, holds) {
  setState(node, "checked", holds);
  node.tabIndex = holds ? 0 : -1;
}

// The names that assistive programs know for keys.
function shortcut(shown) {
  return shown
    .split(" or ")
    .map((one) => one.replace("Ctrl", "Control").replace("Page ", "Page").trim())
    .map((one) => one.replace(/(^|\+)(Up|Down|Left|Right)$/, "$1Arrow$2"))
    .join(" ");
}
