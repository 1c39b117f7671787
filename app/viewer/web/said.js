// Decides what holds of a run of photos in this browser: what the study has said of it, and what
// was tagged here since, whether the study has answered yet or not.

class Said {
  constructor() {
    this.records = new Map(); // run key -> tags made here, in order
    this.byAct = new Map(); // act id -> such a tag
    this.acts = new Map(); // number of a tag -> the act that made it
    this.gone = new Set(); // numbers of tags that were taken back here
  }

  add(run, record) {
    const key = runKey(run);
    this.records.set(key, [...(this.records.get(key) ?? []), record]);
    this.byAct.set(record.act, record);
    return record;
  }

  remove(record) {
    this.byAct.delete(record.act);
    for (const [key, records] of this.records) {
      const left = records.filter((one) => one !== record);
      if (left.length) this.records.set(key, left);
      else this.records.delete(key);
    }
  }

  // The act by which a tag of the study was made here; null for any other.
  actOf(number) {
    return this.acts.get(number) ?? null;
  }

  numbered(record, number) {
    record.number = number;
    this.acts.set(number, record.act);
    if (record.back) this.gone.add(number);
  }

  // Takes tags back, or lets them hold again.
  setBack({ acts = [], numbers = [] }, back) {
    for (const act of acts) {
      const record = this.byAct.get(act);
      if (!record) continue;
      record.back = back;
      if (record.number) this.setGone(record.number, back);
    }
    for (const number of numbers) this.setGone(number, back);
  }

  setGone(number, gone) {
    if (gone) this.gone.add(number);
    else this.gone.delete(number);
    for (const record of this.byAct.values()) {
      if (record.number === number) record.back = gone;
    }
  }

  // What stands of a run, oldest first: tags of the study that may be seen, then those made here.
  standing(run) {
    const here = this.records.get(runKey(run)) ?? [];
    const known = (run.row?.said ?? []).filter((tag) => !this.gone.has(tag.number));
    const fresh = here.filter((one) => !one.back && !isToldBy(known, one, run));
    const left = fresh.filter((one, at) => !replacedBy(fresh.slice(at + 1), one));
    return [...known.filter((tag) => !isOwnOn(tag, run) || !replacedBy(fresh, tag)), ...left];
  }

  mine(run) {
    return this.standing(run).filter((tag) => tag.mine);
  }

  // Whether this tagger has said something of every photo of the run.
  tagged(run) {
    const mine = this.mine(run);
    if (mine.some((tag) => covers(tag, run))) return true;
    return !run.row && run.open === false && !(this.records.get(runKey(run)) ?? []).length;
  }
}

function isOn(tag, run) {
  return tag.first === run.first && tag.last === run.last;
}

function isOwnOn(tag, run) {
  return tag.mine && isOn(tag, run);
}

// The study tells of a tag itself, or of a later one in its place.
function isToldBy(known, record, run) {
  if (!record.number) return false;
  return known.some(
    (tag) => tag.number === record.number || (isOwnOn(tag, run) && tag.number > record.number),
  );
}

// A later tag of the same tagger on the same photos replaces the earlier one, unless it names
// another species too.
function replacedBy(later, earlier) {
  return later.some((one) => !one.also || one.species === earlier.species);
}

// The ends of a tag are those of the run, or lie outside it: then it is on all of its photos.
function covers(tag, run) {
  if (isOn(tag, run)) return true;
  const ids = run.row?.photos.map((photo) => photo.id) ?? [];
  const [first, last] = [ids.indexOf(tag.first), ids.indexOf(tag.last)];
  return first <= 0 && (last < 0 || last === ids.length - 1);
}
