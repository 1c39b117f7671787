// Decides what can be undone and done again: one line of deeds, kept as long as this browser tab.

class History {
  constructor(name) {
    this.name = name;
    this.deeds = [];
    this.top = 0; // so many deeds stand; those after it were undone
    this.load();
  }

  load() {
    const { top, length } = keptItem("sessionStorage", `${this.name}:at`, { top: 0, length: 0 });
    for (let at = 0; at < length; at += 1) {
      const deed = keptItem("sessionStorage", `${this.name}:${at}`);
      if (deed === null) break;
      this.deeds.push(deed);
    }
    this.top = Math.min(top, this.deeds.length);
  }

  keep(...places) {
    for (const at of places) {
      if (at < this.deeds.length) keepItem("sessionStorage", `${this.name}:${at}`, this.deeds[at]);
    }
    keepItem("sessionStorage", `${this.name}:at`, { top: this.top, length: this.deeds.length });
  }

  did(deed) {
    this.deeds.length = this.top;
    this.deeds.push(deed);
    this.top += 1;
    this.keep(this.top - 1);
  }

  get last() {
    return this.deeds[this.top - 1] ?? null;
  }

  get next() {
    return this.deeds[this.top] ?? null;
  }

  undo() {
    const deed = this.last;
    if (deed) this.top -= 1;
    this.keep();
    return deed;
  }

  redo() {
    const deed = this.next;
    if (deed) this.top += 1;
    this.keep();
    return deed;
  }

  // A tag that the study refused was never done.
  forget(act) {
    const at = this.deeds.findIndex((deed) => deed.acts?.includes(act));
    if (at < 0) return;
    const deed = this.deeds[at];
    deed.acts = deed.acts.filter((one) => one !== act);
    if (deed.acts.length || deed.do !== "tag") {
      this.keep(at);
      return;
    }
    this.deeds.splice(at, 1);
    if (at < this.top) this.top -= 1;
    this.keep(...this.deeds.keys());
  }

  // An undo, or a redo, that the study refused did not happen.
  takeBack(act) {
    if (this.next?.undoneBy === act) this.top += 1;
    else if (this.last?.redoneBy === act) this.top -= 1;
    this.keep();
  }

  // The splits and joins that stand, for a list that is read anew.
  shapes(placement) {
    const standing = this.deeds.slice(0, this.top);
    return standing.filter(
      (deed) => deed.placement === placement && (deed.do === "split" || deed.do === "join"),
    );
  }
}
