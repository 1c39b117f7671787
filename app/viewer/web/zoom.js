// Decides how the large picture is enlarged, moved and lit; the photo itself is never changed.

const MOST_ZOOM = 12;
const KEY_ZOOM = 3;
const LIGHT_STEP = 1.15;
const LIGHT_ENDS = [0.4, 5];
const NIGHT_GAMMA = 0.55;

// Enlarges by a factor with the given point of the stage (0 to 1) held where it is.
function zoomed(looks, factor, [px, py]) {
  const zoom = Math.max(1, Math.min(MOST_ZOOM, looks.zoom * factor));
  const ratio = zoom / looks.zoom;
  return moved({ zoom, x: px - (px - looks.x) * ratio, y: py - (py - looks.y) * ratio }, 0, 0);
}

// Moves the picture by parts of the stage; its edges never leave the stage's.
function moved(looks, dx, dy) {
  const least = 1 - looks.zoom;
  const inside = (value) => Math.max(least, Math.min(0, value));
  return { zoom: looks.zoom, x: inside(looks.x + dx), y: inside(looks.y + dy) };
}

// What is worth enlarging: the middle of what changed, else of the tray, in picture widths.
function interest(desk) {
  const points = desk.shown?.outline.flat() ?? [];
  if (points.length) {
    const mean = (axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length;
    return [mean(0), mean(1)];
  }
  const [tray] = desk.queue.outlines;
  return tray ? [tray.cx, tray.cy] : null;
}

function lit(light, factor) {
  const bright = Math.max(LIGHT_ENDS[0], Math.min(LIGHT_ENDS[1], light.bright * factor));
  return { ...light, bright: Math.abs(bright - 1) < 0.02 ? 1 : bright };
}

function filterOf({ bright, gamma }) {
  const parts = [];
  if (gamma !== 1) parts.push("url(#lastbite-gamma)");
  if (bright !== 1) parts.push(`brightness(${bright.toFixed(3)})`);
  return parts.join(" ");
}

function lightWords({ bright, gamma }) {
  const words = [];
  if (bright > 1) words.push(`${bright.toFixed(1)} times lighter`);
  if (bright < 1) words.push(`${(1 / bright).toFixed(1)} times darker`);
  if (gamma !== 1) words.push("shadows lifted");
  return words.join(", ");
}

function gammaFilter() {
  const steps = ["R", "G", "B"].map((name) =>
    shape(`feFunc${name}`, { type: "gamma", exponent: NIGHT_GAMMA, amplitude: 1, offset: 0 }),
  );
  const transfer = shape("feComponentTransfer", {}, ...steps);
  const filter = shape(
    "filter",
    { id: "lastbite-gamma", "color-interpolation-filters": "sRGB" },
    transfer,
  );
  return shape("svg", { width: 0, height: 0, "aria-hidden": "true", class: "hidden" }, filter);
}

// Wheel and drag on the stage; `desk` is a function, the one on screen may change.
function movable(stage, desk) {
  let from = null;
  const size = () => stage.getBoundingClientRect();
  const change = (looks) => {
    desk().looks = looks;
    desk().changed();
  };
  stage.addEventListener(
    "wheel",
    (event) => {
      const here = desk();
      if (!here?.shown || here.edit || (event.deltaY > 0 && here.looks.zoom === 1)) return;
      event.preventDefault();
      const box = size();
      const point = [
        (event.clientX - box.left) / box.width,
        (event.clientY - box.top) / box.height,
      ];
      change(zoomed(here.looks, Math.exp(-event.deltaY / 400), point));
    },
    { passive: false },
  );
  stage.addEventListener("pointerdown", (event) => {
    if (desk()?.edit || desk()?.looks.zoom === 1 || event.button) return;
    from = [event.clientX, event.clientY];
    stage.setPointerCapture(event.pointerId);
  });
  stage.addEventListener("pointermove", (event) => {
    if (!from) return;
    const box = size();
    const [dx, dy] = [
      (event.clientX - from[0]) / box.width,
      (event.clientY - from[1]) / box.height,
    ];
    from = [event.clientX, event.clientY];
    change(moved(desk().looks, dx, dy));
  });
  for (const name of ["pointerup", "pointercancel"]) {
    stage.addEventListener(name, () => {
      from = null;
    });
  }
}
