// Decides how the rulings that stand and the reference photos are listed, each to be taken back.

const REFS_BESIDE = 3; // of each species, beside a visit: the newest

function listDialog(label, head, ...inside) {
  return el(
    "dialog",
    { class: "settle-keys", "aria-label": label, onkeydown: (event) => event.stopPropagation() },
    el("header", { class: "settle-bar" }, ...head),
    ...inside,
  );
}

// Shows a dialog with the focus on its first deed, else on what closes it.
function showList(root) {
  if (!root.open) root.showModal();
  const shown = [...root.querySelectorAll("button")].filter((one) => !one.hidden);
  (shown.find((one) => one.matches(".take")) ?? shown[shown.length - 1]).focus();
}

class RulingList {
  constructor(act) {
    this.act = act;
    this.words = el("p", { role: "status" });
    this.rows = el("ul", { class: "rulings" });
    this.root = listDialog(
      "Rulings",
      [el("h2", {}, "Rulings"), button("Close", () => act("leave"))],
      this.words,
      this.rows,
    );
    this.fresh = false;
  }

  show() {
    this.fresh = true; // the focus goes to the first once they are here
    showList(this.root);
  }

  draw({ rulings, rulingCount, fault }) {
    if (!this.root.open) return;
    setText(this.words, rulings ? listWords(rulings, rulingCount) : fault || "They are fetched.");
    const some = rulings ?? [];
    keyed(this.rows, some, (one) => String(one.number), (one) => this.row(one));
    if (this.fresh && some.length) {
      this.fresh = false;
      showList(this.root);
    }
  }

  row(one) {
    const what = `${titleOf(one)}: ${one.words}`;
    return el(
      "li",
      {},
      el("div", {},
        el("p", { class: "said-words" }, what),
        el("p", { class: "unsure" }, `of ${one.at}; ruled by ${one.who}, ${one.when}`),
        one.reason ? el("p", { class: "quote" }, `“${one.reason}”`) : null),
      button("Take back", () => this.act("takeBack", one), {
        class: "small take", "aria-label": `Take back: ${what}, ruled by ${one.who}`,
      }),
    );
  }
}

function listWords(rulings, count) {
  if (!count) return "No ruling stands.";
  const more = count > rulings.length ? ` The newest ${rulings.length} are shown.` : "";
  return `${many(count, "ruling")} ${count === 1 ? "stands" : "stand"}, the newest first.${more} `
    + "One that is taken back opens its visit again; Backspace lets it hold again.";
}

// All reference photos of the study, also of species that no visit to settle is about.
class Gallery {
  constructor(data, act) {
    Object.assign(this, { data, act });
    this.words = el("p", { role: "status" });
    this.undo = button("Undo", () => act("undo"), { class: "go" });
    this.groups = el("div", { class: "refs" });
    this.root = listDialog(
      "Reference photos",
      [el("h2", {}, "Reference photos"), this.undo, button("Close", () => act("leave"))],
      this.words,
      this.groups,
    );
  }

  show() {
    this.opened = true;
    this.root.showModal();
  }

  draw({ references, done, words }) {
    if (!this.root.open) return;
    const keys = Object.keys(references).filter((key) => references[key].length);
    const none = "There are none. On Tag or Settle, Shift+R and a species' key make the photo on "
      + "screen one: what the species looks like here.";
    const last = done[done.length - 1]?.reference;
    setText(this.words, last ? words : keys.length ? "" : none);
    this.undo.hidden = !last;
    const had = focusIn(this.root);
    keyed(this.groups, keys, (key) => key, (key) => refGroup(this.data, key));
    keys.forEach((key, at) => {
      fillRefs(this.groups.children[at].lastChild, references[key], key, this);
    });
    if (this.opened || (had && !focusIn(this.root))) showList(this.root);
    this.opened = false;
  }
}

// A reference whose visit is settled as something else is told of before anybody looks for it.
function galleryWords(references) {
  const doubtful = Object.values(references).flat().filter((one) => one.against).length;
  return doubtful ? `References, ${doubtful} doubtful` : "References";
}

function refGroup(data, key) {
  return el(
    "figure",
    { class: "ref" },
    el("figcaption", {}, `${nameOf(data, key)} here`),
    el("div", { class: "ref-row" }),
  );
}

// Beside a visit, where room is short, a photo is taken off by a cross in its corner.
function fillRefs(row, references, key, { data, act, isBrief }) {
  const name = nameOf(data, key);
  keyed(
    row,
    references,
    (one) => `${one.photo} ${one.edition} ${one.against}`,
    (one) => el(
      "div",
      { class: one.against ? "ref-one against" : "ref-one" },
      el("img", {
        src: addressOf("strip", { id: one.photo, edition: one.edition }),
        alt: `Reference of ${name}: ${one.from}`,
        title: `${one.from}, chosen by ${one.by}`,
      }),
      one.against ? el("p", { class: "warning" }, `! ${one.against}`) : null,
      button(isBrief ? "×" : "Take off", () => act("takeOff", { photo: one.photo, species: key }), {
        class: "small take",
        title: "Take off",
        "aria-label": `Take off: reference of ${name}, ${one.from}`,
      }),
    ),
  );
}
