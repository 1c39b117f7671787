// Decides how the run on screen is looked at: one photo large, what is marked on it, the strip.

const THUMBS = 8;
const FRAME_MS = 380;

class Picture {
  constructor(pictures, desk, act) {
    Object.assign(this, { pictures, desk, act });
    this.marks = shape("svg", { class: "marks", "aria-hidden": "true" });
    this.holder = el("div", { class: "holder" });
    this.wait = el("p", { class: "wait" });
    this.stage = el(
      "div",
      { class: "stage", role: "group", "aria-label": "Photo", tabindex: 0 },
      this.holder,
      this.wait,
    );
    this.caption = el("p", { class: "caption" });
    this.refs = el("ul", { class: "photo-refs", "aria-label": "What it is a reference of" });
    this.note = el("p", { class: "note" });
    this.strip = el("div", { class: "strip", role: "group", "aria-label": "Photos of this run" });
    this.bar = el("div", { class: "trayform" });
    this.tools = this.toolColumn();
    this.root = el(
      "section",
      { class: "look", "aria-label": "Photos" },
      gammaFilter(),
      el("div", { class: "frame" }, this.tools, this.stage),
      this.bar,
      el("div", { class: "under" }, this.caption, this.refs),
      this.strip,
      this.note,
    );
    this.editor = new TrayEditor(this, desk);
    this.stripKey = "";
    movable(this.stage, desk);
  }

  toolColumn() {
    const tool = (deed, words) => {
      const { shown, words: title } = toolOf(deed);
      const made = button(words, () => this.act(deed), {
        class: "tool",
        title: `${title} (${shown})`,
        "aria-keyshortcuts": shortcut(shown),
        "data-deed": deed,
      });
      return made;
    };
    const names = {
      zoom: "Zoom",
      lighter: "Lighter",
      darker: "Darker",
      gamma: "Night",
      play: "Play",
      outline: "Changes",
      tray: "Tray",
    };
    return el(
      "div",
      { class: "tools", role: "group", "aria-label": "Look closer" },
      ...Object.entries(names).map(([deed, words]) => tool(deed, words)),
    );
  }

  draw() {
    const desk = this.desk();
    const photo = desk.shown;
    this.drawLarge(desk, photo);
    this.drawTools(desk, photo);
    this.drawStrip(desk);
    this.drawRefs(desk, photo);
    this.editor.draw();
    if (!photo) {
      setText(this.caption, "");
      setText(this.note, "");
      return;
    }
    setText(this.caption, captionOf(desk, photo));
    setText(this.note, photo.note);
    this.pictures.ahead(desk);
  }

  // Only an instructor is told: to a tagger it would be an answer.
  drawRefs(desk, photo) {
    keyed(
      this.refs,
      photo?.references ?? [],
      (one) => `${photo.id} ${one.species} ${one.against}`,
      (one) => this.refLine(desk, photo.id, one),
    );
  }

  refLine(desk, photo, { species, against }) {
    const words = `Reference of ${speciesName(desk, species)}`;
    return el(
      "li",
      {},
      el("span", { class: "words" }, against ? `! ${words}. ${against}` : `★ ${words}`),
      button("Take off", () => this.act("takeOff", { photo, species }), {
        class: "small", "aria-label": `Take off: ${words}`,
      }),
    );
  }

  // The picture of another run never stays on screen beside the words of this one.
  drawLarge(desk, photo) {
    if (!photo) {
      this.holder.replaceChildren();
      const coming = desk.finished ? "" : "The photos are being fetched.";
      setText(this.wait, desk.queue.fault || desk.run?.gone || coming);
      return;
    }
    const entry = this.pictures.get(reviewOf(photo), "high");
    const large = desk.looks.zoom > 1 ? this.pictures.get(originalOf(photo), "high") : null;
    const { img } = large?.ready ? large : entry;
    if (this.holder.firstChild !== img) this.holder.replaceChildren(img, this.marks);
    img.alt = photo.alt;
    const waits = entry.failed ? "The picture did not come. It is asked for again." : "";
    setText(this.wait, waits || (entry.ready ? "" : "The picture is being made."));
    if (large && !large.ready) setText(this.wait, "The original is being fetched.");
    img.style.filter = filterOf(desk.light);
    const { zoom, x, y } = desk.looks;
    const transform = `translate(${x * 100}%, ${y * 100}%) scale(${zoom})`;
    this.holder.style.transform = zoom === 1 ? "" : transform;
    this.stage.classList.toggle("zoomed", zoom > 1);
    this.drawMarks(desk, photo, img);
  }

  drawMarks(desk, photo, img) {
    const ratio = img.naturalWidth ? img.naturalHeight / img.naturalWidth : 0.75;
    setAttribute(this.marks, "viewBox", `0 0 1 ${ratio}`);
    const { outline } = desk.person.settings;
    const marks = outline ? photo.outline.map((points) => polygon(points)) : [];
    const trays = outline || desk.edit ? desk.queue.outlines : [];
    const ellipses = trays.filter((one) => one.tray !== desk.edit?.tray).map((one) => ellipse(one));
    this.marks.replaceChildren(...marks, ...ellipses, ...this.editor.shapes());
  }

  drawTools(desk, photo) {
    const { outline, play } = desk.person.settings;
    const pressed = {
      zoom: desk.looks.zoom > 1,
      gamma: desk.light.gamma !== 1,
      play: Boolean(play),
      outline: Boolean(outline),
      tray: Boolean(desk.edit),
    };
    for (const tool of this.tools.children) {
      const { deed } = tool.dataset;
      setOff(tool, !photo || (deed === "play" && desk.row.photos.length < 2));
      if (deed in pressed) setState(tool, "pressed", pressed[deed]);
    }
  }

  drawStrip(desk) {
    const photos = desk.row?.photos ?? [];
    const first = Math.max(0, Math.min(desk.photo - THUMBS / 2, photos.length - THUMBS));
    const some = photos.slice(first, first + THUMBS);
    const key = some.map((photo) => addressOf("strip", photo)).join();
    if (key !== this.stripKey) this.turnStrip(desk, photos.length > 1 ? some : [], first, key);
    for (const thumb of this.strip.children) {
      setAttribute(thumb, "aria-current", Number(thumb.dataset.at) === desk.photo ? "true" : null);
    }
  }

  // Whoever walked to a small picture that is left behind stays in the strip, at the one on screen.
  turnStrip(desk, some, first, key) {
    const held = focusIn(this.strip);
    this.stripKey = key;
    keyed(
      this.strip,
      some,
      (photo) => addressOf("strip", photo),
      (photo, at) => this.thumb(desk, photo, first + at),
    );
    if (held && !held.isConnected) this.strip.children[desk.photo - first]?.focus();
    setTimeout(() => this.fetchStrip(key), STRIP_AFTER_MS);
  }

  thumb(desk, photo, at) {
    const peak = photo.id === desk.run.peak && desk.row.photos.length > 1;
    const words = peak ? `${at + 1} most changed` : `${at + 1}`;
    return button(
      [
        el("img", { alt: photo.alt, "data-src": addressOf("strip", photo), draggable: "false" }),
        el("span", { "aria-hidden": "true" }, words),
      ],
      () => this.desk().look(at),
      { class: peak ? "thumb peak" : "thumb", "data-at": at },
    );
  }

  fetchStrip(key) {
    if (key !== this.stripKey) return;
    for (const img of this.strip.querySelectorAll("img")) setAttribute(img, "src", img.dataset.src);
  }

  // Where on the stage (0 to 1) a point of the picture is, that is given in picture widths.
  middle(point) {
    const img = this.holder.querySelector("img");
    if (!point || !img?.naturalWidth) return [0.5, 0.5];
    const ratio = img.naturalHeight / img.naturalWidth;
    const { width, height } = this.stage.getBoundingClientRect();
    const wide = Math.min(width, height / ratio);
    return [
      0.5 + ((point[0] - 0.5) * wide) / width,
      0.5 + ((point[1] - ratio / 2) * wide) / height,
    ];
  }

  // The next photo of the loop, as soon as its picture is there.
  playOn() {
    const desk = this.desk();
    const photos = desk?.row?.photos ?? [];
    if (!desk?.person.settings.play || photos.length < 2 || stillFor(desk)) return;
    if (desk.edit || desk.isSheet || desk.question) return;
    const next = (desk.photo + 1) % photos.length;
    if (this.pictures.get(reviewOf(photos[next])).ready) desk.look(next);
  }
}

function captionOf(desk, photo) {
  const light = photo.infrared ? "infrared" : "daylight";
  const lit = lightWords(desk.light);
  const words = [
    `Photo ${desk.photo + 1} of ${desk.row.photos.length}`,
    photo.time || "no time",
    photo.infrared === null ? "" : light,
    photo.changed,
    photo.file.split("/").pop(),
  ];
  return words.filter(Boolean).join(", ") + (lit ? ` (shown ${lit})` : "");
}

// Who asked for less motion plays each run by a key of their own; nothing goes on by itself.
function stillFor(desk) {
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  return calm && desk.person.settings.play !== (desk.run ? runKey(desk.run) : "");
}

function polygon(points) {
  return shape(
    "polygon",
    { class: "change", points: points.map(([x, y]) => `${x},${y}`).join(" ") },
  );
}

function ellipse({ cx, cy, rx, ry, angle, by }, extra = "") {
  return shape(
    "ellipse",
    {
      class: `tray ${by ? "" : "guess"} ${extra}`,
      cx,
      cy,
      rx,
      ry,
      transform: `rotate(${angle} ${cx} ${cy})`,
    },
  );
}
