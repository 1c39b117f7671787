// Decides which pictures are fetched ahead and kept unpacked, so that the next one shows at once.

const MOST_PICTURES = 60;
const RUNS_AHEAD = 4;
const PHOTOS_AHEAD = 4;
const STRIP_AFTER_MS = 120; // small pictures of a run that is left at once are not fetched

function reviewOf(photo) {
  return `/photo/review/${photo.id}`;
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
    if (entry && !entry.img.isConnected) entry.img.src = "";
  }

  // The first photo of the next runs, then the next photos of this one.
  ahead(desk) {
    const { runs } = desk.queue;
    for (let step = 1; step <= RUNS_AHEAD; step += 1) {
      const first = runs[desk.at + step]?.row?.photos[0];
      if (first) this.get(reviewOf(first));
    }
    for (const photo of (desk.row?.photos ?? []).slice(desk.photo + 1, desk.photo + 1 + PHOTOS_AHEAD)) {
      this.get(reviewOf(photo));
    }
  }
}
