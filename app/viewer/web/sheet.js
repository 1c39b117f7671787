// Decides what the quiet sheet shows and when its page may be called blank: only once every
// picture of it was really there, on screen, for a moment.

const PAGE = 24;
const AGAIN_MS = 15000;
const LEAST_LOOK_MS = 3000; // a judgement: nobody looks at a page in less

function pageRuns(desk) {
  return desk.queue.runs.slice(desk.page * PAGE, (desk.page + 1) * PAGE);
}

function pages(desk) {
  return Math.max(1, Math.ceil(desk.queue.runs.length / PAGE));
}

function pageOf(desk, [first, last]) {
  const at = desk.queue.placeOf(first, last);
  if (at >= 0) toPage(desk, Math.floor(at / PAGE));
  else desk.changed();
}

function toPage(desk, page) {
  desk.page = Math.max(0, Math.min(page, pages(desk) - 1));
  desk.queue.ensure(desk.page * PAGE);
  desk.changed();
}

// All runs of the sheet are dealt with, and others may have been scored since it was read.
function sheetIsDone(desk) {
  const { queue } = desk;
  if (!desk.isSheet || !queue.unscored || Date.now() - queue.loadedAt < AGAIN_MS) return false;
  return queue.runs.every((run) => desk.said.tagged(run) || desk.leftOut.includes(runKey(run)));
}

class Sheet {
  constructor(desk, act) {
    Object.assign(this, { desk, act });
    this.tiles = new Map(); // run key -> Tile, of the page on screen
    this.key = "";
    this.since = 0; // when the page was whole on screen
    this.unseen = 0;
    this.watcher = new IntersectionObserver((seen) => this.saw(seen), { threshold: 0.6 });
    this.where = el("p", { class: "where" });
    this.grid = el(
      "div",
      { class: "grid", role: "group", "aria-label": "Runs that changed least" },
    );
    this.before = button(
      "Page before",
      () => act("previousPage"),
      { title: "Page Up", "aria-keyshortcuts": "PageUp" },
    );
    this.after = button(
      "Next page",
      () => act("nextPage"),
      { title: "Page Down", "aria-keyshortcuts": "PageDown" },
    );
    this.confirm = button(
      "",
      () => act("confirm"),
      { class: "strong confirm", "aria-keyshortcuts": "Shift+B", title: "Shift+B" },
    );
    this.why = el("p", { class: "why", role: "status" });
    this.root = el(
      "section",
      { class: "sheet", "aria-label": "Quiet sheet" },
      el(
        "p",
        { class: "plainly" },
        "Sorted by how little changed, up to 0.4 % of the picture in one place. " +
          "A still or small animal can be among them: look at each.",
      ),
      this.where,
      this.grid,
      el("div", { class: "deck" }, this.before, this.after, this.confirm, this.why),
    );
  }

  draw() {
    const desk = this.desk();
    const runs = pageRuns(desk);
    const key = `${ofStudy}|${desk.queue.placement}|${desk.page}|${runs.map(runKey).join()}`;
    if (key !== this.key) this.turn(runs, key);
    for (const run of runs) this.tiles.get(runKey(run)).draw(desk, run);
    setText(this.where, this.place(desk));
    setOff(this.before, desk.page === 0);
    setOff(this.after, desk.page + 1 >= pages(desk));
    this.drawConfirm(desk);
    this.fetchAhead(desk);
  }

  turn(runs, key) {
    const [held, turned] = [this.holdsFocus(), this.tiles.size > 0];
    this.key = key;
    this.since = 0;
    this.ahead = false;
    for (const tile of this.tiles.values()) tile.close(this.watcher);
    const made = runs.map((run) => new Tile(run, this));
    this.tiles = new Map(made.map((tile) => [runKey(tile.run), tile]));
    this.grid.replaceChildren(...made.map((tile) => tile.root));
    for (const tile of made) this.watcher.observe(tile.root);
    made[0]?.focusable(true);
    if (held) this.begin();
    if (held && turned) this.root.closest(".lastbite").scrollIntoView({ block: "start" });
  }

  // The keys begin at the first picture of a page.
  begin() {
    const [first] = this.tiles.values();
    first?.open.focus({ preventScroll: true });
  }

  holdsFocus() {
    const here = this.root.getRootNode().activeElement;
    return Boolean(here) && (here === this.root.closest(".lastbite") || this.grid.contains(here));
  }

  // The pictures of the next page come once those of this one are there.
  fetchAhead(desk) {
    if (this.ahead || [...this.tiles.values()].some((tile) => !tile.arrived)) return;
    const next = desk.queue.runs.slice((desk.page + 1) * PAGE, (desk.page + 2) * PAGE);
    if (next.some((run) => !run.row && !run.gone)) return;
    this.ahead = true;
    for (const run of next.filter((one) => one.row)) {
      fetch(reviewOf(peakOf(run)), { priority: "low" }).catch(() => {});
    }
  }

  place(desk) {
    const { queue } = desk;
    if (!queue.loaded) return queue.fault || "The runs are being fetched.";
    const { unscored } = queue;
    const are = unscored === 1 ? "is" : "are";
    const words = ` ${many(unscored, "run")} ${are} not scored yet and not among them.`;
    const more = queue.louder
      ? ` ${many(queue.louder, "run")} changed more and ${queue.louder === 1 ? "is" : "are"} not here:` +
        " look one by one."
      : "";
    const left = `${more}${unscored ? words : ""}`;
    if (!queue.runs.length) return `No run that changed this little waits for you here.${left}`;
    const page = `Page ${desk.page + 1} of ${pages(desk)}`;
    return `${page}: of each run its most different photo is shown.${left}`;
  }

  // Runs that the confirmation is about, and what it still waits for, in words.
  chosen(desk) {
    return pageRuns(desk).filter((run) => this.tiles.get(runKey(run))?.isIn(desk, run));
  }

  waitsFor(desk) {
    const tiles = pageRuns(desk).map((run) => this.tiles.get(runKey(run)));
    const coming = tiles.filter((tile) => !tile?.arrived).length;
    if (!desk.data.who) return "Say who you are first: type your name above.";
    if (coming) return `${many(coming, "picture")} still to come.`;
    const unseen = tiles.filter((tile) => !tile.seen).length;
    const were = unseen === 1 ? "was" : "were";
    if (unseen) return `${many(unseen, "picture")} ${were} not on screen yet: go through the page.`;
    this.since ||= Date.now();
    return Date.now() - this.since < LEAST_LOOK_MS ? "Look at each." : "";
  }

  drawConfirm(desk) {
    const runs = this.chosen(desk);
    const waits = runs.length ? this.waitsFor(desk) : "";
    const words = runs.length === 1 ? "This 1 is blank" : `These ${runs.length} are blank`;
    setText(this.confirm, runs.length ? words : "No run of this page is in");
    setOff(this.confirm, !runs.length || waits !== "");
    setText(this.why, waits);
  }

  saw(seen) {
    for (const { target, isIntersecting } of seen) {
      const tile = [...this.tiles.values()].find((one) => one.root === target);
      if (tile && isIntersecting) tile.onScreen();
    }
    this.desk().changed();
  }

  say() {
    const desk = this.desk();
    const runs = this.chosen(desk);
    const waits = runs.length ? this.waitsFor(desk) : "No run of this page is in.";
    if (waits) {
      desk.say(waits);
      return;
    }
    keepTags(
      desk,
      runs.map((run) => [run, actOf(desk, run, "blank", "quiet sheet")]),
      `${many(runs.length, "run")} blank`,
    );
    desk.person.pace.tagged(Date.now(), runs.length);
    if (desk.page + 1 < pages(desk)) toPage(desk, desk.page + 1);
    else desk.changed();
  }

  // The tile that has the focus, else the first.
  here() {
    const tiles = [...this.tiles.values()];
    return Math.max(
      0,
      tiles.findIndex((tile) => tile.open === tile.open.getRootNode().activeElement),
    );
  }

  focus(at) {
    const tiles = [...this.tiles.values()];
    const tile = tiles[Math.max(0, Math.min(at, tiles.length - 1))];
    if (!tile) return;
    for (const one of tiles) one.focusable(one === tile);
    tile.open.focus();
    tile.root.scrollIntoView({ block: "nearest" });
  }

  focusRun(key) {
    this.focus([...this.tiles.keys()].indexOf(key));
  }

  columns() {
    const tops = [...this.tiles.values()].map((tile) => tile.root.offsetTop);
    return Math.max(1, tops.filter((top) => top === tops[0]).length);
  }

  run(at) {
    return pageRuns(this.desk())[at];
  }
}

class Tile {
  constructor(run, sheet) {
    Object.assign(
      this,
      { run, sheet, arrived: false, seen: false, visible: false, shownId: 0, url: "" },
    );
    this.img = el("img", { alt: "", draggable: "false" });
    this.marks = shape("svg", { class: "marks", "aria-hidden": "true" });
    this.words = el("span", { class: "tile-words" });
    this.open = button(
      [el("span", { class: "tile-picture" }, this.img, this.marks), this.words],
      () => sheet.act("open", run),
      { class: "tile", tabindex: -1 },
    );
    this.pick = button("", () => sheet.act("pick", run), { class: "pick", tabindex: -1 });
    this.root = el("div", { class: "tile-box" }, this.open, this.pick);
  }

  focusable(holds) {
    this.open.tabIndex = holds ? 0 : -1;
    this.pick.tabIndex = holds ? 0 : -1;
  }

  // What was on screen before its picture came was not seen.
  onScreen() {
    this.visible = true;
    if (this.arrived) this.seen = true;
  }

  isIn(desk, run) {
    if (!run.row || run.gone || this.lost || run.row.kind === "untimed") return false;
    return !desk.leftOut.includes(runKey(run)) && !desk.said.tagged(run);
  }

  draw(desk, run) {
    this.run = run;
    if (run.gone) {
      this.arrived = true;
      this.seen = true;
    }
    const { row } = run;
    if (row) this.fetch(peakOf(run));
    const said = desk.said.mine(run)[0];
    const isIn = this.isIn(desk, run);
    const state = this.stateOf(run, said, isIn);
    const more = said ? [] : row && [many(run.count, "photo"), peakOf(run).changed];
    const words = row && [clock(row), ...more]; // beside what was said there is room for the time
    setText(this.words, words ? words.filter(Boolean).join(" · ") : "…");
    setText(this.pick, state);
    setAttribute(this.pick, "aria-label", `${row?.name ?? "A run"}: ${state}`);
    setAttribute(this.pick, "title", said ? state : null);
    setState(this.pick, "pressed", isIn);
    setOff(this.pick, Boolean(said) || Boolean(run.gone) || !row);
    this.root.classList.toggle("in", isIn);
    this.root.classList.toggle("tagged", Boolean(said));
  }

  // The first of these that holds is written on the tile.
  stateOf(run, said, isIn) {
    if (said) return `${said.number ? "kept" : "waiting"}: ${said.words}`;
    if (isIn) return "✓ in";
    if (run.gone) return "gone";
    return this.lost ? "cannot be shown" : "left out";
  }

  async fetch(photo) {
    if (!photo || this.shownId === photo.id) return;
    this.shownId = photo.id;
    this.img.alt = photo.alt;
    try {
      const answer = await fetch(reviewOf(photo));
      const picture = await answer.blob();
      if (!answer.ok) throw new Error(String(answer.status));
      if (this.shownId !== photo.id) return; // the page was turned meanwhile
      if (this.url) URL.revokeObjectURL(this.url);
      this.url = URL.createObjectURL(picture);
      this.img.src = this.url;
      await this.img.decode();
      if (this.shownId !== photo.id) return;
      // A picture of words says why a photo cannot be shown: nobody can call that blank from here.
      this.lost = picture.type !== "image/jpeg";
      this.came(photo);
    } catch {
      setTimeout(() => {
        if (this.shownId === photo.id) this.shownId = 0;
        this.sheet.desk().changed();
      }, RETRY_MS);
    }
  }

  came(photo) {
    const ratio = this.img.naturalHeight / this.img.naturalWidth;
    setAttribute(this.marks, "viewBox", `0 0 1 ${ratio}`);
    this.marks.replaceChildren(...photo.outline.map((points) => polygon(points)));
    this.arrived = true;
    this.sheet.watcher.unobserve(this.root);
    this.sheet.watcher.observe(this.root); // told again whether it is on screen, now it is there
    this.sheet.desk().changed();
  }

  close(watcher) {
    watcher.unobserve(this.root);
    this.shownId = -1;
    if (this.url) URL.revokeObjectURL(this.url);
  }
}

function peakOf(run) {
  return run.row.photos.find((photo) => photo.id === run.peak) ?? run.row.photos[0];
}

function clock(row) {
  return row.when.replace(/ to .*$/, "");
}

// Keys of the sheet; the tile with the focus is the one that is meant.
function sheetDeed(sheet, deed) {
  const desk = sheet.desk();
  const at = sheet.here();
  const steps = { left: -1, right: 1, up: -sheet.columns(), down: sheet.columns() };
  if (deed in steps) sheet.focus(at + steps[deed]);
  else if (deed === "first") sheet.focus(0);
  else if (deed === "last") sheet.focus(PAGE);
  else if (deed === "nextPage") toPage(desk, desk.page + 1);
  else if (deed === "previousPage") toPage(desk, desk.page - 1);
  else if (deed === "confirm") sheet.say();
  else if (deed === "pick") pickRun(desk, sheet.run(at));
  else if (deed === "open") sheet.act("open", sheet.run(at));
}

function pickRun(desk, run) {
  if (!run || desk.said.tagged(run)) return;
  const isOut = desk.turnOut(run);
  desk.say(`${run.row?.name ?? "The run"} is ${isOut ? "left out" : "in"}.`);
}

// Looks at one run alone, its most different photo first.
function openRun(desk, run) {
  const at = desk.queue.runs.indexOf(run);
  if (at < 0) return;
  desk.openedFrom = at;
  desk.to(at);
  if (run.row) desk.look(run.row.photos.indexOf(peakOf(run)));
}
