// Decides which runs of photos there are to look at, in which order, and when more of them is read.

const AHEAD = 48;
const BEHIND = 8;
const CHUNK = 24;
const FIRST_CHUNK = 6; // the first picture is not kept waiting for the rows of others
const KEPT = 150; // rows further away than this are forgotten, so that memory stays flat

class Queue {
  constructor({ placement, show, order }, ticket, changed) {
    Object.assign(this, { placement, show, order, changed });
    this.ticket = ticket; // a function: tickets are renewed
    this.runs = [];
    this.visits = 0;
    this.tagged = 0;
    this.unscored = 0;
    this.louder = 0; // of the quiet sheet: runs that changed too much for it
    this.gone = ""; // why some of the runs are no runs any more
    this.outlines = [];
    this.clockFault = "";
    this.loaded = false;
    this.fault = "";
    this.asked = 0; // requests for rows that are not answered
    this.wanted = 0; // place around which rows are wanted
    this.loadedAt = 0;
  }

  async load() {
    const asked = new URLSearchParams({
      placement: this.placement,
      show: this.show,
      order: this.order,
    });
    const [found, untagged] = await Promise.all([
      ask(`/tagging/queue?${asked}`, this.ticket()),
      this.untaggedRuns(asked),
    ]);
    const known = new Map(this.runs.map((run) => [runKey(run), run]));
    this.runs = found.runs.map(([first, last, count, peak, score]) => {
      const run = known.get(`${first}-${last}`) ?? { first, last, row: null };
      const open = untagged ? untagged.has(`${first}-${last}`) : true;
      delete run.gone;
      return Object.assign(run, { count, peak, score, open, stale: Boolean(run.row) });
    });
    const { visits, tagged, unscored, louder, outlines, clock_fault: clockFault } = found;
    Object.assign(this, { visits, tagged, unscored, louder, outlines, clockFault });
    this.loaded = true;
    this.fault = "";
    this.loadedAt = Date.now();
  }

  // In a list of other runs than one's untagged ones: which of them are untagged.
  async untaggedRuns(asked) {
    if (this.show === MINE) return null;
    const other = new URLSearchParams(asked);
    other.set("show", MINE);
    other.set("order", "time");
    const found = await ask(`/tagging/queue?${other}`, this.ticket());
    return new Set(found.runs.map(([first, last]) => `${first}-${last}`));
  }

  placeOf(first, last) {
    return this.runs.findIndex((run) => run.first === first && run.last === last);
  }

  // Puts a run that left the list back into it, and gives its place.
  putBack(run, at) {
    const there = this.placeOf(run.first, run.last);
    if (there >= 0) return there;
    const place = Math.max(0, Math.min(at, this.runs.length));
    this.runs.splice(place, 0, { ...run, row: null, open: true });
    return place;
  }

  // Asks for the rows around a place that are not there yet, the nearest first.
  ensure(at) {
    this.wanted = at;
    if (this.asked >= 2 || !this.loaded) return;
    const near = this.runs.slice(at, at + AHEAD);
    const before = this.runs.slice(Math.max(0, at - BEHIND), at).reverse();
    const missing = [...near, ...before].filter(
      (run) => (!run.row || run.stale) && !run.asking && run.gone === undefined,
    );
    const chunk = missing.slice(0, this.runs[at]?.row ? CHUNK : FIRST_CHUNK);
    if (chunk.length) this.read(chunk).then(() => this.ensure(this.wanted));
  }

  async read(runs) {
    this.asked += 1;
    for (const run of runs) run.asking = true;
    let wait = 0;
    try {
      const pairs = runs.map((run) => [run.first, run.last]);
      const found = await this.rows(pairs);
      runs.forEach((run, at) => this.take(run, found[at]));
      this.fault = "";
      this.forget();
    } catch (fault) {
      this.fault = fault instanceof RefusedError ? fault.message : "The connection is lost.";
      wait = RETRY_MS;
    }
    if (wait) await new Promise((done) => setTimeout(done, wait));
    for (const run of runs) run.asking = false;
    this.asked -= 1;
    this.changed();
  }

  async rows(pairs) {
    const body = { placement: this.placement, runs: pairs };
    return (await ask("/tagging/runs", this.ticket(), body)).runs;
  }

  take(run, row) {
    run.stale = Boolean(run.again); // something was said of it while this was on its way
    run.again = false;
    if (row.gone === undefined) run.row = row;
    else this.gone = run.gone = row.gone;
  }

  forget() {
    this.runs.forEach((run, at) => {
      if (run.row && Math.abs(at - this.wanted) > KEPT) run.row = null;
    });
  }

  refresh(first, last) {
    const run = this.runs[this.placeOf(first, last)];
    if (run?.asking) run.again = true;
    else if (run) run.stale = true;
    this.ensure(this.wanted);
  }

  // Splits the run at a place before one of its photos; gives both parts as pairs of photo ids.
  split(at, photo) {
    const run = this.runs[at];
    const { photos } = run.row;
    const parts = [photos.slice(0, photo), photos.slice(photo)].map((some) => partOf(run, some));
    this.runs.splice(at, 1, ...parts);
    return parts.map((part) => [part.first, part.last]);
  }

  // Puts runs that stand side by side, named by their ends, into one; -1 where they do not.
  unite(parts) {
    const at = this.placeOf(...parts[0]);
    const stands = parts.every(([first, last], step) => {
      const run = this.runs[at + step];
      return run && run.first === first && run.last === last;
    });
    if (at < 0 || !stands) return -1;
    const runs = this.runs.slice(at, at + parts.length);
    this.runs.splice(at, parts.length, unionOf(runs));
    return at;
  }

  // Cuts a run, named by its ends, into parts of which the number of photos is known.
  cut(whole, parts, counts) {
    const at = this.placeOf(...whole);
    if (at < 0) return -1;
    const run = this.runs[at];
    let from = 0;
    const cut = parts.map(([first, last], step) => {
      const photos = run.row?.photos.slice(from, from + counts[step]);
      from += counts[step];
      return photos?.length ? partOf(run, photos) : bare(first, last, counts[step], run);
    });
    this.runs.splice(at, 1, ...cut);
    return at;
  }
}

function bare(first, last, count, like) {
  return { first, last, count, peak: like.peak, score: like.score, open: true, row: null };
}

function partOf(run, photos) {
  const [first, last] = [photos[0].id, photos[photos.length - 1].id];
  const { row } = run;
  const from = row.photos.findIndex((photo) => photo.id === first) + 1;
  const to = from + photos.length - 1;
  const which = from === to ? `photo ${from}` : `photos ${from} to ${to}`;
  const name = `${row.name}, ${which} of ${row.photos.length}`;
  const part = bare(first, last, photos.length, run);
  return { ...part, row: { ...row, first, last, name, photos }, stale: true };
}

function unionOf(runs) {
  const [one, other] = [runs[0], runs[runs.length - 1]];
  const count = runs.reduce((sum, run) => sum + run.count, 0);
  const whole = bare(one.first, other.last, count, one);
  if (!runs.every((run) => run.row)) return whole;
  const photos = runs.flatMap((run) => run.row.photos);
  const said = runs.flatMap((run) => run.row.said);
  const name = runs.map((run) => run.row.name).join(" and ");
  const row = { ...one.row, first: one.first, last: other.last, name, photos, said };
  return { ...whole, row, stale: true };
}
