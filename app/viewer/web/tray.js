// Decides how the tray's outline is put right on the picture: dragged, or moved with keys.

const MOVE = 0.004; // picture widths a key press
const LEAST_RADIUS = 0.01;

class TrayEditor {
  constructor(picture, desk) {
    this.picture = picture;
    this.desk = desk;
    this.dragged = null;
    this.form = null;
    picture.marks.addEventListener("pointerdown", (event) => this.grab(event));
    picture.marks.addEventListener("pointermove", (event) => this.drag(event));
    for (const name of ["pointerup", "pointercancel"]) {
      picture.marks.addEventListener(name, () => {
        this.dragged = null;
      });
    }
  }

  draw() {
    const { edit } = this.desk();
    if (!edit) {
      if (this.form) this.picture.bar.replaceChildren();
      this.form = null;
      return;
    }
    if (!this.form) {
      this.form = this.makeForm(edit);
      this.picture.bar.replaceChildren(this.form);
    }
    setText(
      this.said,
      edit.fault || (edit.by === "" && edit.known ? "Found by the machine: is it right?" : ""),
    );
  }

  makeForm(edit) {
    const turn = (by) => () => this.set({ angle: this.desk().edit.angle + by });
    this.said = el("span", { role: "status" });
    const names = edit.names.map((name) => el(
      "option",
      { value: name, selected: name === edit.tray },
      name || "the tray",
    ));
    const choice = el(
      "select",
      {
        "aria-label": "Which tray",
        onchange: (event) => editTray(this.desk(), event.target.value),
      },
      ...names,
    );
    return el(
      "div",
      { class: "trayform-row", role: "group", "aria-label": "Outline of the tray" },
      el("strong", {}, `Outline of ${edit.names.length > 1 ? "tray" : trayName(edit.tray)}`),
      edit.names.length > 1 ? choice : null,
      el(
        "span",
        {},
        "Drag it, or: arrows move, + and - size, Shift with arrows one radius, [ and ] turn.",
      ),
      button("Turn left", turn(-3)),
      button("Turn right", turn(3)),
      button(
        "Save",
        () => saveTray(this.desk()),
        { class: "strong", title: "Save the outline (Enter)" },
      ),
      button("Cancel", () => cancelTray(this.desk()), { title: "Leave it as it was (Esc)" }),
      this.said,
    );
  }

  set(values) {
    changeTray(this.desk(), values);
  }

  shapes() {
    const { edit } = this.desk();
    if (!edit) return [];
    const handles = Object.entries(handlesOf(edit)).map(([name, [x, y]]) =>
      shape("circle", { class: `handle ${name}`, "data-handle": name, cx: x, cy: y, r: 0.014 }),
    );
    return [ellipse({ ...edit, by: "you" }, "edited"), ...handles];
  }

  point(event) {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(
      this.picture.marks.getScreenCTM().inverse(),
    );
    return [place.x, place.y];
  }

  grab(event) {
    const onIt = event.target.classList.contains("edited") ? "centre" : "";
    const handle = event.target.dataset?.handle ?? onIt;
    if (!handle || !this.desk().edit) return;
    event.preventDefault();
    event.stopPropagation();
    const [x, y] = this.point(event);
    const { cx, cy } = this.desk().edit;
    this.dragged = { handle, dx: cx - x, dy: cy - y };
    this.picture.marks.setPointerCapture(event.pointerId);
  }

  drag(event) {
    const { edit } = this.desk();
    if (!this.dragged || !edit) return;
    const [x, y] = this.point(event);
    if (this.dragged.handle === "centre") {
      this.set({ cx: x + this.dragged.dx, cy: y + this.dragged.dy });
      return;
    }
    const length = Math.max(LEAST_RADIUS, Math.hypot(x - edit.cx, y - edit.cy));
    const turned = (Math.atan2(y - edit.cy, x - edit.cx) * 180) / Math.PI;
    if (this.dragged.handle === "rx") this.set({ rx: length, angle: turned });
    else if (this.dragged.handle === "ry") this.set({ ry: length });
    else this.set({ angle: turned + 90 });
  }
}

// Where the points stand by which an outline is dragged, in picture widths.
function handlesOf({ cx, cy, rx, ry, angle }) {
  const turn = (angle * Math.PI) / 180;
  const along = (length, more) => [
    cx + length * Math.cos(turn + more),
    cy + length * Math.sin(turn + more),
  ];
  return {
    centre: [cx, cy],
    rx: along(rx, 0),
    ry: along(ry, Math.PI / 2),
    turn: along(ry + 0.05, -Math.PI / 2),
  };
}

function trayName(tray) {
  return tray ? `tray ${tray}` : "the tray";
}

function editTray(desk, name) {
  const known = desk.queue.outlines.find((one) => one.tray === name);
  const names = [...new Set([...desk.data.trays, ...desk.queue.outlines.map((one) => one.tray)])];
  const tray = name ?? known?.tray ?? desk.queue.outlines[0]?.tray ?? names[0] ?? "";
  const there = known ?? desk.queue.outlines.find((one) => one.tray === tray);
  const dull = { cx: 0.5, cy: 0.38, rx: 0.2, ry: 0.14, angle: 0, by: "" };
  desk.edit = {
    ...dull,
    ...there,
    tray,
    names: names.length ? names : [""],
    known: Boolean(there),
    fault: "",
  };
  desk.looks = { zoom: 1, x: 0, y: 0 };
  desk.say(
    `Outline of ${trayName(tray)}: Enter saves, Esc leaves it as it was.`,
  );
}

function changeTray(desk, values) {
  const edit = Object.assign(desk.edit, values);
  edit.rx = Math.max(LEAST_RADIUS, Math.min(1, edit.rx));
  edit.ry = Math.max(LEAST_RADIUS, Math.min(1, edit.ry));
  edit.cx = Math.max(0, Math.min(1, edit.cx));
  edit.cy = Math.max(0, Math.min(2, edit.cy));
  edit.angle = ((((edit.angle + 90) % 180) + 180) % 180) - 90;
  desk.changed();
}

function cancelTray(desk) {
  desk.edit = null;
  desk.say("The outline was left as it was.");
}

async function saveTray(desk) {
  const { tray, cx, cy, rx, ry, angle } = desk.edit;
  try {
    const body = { placement: desk.data.placement, tray, cx, cy, rx, ry, angle };
    const { outlines } = await ask("/tagging/outline", desk.data.ticket, body);
    desk.queue.outlines = outlines;
    desk.edit = null;
    desk.say("The outline is kept for this placement.");
  } catch (fault) {
    const lost = "The connection is lost: save again in a moment.";
    const words = fault instanceof RefusedError ? fault.message : lost;
    if (desk.edit) desk.edit.fault = words;
    desk.say(words);
  }
}

// Keys while an outline is put right; every other key means nothing then.
function trayKey(desk, event) {
  const { edit } = desk;
  const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  const step = steps[event.key];
  const { cx, cy, rx, ry, angle } = edit;
  const [dx, dy] = (step ?? [0, 0]).map((one) => one * MOVE);
  if (step && event.shiftKey) changeTray(desk, { rx: rx + dx, ry: ry - dy });
  else if (step) changeTray(desk, { cx: cx + dx, cy: cy + dy });
  else if (["+", "="].includes(event.key)) changeTray(desk, { rx: rx * 1.02, ry: ry * 1.02 });
  else if (event.key === "-") changeTray(desk, { rx: rx / 1.02, ry: ry / 1.02 });
  else if (event.key === "[") changeTray(desk, { angle: angle - 1 });
  else if (event.key === "]") changeTray(desk, { angle: angle + 1 });
  else if (event.key === "Enter") saveTray(desk);
  else if (event.key === "Escape") cancelTray(desk);
  else return false;
  return true;
}
