// Decides how acts reach the study: kept in this browser until answered, in order, one request
// at a time; nothing is dropped but what the study has taken or refused in words.

const RETRY_MS = 2000;
const DEAD_AFTER_MS = 7000; // a page that said nothing for so long is closed: others take its acts
const MOST_ACTS = 40;
const MOST_BYTES = 56000; // a browser sends 64 kB for a page that is going away, head and all

class Outbox {
  constructor(study) {
    this.prefix = `lastbite:${study}:`;
    this.page = keptItem("sessionStorage", `${this.prefix}page`) ?? newId();
    keepItem("sessionStorage", `${this.prefix}page`, this.page);
    this.waiting = new Map(); // act id -> {act, ticket, who, words, about, page}
    this.answered = []; // functions told of each answer
    this.changed = []; // functions told that something waits, or no longer does
    this.tickets = new Map(); // who -> the newest ticket
    this.sending = false;
    this.lost = false;
    this.alone = false; // send one by one, after a request that was refused whole
    this.volatile = false; // this browser keeps nothing
    this.refusal = ""; // why the study takes nothing now, in its words
    this.last = 0;
    this.takeOver();
  }

  // A number that grows, over reloads and pages too: acts are sent in this order.
  sequence() {
    this.last = Math.max(this.last + 1, Date.now() * 8);
    return this.last;
  }

  add(act, { ticket, who, words, about }) {
    const item = {
      act: { ...act, seq: this.sequence() },
      ticket,
      who,
      words,
      about,
      page: this.page,
    };
    this.waiting.set(act.id, item);
    if (!keepItem("localStorage", this.nameOf(act.id), item)) this.volatile = true;
    this.alive();
    this.tell();
    queueMicrotask(() => this.send());
    return item;
  }

  nameOf(id) {
    return `${this.prefix}act:${id}`;
  }

  alive() {
    if (this.waiting.size) keepItem("localStorage", `${this.prefix}page:${this.page}`, Date.now());
  }

  // Takes the acts of pages that are gone; those of another open page are left to it.
  takeOver() {
    for (const name of keptNames("localStorage", `${this.prefix}act:`)) {
      const item = keptItem("localStorage", name);
      if (!item?.act?.id || this.waiting.has(item.act.id)) continue;
      const seen = keptItem("localStorage", `${this.prefix}page:${item.page}`, 0);
      if (item.page !== this.page && Date.now() - seen < DEAD_AFTER_MS) continue;
      item.page = this.page;
      this.waiting.set(item.act.id, item);
      keepItem("localStorage", name, item);
    }
    this.tell();
  }

  drop(id) {
    this.waiting.delete(id);
    dropItem("localStorage", this.nameOf(id));
  }

  tell() {
    for (const one of this.changed) one(this);
  }

  // The next acts of one ticket, in order, as many as one request holds.
  batch() {
    const items = [...this.waiting.values()].sort((a, b) => a.act.seq - b.act.seq);
    const some = [];
    let bytes = 20;
    for (const item of items.slice(0, this.alone ? 1 : MOST_ACTS)) {
      bytes += 3 * JSON.stringify(item.act).length;
      if (some.length && (item.ticket !== some[0].ticket || bytes > MOST_BYTES)) break;
      some.push(item);
    }
    return some;
  }

  async send() {
    if (this.sending || !this.waiting.size) return;
    this.sending = true;
    const items = this.batch();
    let goOn = false;
    try {
      const acts = items.map((item) => item.act);
      this.take(items, await ask("/tagging/acts", items[0].ticket, { acts }));
      goOn = true;
    } catch (fault) {
      goOn = this.failed(items, fault);
    }
    this.sending = false;
    this.tell();
    if (goOn) this.send();
  }

  take(items, answer) {
    this.lost = false;
    this.refusal = "";
    let taken = 0;
    for (const item of items) {
      const done = answer.done?.[item.act.id];
      const refused = answer.refused?.[item.act.id];
      if (done === undefined && refused === undefined) continue;
      taken += 1;
      this.drop(item.act.id);
      for (const one of this.answered) one(item, done ?? null, refused ?? "");
    }
    if (!taken) throw new Error("The study answered nothing of what was asked.");
    this.alone = false;
  }

  // Says whether it is worth sending again at once.
  failed(items, fault) {
    const status = fault instanceof RefusedError ? fault.status : 0;
    if (status === 401) return this.otherTicket(items, fault.message);
    if (status < 400 || status >= 500 || status === 403 || status === 404 || status === 429) {
      this.lost = true;
      this.refusal = status ? fault.message : "";
      return false;
    }
    this.lost = false;
    if (items.length > 1) {
      this.alone = true;
      return true;
    }
    this.drop(items[0].act.id);
    for (const one of this.answered) one(items[0], null, fault.message);
    this.alone = false;
    return true;
  }

  // The same person under a newer ticket may send what was made under an older one.
  otherTicket(items, words) {
    const newer = this.tickets.get(items[0].who);
    this.refusal = words;
    this.lost = true;
    if (!newer || newer === items[0].ticket) return false;
    for (const item of items) {
      item.ticket = newer;
      keepItem("localStorage", this.nameOf(item.act.id), item);
    }
    return true;
  }

  tick() {
    this.alive();
    this.takeOver();
    this.send();
  }

  // The page goes away: what is not answered is sent once more, and stays kept until it is.
  leave() {
    const items = this.batch();
    if (items.length) {
      const acts = items.map((item) => item.act);
      ask("/tagging/acts", items[0].ticket, { acts }, { keepalive: true, signal: null }).catch(
        () => {},
      );
    }
    dropItem("localStorage", `${this.prefix}page:${this.page}`);
  }

  // In words, what waits; empty when nothing does, or only for a moment.
  words() {
    const waiting = this.waiting.size;
    if (!waiting || !this.lost) return "";
    const things = many(waiting, "tag");
    const why = this.refusal ? ` ${this.refusal}` : "";
    const kept = this.volatile ? " This browser keeps nothing: leave this page open." : "";
    return `${things} ${waiting === 1 ? "waits" : "wait"} for the connection.${why}${kept}`;
  }
}
