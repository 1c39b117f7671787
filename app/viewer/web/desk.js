// Decides where a tagger is: which run and photo is on screen, and what the next tag will say.

const MINE = "not tagged by me";
const NOBODY = new Set(["blank", "handler"]);
const NEVER = 0;
const REFRESH_MS = 60000; // a list that is older is read again when the page comes back to it

// What outlives a change of placement: one for each person and study in this browser tab.
class Person {
  constructor(name, who, outbox) {
    Object.assign(this, { name, who, outbox });
    this.said = new Said();
    this.history = new History(`lastbite:${name}:deeds`);
    this.pace = new Pace();
    this.settings = keptItem("sessionStorage", `lastbite:${name}:desk`, {});
    for (const item of outbox.waiting.values()) this.remember(item);
  }

  // What waits from before a reload holds here as if it had just been said.
  remember({ act, who, words, about }) {
    if (who !== this.name) return;
    if (act.do === "tag") this.said.add(act, recordOf(act, this.who, words, about));
    else this.said.setBack(act, act.do === "take_back");
  }

  set(name, value) {
    this.settings[name] = value;
    keepItem("sessionStorage", `lastbite:${this.name}:desk`, this.settings);
  }
}

function recordOf(act, who, words, about) {
  const { id, first, last, species, also } = act;
  return {
    act: id,
    first,
    last,
    species,
    also,
    words,
    who,
    name: about?.name ?? "",
    mine: true,
    back: false,
  };
}

// The seconds that the last runs took; their median tells how long the rest will take.
class Pace {
  constructor() {
    this.seconds = [];
    this.since = NEVER;
  }

  // Runs that were tagged together share the time since the last.
  tagged(now, runs = 1) {
    const took = (now - this.since) / 1000 / runs;
    const each = new Array(Math.min(runs, 40)).fill(took);
    if (this.since !== NEVER) this.seconds = [...this.seconds, ...each].slice(-40);
    this.since = now;
  }

  // In words; nothing before five runs.
  left(runs) {
    if (this.seconds.length < 5 || !runs) return "";
    const sorted = [...this.seconds].sort((a, b) => a - b);
    const minutes = (sorted[Math.floor(sorted.length / 2)] * runs) / 60;
    if (minutes < 1) return "less than a minute left";
    if (minutes < 90) return `about ${many(Math.round(minutes), "minute")} left`;
    return `about ${many(Math.round(minutes / 60), "hour")} left`;
  }
}

class Desk {
  constructor(data, person, changed) {
    this.data = data;
    this.person = person;
    this.changed = changed;
    this.queue = new Queue(data, () => this.data.ticket, () => this.heard());
    this.at = 0;
    this.photo = 0;
    this.finished = false;
    this.openedFrom = null; // place in the sheet that a run was opened from
    this.page = 0;
    this.status = { words: "", act: "" };
    this.comments = new Map();
    this.question = null; // {act, run, row, held}: a tag that waits for "where", and keys for it
    this.goneSaid = false;
    this.edit = null; // the tray's outline while it is being put right
    this.joining = null; // a join that is being checked: keys wait for it
    this.begun = null;
    this.start = 0; // a photo to begin with
    this.freshTag();
    this.looks = { zoom: 1, x: 0, y: 0 };
  }

  get said() {
    return this.person.said;
  }

  get run() {
    return this.finished ? null : (this.queue.runs[this.at] ?? null);
  }

  get row() {
    return this.run?.row ?? null;
  }

  get shown() {
    return this.row?.photos[this.photo] ?? null;
  }

  get where() {
    return this.person.settings.where ?? null;
  }

  get isSheet() {
    return this.data.mode === "sheet" && this.openedFrom === null;
  }

  // Runs that were taken out of the sheet's selection; a reload does not put them in again.
  get leftOut() {
    return this.person.settings[`out:${this.data.placement}`] ?? [];
  }

  turnOut(run) {
    const key = runKey(run);
    const isOut = this.leftOut.includes(key);
    const others = this.leftOut.filter((one) => one !== key);
    this.person.set(`out:${this.data.placement}`, isOut ? others : [...others, key]);
    return !isOut;
  }

  freshTag() {
    Object.assign(this, { count: 1, sure: true, also: false, tray: "", marking: false });
  }

  say(words, act = "") {
    this.status = { words, act };
    this.changed();
  }

  async begin() {
    this.begun ??= this.load().finally(() => {
      this.begun = null;
    });
    return this.begun;
  }

  async load() {
    const here = this.run;
    try {
      await this.queue.load();
    } catch (fault) {
      this.queue.fault = fault instanceof RefusedError ? fault.message : "The connection is lost.";
      this.changed();
      return;
    }
    replay(this);
    this.page = Math.min(this.page, pages(this) - 1);
    await this.settle(here);
    this.changed();
  }

  // Where to be in a list that was just read: where one was, where one was sent, the first due.
  async settle(here) {
    const there = here ? this.queue.placeOf(here.first, here.last) : -1;
    const sent = this.start ? await this.placeOfPhoto(this.start) : -1;
    this.start = 0;
    const due = this.queue.runs.findIndex((run) => !this.said.tagged(run));
    const at = [sent, there, due].find((place) => place >= 0) ?? 0;
    this.finished = !this.queue.runs.length || (this.queue.show === MINE && due < 0 && sent < 0);
    if (at === there) this.at = there;
    else this.to(at);
    this.queue.ensure(this.at);
  }

  // The run that holds a photo: by its end, else by the number of its visit.
  async placeOfPhoto(photo) {
    const { queue } = this;
    const first = queue.runs.findIndex((run) => run.first === photo || run.last === photo);
    if (first >= 0) return first;
    const [row] = await queue.rows([[photo, photo]]).catch(() => [{}]);
    if (!row.visit) return -1;
    const guess = queue.order === "time" ? row.visit - 1 : 0;
    const starts = Array.from(
      { length: Math.ceil(queue.runs.length / 60) },
      (_, step) => step * 60,
    );
    starts.sort((a, b) => Math.abs(a + 30 - guess) - Math.abs(b + 30 - guess));
    for (const from of starts) {
      const some = queue.runs.slice(from, from + 60);
      queue.wanted = from + 30;
      await queue.read(some);
      const at = some.findIndex((run) => run.row?.photos.some((one) => one.id === photo));
      if (at >= 0) return from + at;
    }
    return -1;
  }

  to(at) {
    this.freshTag();
    this.at = Math.max(0, Math.min(at, this.queue.runs.length - 1));
    this.photo = 0;
    this.finished = false;
    this.looks = { zoom: 1, x: 0, y: 0 };
    this.queue.ensure(this.at);
    this.changed();
  }

  // The next run, or the one before; those that are gone are passed over. Gives whether there is one.
  step(by) {
    const { runs } = this.queue;
    let at = this.at + by;
    while (runs[at]?.gone) at += by;
    const there = at >= 0 && at < runs.length;
    if (there) this.to(at);
    return there;
  }

  // That runs of the list are gone is said once.
  heard() {
    if (this.queue.gone && !this.goneSaid) {
      this.goneSaid = true;
      this.say(`Runs of this list are passed over. ${this.queue.gone}`);
    }
    this.changed();
  }

  look(photo) {
    if (!this.row) return;
    this.photo = Math.max(0, Math.min(photo, this.row.photos.length - 1));
    this.changed();
  }

  // The run after a place that this tagger has not tagged, from the beginning again after the
  // last; -1 where there is none.
  openAfter(place) {
    const { runs } = this.queue;
    for (let step = 1; step <= runs.length; step += 1) {
      const at = (place + step) % runs.length;
      if (!runs[at].gone && !this.said.tagged(runs[at])) return at;
    }
    return -1;
  }

  // After a tag: on to what is due, in other lists to the next; back to the sheet it came from.
  goOn() {
    if (this.openedFrom !== null) {
      backToSheet(this);
    } else if (this.queue.show === MINE) {
      this.toOpen();
    } else if (!this.step(1)) {
      this.freshTag();
      this.changed();
    }
  }

  toOpen() {
    const at = this.openAfter(this.at);
    if (at >= 0) {
      this.to(at);
      return;
    }
    if (this.queue.show === MINE) this.finished = true;
    else this.status = { words: "You have tagged every run of this list.", act: "" };
    this.freshTag();
    this.changed();
  }

  // Shows a run, wherever it stands now; puts it back into the list where it left it.
  show(first, last, count = 1) {
    const run = { first, last, count, peak: 0, score: null };
    this.to(this.queue.putBack(run, this.at));
  }

  get comment() {
    return this.run ? (this.comments.get(runKey(this.run)) ?? "") : "";
  }

  set comment(words) {
    if (this.run) this.comments.set(runKey(this.run), words);
  }

  // Day and night photos each keep their own light.
  get light() {
    const name = this.shown?.infrared ? "night" : "day";
    return this.person.settings[`${name}:${this.data.placement}`] ?? { bright: 1, gamma: 1 };
  }

  set light(value) {
    const name = this.shown?.infrared ? "night" : "day";
    this.person.set(`${name}:${this.data.placement}`, value);
  }
}

// Splits and joins that are not tagged yet are the browser's own: they are made again.
function replay(desk) {
  for (const deed of desk.person.history.shapes(desk.data.placement)) {
    if (deed.do === "split") desk.queue.cut(deed.whole, deed.parts, deed.counts);
    else desk.queue.unite(deed.parts);
  }
}

function backToSheet(desk) {
  const at = desk.openedFrom;
  desk.openedFrom = null;
  desk.to(at);
}
