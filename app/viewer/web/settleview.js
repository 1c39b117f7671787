// Decides how a visit that is to settle is laid out: its photos, who said what, what hangs on it.

const NO_SPECIES = [["blank", "Space", "Blank"], ["unknown", ".", "Unknown"],
  ["handler", "⇧H", "Handler"]];

class SettleView {
  constructor(place, data, act) {
    Object.assign(this, { data, act, isBrief: true });
    this.progress = el("p", { class: "progress" });
    this.live = el("p", { class: "live", role: "status" });
    this.fault = el("p", { class: "lost", role: "alert" });
    this.undo = button("Undo", () => act("undo"), { class: "go", title: "Undo (Backspace)" });
    this.redo = button("Do again", () => act("redo"), { class: "go", title: "Do again (Ctrl+Y)" });
    this.doubtful = el("span", {}, "References");
    this.bar = el(
      "header",
      { class: "settle-bar" },
      el("div", { class: "settle-words" }, this.progress, this.live),
      button([cap("⇧L"), "Rulings"], () => act("rulings"),
        { class: "go", title: "All rulings, to take one back (Shift+L)" }),
      button([cap("⇧G"), this.doubtful], () => act("gallery"),
        { class: "go", title: "All reference photos, to take one off (Shift+G)" }),
      this.undo,
      this.redo,
      button("Keys ?", () => act("help"), { class: "go", title: "All keys (?)" }),
    );
    this.marking = button([cap("⇧R"), "Reference"], () => this.act("mark"), {
      class: "small toggle",
      title: "Make this photo a reference: then press the key of its species (Shift+R)",
    });
    this.look = this.lookPart();
    this.panel = this.panelPart();
    this.end = el("p", { class: "end" });
    this.keys = keyTable(() => act("leave"));
    this.rulings = new RulingList(act);
    this.gallery = new Gallery(data, act);
    this.root = el(
      "div",
      { class: "lastbite settle", tabindex: -1 },
      this.bar,
      this.fault,
      el("div", { class: "settle-parts" }, this.look, this.panel),
      this.end,
      this.keys,
      this.rulings.root,
      this.gallery.root,
    );
    this.root.addEventListener("focusin", noteControl);
    place.replaceChildren(this.root);
    this.drawn = "";
  }

  lookPart() {
    this.image = el("img", { alt: "" });
    this.stage = el("div", { class: "stage settle-stage" }, this.image);
    this.stage.addEventListener("pointermove", (event) => this.follow(event));
    this.caption = el("p", { class: "caption" });
    this.strip = el("div", { class: "strip", role: "group", "aria-label": "Photos of this visit" });
    this.refs = el("section", { class: "refs", "aria-label": "Reference photos" });
    return el("section", { class: "look", "aria-label": "Photos" },
      this.stage, this.caption, el("div", { class: "settle-row" }, this.strip, this.marking),
      this.refs);
  }

  panelPart() {
    this.name = el("h2", {});
    this.when = el("p", { class: "when" });
    this.hangs = el("section", { class: "hangs", "aria-label": "What hangs on it" });
    this.answers = el("section", { class: "sides", "aria-label": "Who said what" });
    this.where = el("div", { class: "segments", role: "radiogroup", "aria-label": "Where was it?" },
      ...[["", "as they said"], ...this.data.where].map(([name, words]) => button(
        words,
        () => this.act("where", name),
        { role: "radio", "data-where": name, title: "Up and Down" },
      )));
    this.trays = el("div", { class: "segments", role: "radiogroup", "aria-label": "Which tray?" });
    this.reason = el("input", {
      type: "text", class: "comment", maxlength: 500, "aria-label": "Reason of the ruling",
      placeholder: "Reason, kept with the ruling (Shift+C)",
    });
    this.reason.addEventListener("input", () => this.act("reasoned", this.reason.value));
    this.reason.addEventListener("keydown", (event) => {
      event.stopPropagation();
      if (event.key === "Escape" || event.key === "Enter") giveKeys(this.root);
    });
    const species = this.data.species.map(({ key, name }) => this.who(key, key, name, "species"));
    const others = NO_SPECIES.map(([key, shown, name]) => this.who(key, shown, name, key));
    this.also = button("Another too", () => this.act("also"),
      { class: "toggle", title: "Another species too: stay here (Shift+A)" });
    this.form = el(
      "fieldset",
      { class: "tagging" },
      el("legend", { class: "unseen" }, "Rule this visit"),
      el("div", { class: "species", role: "group", "aria-label": "Rule: who was it?" }, ...species),
      el("div", { class: "answers", role: "group", "aria-label": "Rule: no species" }, ...others),
      el("div", { class: "settle-row" }, this.where, this.also),
      this.trays,
      this.reason,
    );
    return el("section", { class: "panel", "aria-label": "Settle" },
      el("header", {}, this.name, this.when), this.hangs, this.answers, this.form);
  }

  who(key, shown, name, deed) {
    return button([cap(shown), el("span", {}, name)], () => this.act(deed, key), {
      class: "who", "data-key": key, title: `Rule: ${name} (${shown})`,
    });
  }

  // The enlarged photo is moved by the pointer over it.
  follow(event) {
    const box = this.stage.getBoundingClientRect();
    const [x, y] = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
    this.image.style.transformOrigin = `${x * 100}% ${y * 100}%`;
  }

  // --- drawing -------------------------------------------------------------------------------

  draw(settling) {
    const { item } = settling;
    this.root.dataset.of = settling.loaded ? "ready" : "";
    setText(this.progress, progressWords(settling));
    setText(this.live, settling.outbox.words() || settling.words);
    const fault = settling.refused || settling.fault;
    setText(this.fault, fault);
    this.fault.hidden = !fault;
    setOff(this.undo, !settling.done.length);
    setOff(this.redo, !settling.undone.length);
    setText(this.doubtful, galleryWords(settling.references));
    this.rulings.draw(settling);
    this.gallery.draw(settling);
    const none = settling.loaded && !item;
    this.end.hidden = !none;
    setText(this.end, settling.items.length
      ? "Everything is settled. Page Up goes back to what you ruled."
      : "Nothing waits for a ruling: no visit is disputed, unsure, or read by too few. "
        + "What was ruled is listed under Rulings (Shift+L).");
    this.look.hidden = !item;
    this.panel.hidden = !item;
    if (item) this.drawItem(settling, item);
  }

  drawItem(settling, item) {
    setText(this.name, titleOf(item));
    setText(this.when, [item.row?.when, stateWords(item)].filter(Boolean).join(" · "));
    this.drawPhoto(settling, item);
    const drawn = JSON.stringify([keyOf(item), item.trays, item.answers, item.hangs]);
    if (drawn !== this.drawn) {
      this.drawn = drawn;
      this.hangs.replaceChildren(...hangsPart(item));
      this.hangs.dataset.weight = item.weight;
      this.answers.replaceChildren(...item.answers.map((one, at) => this.side(one, at + 1)));
    }
    this.drawRefs(settling, item);
    setOff(this.form, !item.row);
    for (const one of this.where.children) chosenOne(one, one.dataset.where === settling.where);
    this.drawTrays(settling, item);
    setState(this.also, "pressed", settling.also);
    setState(this.marking, "pressed", settling.marking);
    if (this.reason.value !== settling.reason) this.reason.value = settling.reason;
  }

  drawPhoto(settling, item) {
    const photo = settling.shown;
    const address = photo
      ? addressOf(settling.zoomed ? "original" : "review", photo)
      : "";
    setAttribute(this.image, "src", address || null);
    this.image.alt = photo?.alt ?? "";
    this.stage.classList.toggle("close", settling.zoomed);
    const photos = item.row?.photos ?? [];
    setText(this.caption, photo
      ? `Photo ${settling.photo + 1} of ${photos.length}, ${photo.time}, ${photo.file}`
        + referenceWords(settling, photo)
      : item.moved ?? "The photos are being fetched.");
    const first = Math.max(0, Math.min(settling.photo - 4, photos.length - 8));
    const some = photos.length > 1 ? photos.slice(first, first + 8) : [];
    const key = some.map((one) => one.id).join();
    if (key !== this.stripKey) {
      this.stripKey = key;
      this.strip.replaceChildren(...some.map((one, at) => button(
        [
          el("img", { src: addressOf("strip", one), alt: "" }),
          el("span", {}, String(first + at + 1)),
        ],
        () => this.act("photo", first + at),
        { class: "thumb", "aria-label": one.alt, "data-at": first + at },
      )));
    }
    for (const thumb of this.strip.children) {
      const here = Number(thumb.dataset.at) === settling.photo;
      setAttribute(thumb, "aria-current", here ? "true" : null);
    }
  }

  side(answer, number) {
    const who = answer.who.join(", ");
    const words = answer.ruling ? `${who} ruled` : `${who} said`;
    return el(
      "article",
      { class: "side" },
      el("header", {}, el("h3", {}, words), button(
        [cap(`⇧${number}`), "Rule so"],
        () => this.act("as", number),
        { class: "small", "aria-label": `Rule so, as ${who} said: ${answer.words}` },
      )),
      el("p", { class: "said-words" }, answer.words),
      answer.sure ? null : el("p", { class: "unsure" }, "? not sure"),
      answer.origin ? el("p", { class: "unsure" }, answer.origin) : null,
      ...answer.comments.map((one) => el("p", { class: "quote" }, `“${one}”`)),
    );
  }

  drawRefs(settling, item) {
    const keys = [...new Set(item.answers.flatMap((one) => one.tags.map((tag) => tag.species)))];
    const shown = keys.filter((key) => settling.references[key]?.length);
    const drawn = JSON.stringify(shown.map((key) => [key, settling.references[key]]));
    if (drawn === this.refsDrawn) return;
    this.refsDrawn = drawn;
    keyed(this.refs, shown, (key) => key, (key) => refGroup(this.data, key));
    shown.forEach((key, at) => fillRefs(
      this.refs.children[at].lastChild,
      settling.references[key].slice(0, REFS_BESIDE),
      key,
      this,
    ));
  }

  drawTrays(settling, item) {
    const names = item.row?.trays ?? [];
    const key = names.join("\n");
    if (key !== this.traysKey) {
      this.traysKey = key;
      this.trays.replaceChildren(...(names.length ? ["", ...names] : []).map((name) => button(
        name ? `Tray ${name}` : "Cannot tell",
        () => this.act("trayIs", name),
        { role: "radio", "data-tray": name },
      )));
    }
    const tray = settling.tray ?? item.tray;
    for (const one of this.trays.children) chosenOne(one, one.dataset.tray === tray);
  }
}

// Of which species the photo on screen is a reference, in words after its name.
function referenceWords(settling, photo) {
  const keys = Object.keys(settling.references).filter(
    (key) => settling.references[key].some((one) => one.photo === photo.id),
  );
  return keys.length
    ? `, reference of ${keys.map((key) => nameOf(settling.data, key)).join(" and ")}`
    : "";
}

function chosenOne(node, holds) {
  setState(node, "checked", holds);
  node.tabIndex = holds ? 0 : -1;
}

function stateWords(item) {
  if (item.done) return `Ruled: ${item.done}`;
  if (!item.gone) return item.why;
  const others = rulingsOf(item).map((tag) => `${tag.who} ruled ${tag.words}`);
  return `Settled meanwhile. ${others.join("; ")}`;
}

function progressWords(settling) {
  if (!settling.loaded) return settling.fault ? "" : "What waits is being worked out.";
  if (!settling.left) return settling.items.length ? "Everything is settled." : "";
  const decide = settling.items.filter((item) => isOpen(item) && item.weight === 0).length;
  const more = Math.max(0, settling.count - settling.items.length);
  const beyond = more ? ` (and ${more} more)` : "";
  const some = `${decide} of them ${decide === 1 ? "decides" : "decide"}`;
  const deciding = decide ? some : "none decides";
  return `${many(settling.left, "visit")} to settle${beyond}, ${deciding} a tray alone`;
}

// What hangs on a visit, and what each answer makes of the tray.
function hangsPart(item) {
  const lines = [el("p", { class: "hangs-line" }, item.hangs)];
  for (const tray of item.trays) {
    if (!tray.under.length) continue;
    const rows = tray.under.map((one) => el(
      "tr",
      { "data-status": one.status },
      el("th", { scope: "row" }, one.answer),
      el("td", {}, `${one.sign} ${one.becomes}`),
    ));
    const words = `${tray.deployment} would be`;
    lines.push(el("table", {}, el("caption", {}, words), el("tbody", {}, ...rows)));
  }
  return lines;
}

function keyTable(close) {
  const rows = SETTLE_TOOLS.filter((one) => one.shown).map((one) => el(
    "tr", {}, el("th", { scope: "row" }, cap(one.shown)), el("td", {}, one.words),
  ));
  const first = el("tr", {}, el("th", { scope: "row" }, cap("a key")),
    el("td", {}, "of a species: rule that it was this one"));
  return listDialog(
    "Keys of the Settle page",
    [el("h2", {}, "Keys"), button("Close", close)],
    el("table", {}, el("tbody", {}, first, ...rows)),
  );
}
