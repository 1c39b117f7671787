// Decides which pictures are fetched ahead and kept unpacked, so that the next one shows at once.

const MOST_PICTURES = 60;
const RUNS_AHEAD = 4;
const PHOTOS_AHEAD = 4;
const MOST_PENDING = 4; // a browser asks a server for six things at once
// Another picture ends a fetch; with none at all Chromium keeps the image for ever.
const DOT = "data:image/gif;base64,R0lGODlhAQABAAAAACH5BAEKAAEALAAAAAABAAEAAAICTAEAOw==";
const STRIP_AFTER_MS = 120; // small pictures of a run that is left at once are not fetched

function reviewOf(photo) {
  return addressOf("review", photo);
}

function originalOf(photo) {
  return addressOf("original", photo);
}

class Pictures {
  constructor(changed) {
    this.changed = changed;
    this.kept = new Map(); // address -> {img, ready, failed}, the one that was used last is last
  }

  get(address, priority = "auto") {
    const known = this.kept.get(address);
    if (known) {
      this.kept.delete(address);
      this.kept.set(address, known);
      return known;
    }
    const entry = { img: new Image(), ready: false, failed: false };
    entry.img.fetchPriority = priority;
    entry.img.decoding = "sync";
    entry.img.src = address;
    entry.img.decode().then(
      () => this.arrived(entry),
      () => this.lost(address, entry),
    );
    this.kept.set(address, entry);
    if (this.kept.size > MOST_PICTURES) this.drop(this.kept.keys().next().value);
    return entry;
  }

  arrived(entry) {
    entry.ready = true;
    this.changed();
  }

  // A picture that did not come is asked for again in a moment, if it is still wanted.
  lost(address, entry) {
    if (this.kept.get(address) !== entry) return;
    entry.failed = true;
    this.changed();
    setTimeout(() => {
      if (this.kept.get(address) === entry) this.drop(address);
      this.changed();
    }, RETRY_MS);
  }

  drop(address) {
    const entry = this.kept.get(address);
    this.kept.delete(address);
    if (entry && !entry.ready && !entry.img.isConnected) entry.img.src = DOT;
  }

  // The first photo of the next runs, then the next photos of this one; what nobody will look at
  // any more is not fetched further, so that rows and tags never wait behind it.
  ahead(desk) {
    const nextRuns = desk.queue.runs.slice(desk.at + 1, desk.at + 1 + RUNS_AHEAD);
    const firsts = nextRuns.map((run) => run.row?.photos[0]).filter(Boolean);
    const onward = (desk.row?.photos ?? []).slice(desk.photo + 1, desk.photo + 1 + PHOTOS_AHEAD);
    const wanted = [...firsts, ...onward].map((photo) => reviewOf(photo));
    const shown = desk.shown ? [reviewOf(desk.shown), originalOf(desk.shown)] : [];
    let pending = 0;
    for (const [address, entry] of this.kept) {
      if (entry.ready || entry.failed) continue;
      if (wanted.includes(address) || shown.includes(address)) pending += 1;
      else this.drop(address);
    }
    for (const address of wanted) {
      if (this.kept.has(address)) this.get(address);
      else if (pending < MOST_PENDING) {
        pending += 1;
        this.get(address, "low");
      }
    }
  }
}
