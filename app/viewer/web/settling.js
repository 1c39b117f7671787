// Decides where an instructor is in the list of what is to settle, and what a deed rules or undoes.

const RELOAD_MS = 1500; // after a ruling: what hangs on the others may have changed
const AHEAD_VISITS = 3;

class Settling {
  constructor(data, changed) {
    Object.assign(this, { data, changed });
    this.outbox = new Outbox(`${data.study}:settle`);
    this.outbox.tickets.set(data.who, data.ticket);
    this.outbox.changed.push(() => this.changed());
    this.outbox.answered.push((item, done, refused) => this.answered(item, done, refused));
    this.items = [];
    this.references = {};
    this.rulings = null; // those that stand, the newest first; null: not asked for
    this.wanted = ""; // a visit to go to once the list has it again
    this.count = 0;
    this.at = 0;
    this.photo = 0;
    this.loaded = false;
    this.finished = false; // all is settled, and nothing is looked at any more
    this.fault = "";
    this.words = "";
    this.done = []; // deeds to undo: {item, acts}, {ruling} taken back, {reference} turned
    this.undone = [];
    this.again = null;
    this.fresh();
  }

  // What the next ruling says beside the species: where it was said, unless it is chosen.
  fresh() {
    Object.assign(this, {
      where: "", tray: null, reason: "", also: false, marking: false, zoomed: false, photo: 0,
    });
  }

  // The visit on screen; none once all is settled, so that no key rules what nobody looks at.
  get item() {
    return this.finished ? null : this.items[this.at] ?? null;
  }

  get row() {
    return this.item?.row ?? null;
  }

  get shown() {
    return this.row?.photos?.[this.photo] ?? null;
  }

  get left() {
    return this.items.filter(isOpen).length;
  }

  say(words) {
    this.words = words;
    this.changed();
  }

  // --- the list ------------------------------------------------------------------------------

  async load() {
    try {
      const found = await ask("/tagging/settle", this.data.ticket);
      this.take(found);
      this.fault = "";
    } catch (fault) {
      this.fault = fault instanceof RefusedError ? fault.message : "The connection is lost.";
    }
    this.changed();
    this.fetch();
  }

  // What is on screen stays there; what was ruled stays before it, to go back to.
  take(found) {
    const known = new Map(this.items.map((item) => [keyOf(item), item]));
    const here = this.item;
    const ruled = this.items.filter((item) => item.done && item !== here);
    const fresh = found.visits.map((visit) => {
      const item = known.get(keyOf(visit));
      const kept = item ?? { row: null, done: null, acts: [] };
      return Object.assign(kept, visit, { gone: false });
    });
    const open = fresh.filter((item) => !item.done && item !== here);
    if (here && !here.done && !here.gone && !fresh.includes(here)) {
      Object.assign(here, { gone: true, row: null }); // to see what somebody else ruled
    }
    const current = here && (here.done || this.loaded) ? [here] : [];
    this.items = [...ruled, ...current, ...open];
    this.at = current.length ? ruled.length : Math.min(ruled.length, this.items.length - 1);
    this.references = found.references;
    this.count = found.count;
    this.loaded = true;
    if (this.left) this.finished = false;
    if (!this.item || (this.item.done && this.left)) this.toOpen();
    const shown = this.item;
    this.items = this.items.filter((item) => !item.gone || item === shown);
    if (shown) this.at = this.items.indexOf(shown);
    this.toWanted();
  }

  // The visit whose ruling was taken back, once it waits again.
  toWanted() {
    const { wanted } = this;
    if (!wanted || this.outbox.waiting.size) return;
    this.wanted = "";
    const at = this.items.findIndex((item) => keyOf(item) === wanted && isOpen(item));
    if (at >= 0) this.to(at);
    else this.words += " It waits for no ruling: it counts as it was tagged, or lies in no visit.";
  }

  async fetch() {
    const some = this.items.slice(this.at, this.at + AHEAD_VISITS);
    for (const item of some.filter((one) => !one.row && !one.asking)) {
      item.asking = true;
      try {
        const body = { placement: item.placement, runs: [[item.first, item.last]] };
        const [row] = (await ask("/tagging/runs", this.data.ticket, body)).runs;
        if (row.gone === undefined) item.row = row;
        else item.moved = row.gone;
        for (const photo of item.row?.photos.slice(0, 4) ?? []) {
          new Image().src = addressOf("review", photo);
        }
      } catch (fault) {
        this.fault = fault instanceof RefusedError ? fault.message : "The connection is lost.";
        setTimeout(() => this.fetch(), RETRY_MS);
      }
      item.asking = false;
      this.changed();
    }
  }

  to(at) {
    if (at < 0 || at >= this.items.length) return;
    this.at = at;
    this.finished = false;
    this.fresh();
    this.changed();
    this.fetch();
  }

  toOpen() {
    const later = this.items.findIndex((item, at) => at > this.at && isOpen(item));
    const at = later >= 0 ? later : this.items.findIndex(isOpen);
    if (at >= 0) {
      this.to(at);
      return;
    }
    this.finished = true;
    this.fresh();
    this.changed();
  }

  // From the end back to what was ruled last.
  previous() {
    this.to(this.finished ? this.at : this.at - 1);
  }

  look(photo) {
    const last = (this.row?.photos.length ?? 1) - 1;
    this.photo = Math.max(0, Math.min(photo, last));
    this.changed();
  }

  // --- ruling --------------------------------------------------------------------------------

  ruleSpecies(species) {
    if (this.marking) {
      this.mark(species);
      return;
    }
    if (!this.item) return;
    const nobody = species === "blank" || species === "handler";
    const said = this.item.where[species] ?? Object.values(this.item.where)[0] ?? "";
    const where = nobody ? null : this.where || said;
    if (where === "") {
      this.say("Nobody said where. Choose it first: Up or Down.");
      return;
    }
    this.rule([{
      first: this.item.first,
      last: this.item.last,
      species,
      where,
      count: nobody ? null : this.countOf(species),
      tray: nobody ? "" : this.tray ?? this.item.tray,
      also: this.also,
    }]);
  }

  countOf(species) {
    const counts = this.item.answers
      .flatMap((answer) => answer.tags)
      .filter((tag) => tag.species === species && tag.count)
      .map((tag) => tag.count);
    return counts.length ? Math.max(...counts) : 1;
  }

  // As a reader said it, parts and all, but no photo beyond this visit.
  ruleAs(number) {
    const answer = this.item?.answers[number - 1];
    if (!answer || !this.row) return;
    const ids = this.row.photos.map((photo) => photo.id);
    this.rule(answer.tags.map((tag) => ({
      ...tag,
      first: ids.includes(tag.first) ? tag.first : this.item.first,
      last: ids.includes(tag.last) ? tag.last : this.item.last,
    })));
  }

  rule(tags) {
    const { item } = this;
    if (!item || !this.row) return;
    if (item.done && !this.also) this.takeBack(item);
    const words = tags.map((tag) => nameOf(this.data, tag.species)).join(" + ");
    const acts = tags.map((tag) => this.send(item, words, {
      ...tag,
      do: "tag",
      placement: item.placement,
      sure: true,
      comment: this.reason,
      from: "settle",
      knows: [...item.rulings, ...rulingsOf(item).map((tag) => tag.number)],
    }));
    item.done = item.done && this.also ? `${item.done} + ${words}` : words;
    item.acts = [...item.acts, ...acts];
    this.done.push({ item, acts });
    this.undone = [];
    this.words = `Ruled: ${titleOf(item)}, ${words}.`;
    if (this.also) this.changed();
    else this.toOpen();
  }

  send(item, words, act) {
    const id = newId();
    const about = { name: titleOf(item), key: keyOf(item) };
    this.outbox.add({ id, ...act }, {
      ticket: this.data.ticket, who: this.data.who, words, about,
    });
    return id;
  }

  takeBack(item) {
    const acts = item.acts.splice(0);
    if (acts.length) this.send(item, "taken back", { do: "take_back", acts, numbers: [] });
    item.done = null;
    this.done = this.done.filter((deed) => deed.item !== item);
  }

  undo() {
    const deed = this.done.pop();
    if (!deed) {
      this.say("Nothing was done since this page was opened. Shift+L lists all rulings.");
      return;
    }
    if (!deed.item) {
      this.turn(deed, true);
      return;
    }
    const { item, acts } = deed;
    this.send(item, "taken back", { do: "take_back", acts, numbers: [] });
    item.acts = item.acts.filter((act) => !acts.includes(act));
    deed.words = item.done;
    if (!item.acts.length) item.done = null;
    this.undone.push(deed);
    this.to(this.items.indexOf(item));
    this.say(`Taken back: ${titleOf(item)} is open again.`);
  }

  redo() {
    const deed = this.undone.pop();
    if (!deed) {
      this.say("There is nothing to do again.");
      return;
    }
    if (!deed.item) {
      this.turn(deed, false);
      return;
    }
    const { item, acts } = deed;
    this.send(item, "let hold again", { do: "restore", acts, numbers: [] });
    item.acts = [...item.acts, ...acts];
    item.done = deed.words;
    this.done.push(deed);
    this.to(this.items.indexOf(item));
    this.say(`Holds again: ${titleOf(item)}.`);
  }

  // Undoes or does again what was done to a ruling of the list, or to a reference photo.
  turn(deed, back) {
    (back ? this.undone : this.done).push(deed);
    if (deed.reference) this.setReference(deed.reference, back !== deed.is);
    else this.turnRuling(deed.ruling, !back);
  }

  // --- rulings that were made ----------------------------------------------------------------

  async loadRulings() {
    try {
      const found = await ask("/tagging/rulings", this.data.ticket);
      this.rulings = found.rulings;
      this.rulingCount = found.count;
    } catch (fault) {
      this.fault = fault instanceof RefusedError ? fault.message : "The connection is lost.";
    }
    this.changed();
  }

  takeBackRuling(ruling) {
    this.done.push({ ruling });
    this.undone = [];
    this.turnRuling(ruling, true);
  }

  // What was ruled of the visit on this page is done with; the list is read anew.
  turnRuling(ruling, back) {
    const act = { do: back ? "take_back" : "restore", acts: [], numbers: [ruling.number] };
    this.send(ruling, back ? "taken back" : "let hold again", act);
    for (const item of this.items.filter((one) => keyOf(one) === keyOf(ruling))) {
      Object.assign(item, { done: null, acts: [], row: null });
      this.done = this.done.filter((deed) => deed.item !== item);
      this.undone = this.undone.filter((deed) => deed.item !== item);
    }
    this.wanted = back ? keyOf(ruling) : "";
    this.rulings = null;
    const which = `${titleOf(ruling)}, ${ruling.who} ruled ${ruling.words}`;
    this.say(back ? `Taken back: ${which}.` : `Holds again: ${which}.`);
  }

  answered(sent, done, refused) {
    if (refused) {
      const item = this.items.find((one) => keyOf(one) === sent.about.key);
      if (item) {
        Object.assign(item, { done: null, acts: [], row: null });
        this.done = this.done.filter((deed) => deed.item !== item);
        this.at = this.items.indexOf(item);
        this.finished = false;
        this.fresh();
      }
      this.refused = refused;
    }
    clearTimeout(this.again);
    this.again = setTimeout(() => this.load(), refused || this.wanted ? 0 : RELOAD_MS);
    this.changed();
  }

  // --- reference photos ----------------------------------------------------------------------

  mark(species) {
    const photo = this.shown;
    this.marking = false;
    if (!photo) return;
    const known = this.references[species]?.some((one) => one.photo === photo.id);
    this.turnReference({ photo: photo.id, species }, !known);
  }

  async turnReference(reference, is) {
    if (await this.setReference(reference, is)) {
      this.done.push({ reference, is });
      this.undone = [];
      this.changed();
    }
  }

  // Gives whether the study has it so.
  async setReference({ photo, species }, is) {
    const name = nameOf(this.data, species);
    try {
      const found = await ask("/tagging/reference", this.data.ticket, { photo, species, is });
      this.references = found.references;
      this.say(is
        ? `The photo is a reference of ${name} now.`
        : `The photo is no reference of ${name} any more.`);
      return true;
    } catch (fault) {
      this.say(fault instanceof RefusedError ? fault.message : "The connection is lost.");
      return false;
    }
  }
}

function isOpen(item) {
  return !item.done && !item.gone;
}

// The rulings over a visit that the page shows.
function rulingsOf(item) {
  return (item.row?.said ?? []).filter((tag) => tag.ruling);
}

function keyOf(item) {
  return `${item.placement}\n${item.first}-${item.last}`;
}

function titleOf(item) {
  return item.visit ? `${item.placement}, visit ${item.visit}` : item.placement;
}

function nameOf(data, key) {
  const named = { blank: "Blank", unknown: "Unknown", handler: "Handler" };
  return named[key] ?? data.species.find((one) => one.key === key)?.name ?? key;
}
