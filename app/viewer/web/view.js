// Decides how the parts of the viewer are put together on the page and kept up to date.

const COUNT_AFTER_MS = 250;
const FAULTS_SHOWN = 6;
const NOBODY_HERE = "Say who you are first: type your name at the top left.";
const MARKS = { waiting: "○", kept: "●" };

class View {
  constructor(parent, data, desk, act) {
    this.desk = desk;
    this.pictures = new Pictures(() => this.draw());
    this.picture = new Picture(this.pictures, desk, act);
    this.panel = new Panel(data, act);
    this.sheet = new Sheet(desk, act);
    this.question = new WhereQuestion(data.where, {
      answer: (where) => act("answerWhere", where),
      cancel: () => act("cancelWhere"),
      hold: (event) => holdKey(desk(), event),
    });
    this.keySheet = new KeySheet(data.species);
    this.makeBar(act);
    this.end = el("p", { class: "end" });
    this.one = el("div", { class: "one" }, this.picture.root, this.panel.root);
    this.faults = el("div", { class: "faults" });
    this.root = el(
      "div",
      { class: "lastbite", tabindex: -1, "data-lastbite": "viewer" },
      this.bar,
      this.faults,
      this.end,
      this.one,
      this.sheet.root,
      this.question.root,
      this.keySheet.root,
    );
    // A press with the pointer leaves no control with the focus, so that keys go on working.
    this.root.addEventListener("mousedown", (event) => {
      if (!event.target.closest("button") || event.target.closest("dialog")) return;
      event.preventDefault();
      giveKeys(this.root);
    });
    this.root.addEventListener("focusin", noteControl);
    parent.replaceChildren(this.root);
    this.act = act;
    this.left = "";
    this.counting = 0;
  }

  makeBar(act) {
    const tool = (deed, words) => button(
      words,
      () => act(deed),
      {
        class: `go ${deed}`,
        title: `${toolOf(deed).words} (${toolOf(deed).shown})`,
        "aria-keyshortcuts": shortcut(toolOf(deed).shown),
      },
    );
    this.ring = new Ring();
    this.place = el("p", { class: "progress" });
    this.live = el("p", { class: "live", role: "status", "aria-live": "polite" });
    this.lost = el("p", { class: "lost", role: "alert" });
    this.back = tool("leave", "Back to the sheet");
    this.previous = tool("previousRun", "◂");
    this.next = tool("nextRun", "▸");
    this.nextOpen = tool("nextOpen", "Next untagged");
    this.undo = tool("undo", "Undo");
    this.redo = tool("redo", "Redo");
    this.help = tool("help", "? Keys");
    setAttribute(this.previous, "aria-label", "Run before");
    setAttribute(this.next, "aria-label", "Next run");
    this.bar = el(
      "div",
      { class: "bar" },
      this.ring.root,
      el("div", { class: "bar-words" }, this.place, this.live, this.lost),
      el(
        "div",
        { class: "bar-tools", role: "group", "aria-label": "Go, undo" },
        this.back,
        this.previous,
        this.next,
        this.nextOpen,
        this.undo,
        this.redo,
        this.help,
      ),
    );
  }

  draw() {
    const desk = this.desk();
    if (!desk || !this.root.isConnected) return;
    const { isSheet, finished, data } = desk;
    setAttribute(
      this.root,
      "data-of",
      `${data.who}|${data.placement}|${desk.queue.loaded ? "here" : "coming"}`,
    );
    const empty = desk.queue.loaded && !desk.queue.runs.length;
    this.one.hidden = isSheet || finished || empty;
    this.sheet.root.hidden = !isSheet;
    this.end.hidden = isSheet || !(finished || empty);
    this.back.hidden = desk.openedFrom === null;
    this.root.classList.toggle("one-mode", !isSheet && !finished && !empty);
    this.root.classList.toggle("sheet-mode", isSheet || finished || empty);
    for (const one of [this.previous, this.next, this.nextOpen]) one.hidden = isSheet;
    this.drawBar(desk);
    this.drawFaults(desk);
    if (isSheet) this.sheet.draw();
    else {
      setText(this.end, endWords(desk));
      this.picture.draw();
      this.panel.draw(desk);
    }
    this.question.draw(desk);
  }

  drawBar(desk) {
    const { data, queue, status, person } = desk;
    setText(this.lost, person.outbox.words() || (data.who ? "" : NOBODY_HERE));
    this.lost.hidden = !this.lost.textContent;
    setText(this.live, statusWords(desk));
    setAttribute(this.live, "title", this.live.textContent || null); // where it is cut off
    setAttribute(this.live, "data-state", stateOf(desk, status.act));
    setText(this.place, [placeWords(desk, this.open), this.left].filter(Boolean).join(", "));
    this.ring.draw(queue, this.taggedHere ?? 0);
    setOff(this.previous, desk.at === 0);
    setOff(this.next, desk.at + 1 >= queue.runs.length);
    drawUndo(this.undo, "Undo", person.history.last);
    drawUndo(this.redo, "Redo", person.history.next);
    this.countSoon();
  }

  // Counting all runs of a long list takes too long for a key press: it is done just after.
  countSoon() {
    if (this.counting) return;
    this.counting = setTimeout(() => {
      this.counting = 0;
      const desk = this.desk();
      if (!desk) return;
      const tagged = desk.queue.runs.filter((run) => desk.said.tagged(run));
      const open = desk.queue.runs.length - tagged.length;
      const left = desk.person.pace.left(open);
      const here = tagged.filter((run) => run.open).length;
      if (left === this.left && open === this.open && here === this.taggedHere) return;
      Object.assign(this, { left, open, taggedHere: here });
      this.drawBar(desk);
    }, COUNT_AFTER_MS);
  }

  // All of them stay until they are read; so many as leave room for the photos are shown at once.
  drawFaults(desk) {
    const { all } = desk.person.outbox.refusals;
    const some = all.slice(0, FAULTS_SHOWN);
    const lines = keyed(
      this.faults,
      all.length > some.length ? [...some, { id: "more" }] : some,
      (fault) => `${fault.id} ${desk.person.name}`,
      (fault) => (fault.id === "more" ? el("p", {}) : this.faultLine(desk, fault)),
    );
    if (lines.length > some.length) {
      setText(lines[some.length], `And ${all.length - some.length} more: read these first.`);
    }
  }

  faultLine(desk, fault) {
    const { about } = fault;
    const there = about?.first && desk.queue.placeOf(about.first, about.last) >= 0;
    const show = button("Show it", () => this.act("showRun", about), { class: "small" });
    return el(
      "p",
      { role: "alert" },
      el("span", {}, refusedWords(fault, desk.person)),
      there ? show : null,
      button("I have read it", () => this.act("faultRead", fault), { class: "small" }),
    );
  }
}

// How far a placement is: a tray of which each tagged visit takes its part.
class Ring {
  constructor() {
    this.arc = shape(
      "circle",
      { class: "arc", cx: 20, cy: 20, r: 15, pathLength: 100, transform: "rotate(-90 20 20)" },
    );
    this.words = shape("text", { x: 20, y: 24 });
    this.root = shape(
      "svg",
      { class: "ring", viewBox: "0 0 40 40", role: "img" },
      shape("circle", { class: "rim", cx: 20, cy: 20, r: 15 }),
      this.arc,
      this.words,
    );
  }

  draw(queue, here) {
    const tagged = Math.min(queue.visits, queue.tagged + here);
    const share = queue.visits ? tagged / queue.visits : 0;
    setAttribute(this.arc, "stroke-dasharray", `${share * 100} 100`);
    setText(this.words, `${Math.floor(share * 100)}%`);
    setAttribute(
      this.root,
      "aria-label",
      `${tagged} of ${many(queue.visits, "visit")} of this placement tagged by you`,
    );
  }
}

function drawUndo(node, name, deed) {
  setOff(node, !deed);
  const words = deed ? `${name}: ${deed.words}` : `${name}: nothing`;
  setAttribute(node, "aria-label", words);
  setAttribute(node, "title", `${words} (${toolOf(name.toLowerCase()).shown})`);
}

function placeWords(desk, open) {
  const { queue } = desk;
  if (!queue.loaded) return queue.fault || "The list is being fetched";
  const what = showWords(desk);
  if (desk.isSheet) return `${open ?? "…"} of ${many(queue.runs.length, "run")} left, ${what}`;
  return queue.runs.length ? `${desk.at + 1} of ${queue.runs.length}, ${what}` : what;
}

function showWords(desk) {
  const { show } = desk.queue;
  if (!show.startsWith("species:")) return show;
  return speciesName(desk, show.slice(8));
}

function endWords(desk) {
  const { runs, show, visits, clockFault } = desk.queue;
  const words = [];
  if (runs.length) words.push("You have tagged every run of this list.");
  else if (show !== MINE) words.push(`This placement has no run in this list: ${showWords(desk)}.`);
  else if (visits) words.push("You have tagged every visit of this placement.");
  else words.push("The photos of this placement make no visit.");
  return [...words, "Choose another placement or list above.", clockFault].join(" ");
}

// Whether the act that the status line tells of is answered.
function stateOf(desk, act) {
  if (!act) return null;
  return desk.person.outbox.waiting.has(act) ? "waiting" : "kept";
}

function statusWords(desk) {
  const { words, act } = desk.status;
  const state = stateOf(desk, act);
  if (!state) return words;
  return `${MARKS[state]} ${state} · ${words}`;
}
