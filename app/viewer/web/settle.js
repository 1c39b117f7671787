// Decides what a key or a press on the Settle page does; what is to settle outlives a drawing.

const SETTLE_MOUNTED = Symbol.for("lastbite.settle");
const SETTLE_TOOLS = [
  tool("blank", [" "], "Space", "Rule: blank, nothing there"),
  tool("unknown", ["."], ".", "Rule: unknown, cannot tell", { any: true }),
  tool("handler", ["h"], "Shift+H", "Rule: handler, our own people", { shift: true }),
  tool("as", [], "Shift+1, Shift+2 …", "Rule as this reader said"),
  tool("whereUp", ["arrowup"], "Up, Down", "Where: nearer (fed, on the tray), further off"),
  tool("whereDown", ["arrowdown"], "", ""),
  tool("also", ["a"], "Shift+A", "Another species too: stay here", { shift: true }),
  tool("reason", ["c"], "Shift+C", "Reason of the ruling; Esc leaves it", { shift: true }),
  tool("mark", ["r"], "Shift+R", "Make this photo a reference; then a species key",
    { shift: true }),
  tool("back", ["arrowleft"], "Left, Right", "Photo before, photo after",
    { any: true, repeats: true }),
  tool("onward", ["arrowright"], "", "", { any: true, repeats: true }),
  tool("firstPhoto", ["home"], "Home, End", "First and last photo", { any: true }),
  tool("lastPhoto", ["end"], "", "", { any: true }),
  tool("zoom", ["z"], "Shift+Z", "The original, large; the pointer moves it", { shift: true }),
  tool("next", ["pagedown"], "Page Down, Page Up", "Next visit, visit before", { any: true }),
  tool("previous", ["pageup"], "", "", { any: true }),
  tool("nextOpen", ["enter"], "Enter", "Next visit that is not settled"),
  tool("undo", ["backspace"], "Backspace or Ctrl+Z", "Take the last ruling back", { any: true }),
  tool("redo", [], "Ctrl+Y", "Let it hold again"),
  tool("rulings", ["l"], "Shift+L", "All rulings, to take one back", { shift: true }),
  tool("gallery", ["g"], "Shift+G", "All reference photos, to take one off", { shift: true }),
  tool("help", ["?"], "?", "These keys", { any: true }),
  tool("leave", ["escape"], "Esc", "Leave the zoom, the marking, these keys", { any: true }),
];

const lists = new Map(); // study and person -> Settling
let open = null; // {view, settling}

const SETTLE_DEEDS = {
  species: (one, key) => one.ruleSpecies(key),
  blank: (one) => one.ruleSpecies("blank"),
  unknown: (one) => one.ruleSpecies("unknown"),
  handler: (one) => one.ruleSpecies("handler"),
  as: (one, number) => one.ruleAs(number),
  where: (one, where) => set(one, { where }),
  whereUp: (one) => stepSettleWhere(one, -1),
  whereDown: (one) => stepSettleWhere(one, 1),
  trayIs: (one, tray) => set(one, { tray }),
  also: (one) => set(one, { also: !one.also }),
  reason: () => open.view.reason.focus(),
  reasoned: (one, reason) => {
    one.reason = reason;
  },
  mark: (one) => {
    one.marking = !one.marking;
    one.say(one.marking ? "A reference of which species? Press its key; Esc leaves." : "");
  },
  photo: (one, at) => one.look(at),
  back: (one) => one.look(one.photo - 1),
  onward: (one) => one.look(one.photo + 1),
  firstPhoto: (one) => one.look(0),
  lastPhoto: (one) => one.look(Infinity),
  zoom: (one) => set(one, { zoomed: !one.zoomed }),
  next: (one) => one.to(one.at + 1),
  previous: (one) => one.previous(),
  nextOpen: (one) => one.toOpen(),
  undo: (one) => one.undo(),
  redo: (one) => one.redo(),
  rulings: (one) => {
    one.loadRulings();
    open.view.rulings.show();
  },
  takeBack: (one, ruling) => {
    open.view.rulings.root.close();
    giveKeys(open.view.root);
    one.takeBackRuling(ruling);
  },
  gallery: (one) => {
    open.view.gallery.show();
    one.changed();
  },
  takeOff: (one, reference) => one.turnReference(reference, false),
  help: () => open.view.keys.showModal(),
  leave: (one) => {
    open.view.root.querySelector("dialog[open]")?.close();
    set(one, { zoomed: false, marking: false, also: false });
  },
};

function set(one, values) {
  Object.assign(one, values);
  one.changed();
}

function stepSettleWhere(one, step) {
  const names = ["", ...one.data.where.map(([name]) => name)];
  const at = Math.max(0, Math.min(names.indexOf(one.where) + step, names.length - 1));
  set(one, { where: names[at] });
}

function settleAct(deed, value) {
  const { settling } = open;
  if (!["help", "leave", "reasoned", "rulings", "gallery"].includes(deed)) settling.refused = "";
  SETTLE_DEEDS[deed](settling, value);
}

// Shift and a digit is a reader; a digit alone is a species where the study has one.
function settleMeaning(event, settling) {
  const digit = /^(?:Digit)([1-9])$/.exec(event.code)?.[1];
  const bare = !event.ctrlKey && !event.metaKey && !event.altKey;
  if (digit && event.shiftKey && bare) return { deed: "as", value: Number(digit) };
  const meant = deedOf(event, settling.data.species, SETTLE_TOOLS);
  return meant ? { ...meant, value: meant.species?.key } : null;
}

function settlePressed(event) {
  if (!open?.view.root.isConnected || event.isComposing) return;
  const target = event.composedPath()[0];
  if (isTyping(target) || isDialogOpen() || open.view.root.querySelector("dialog[open]")) return;
  if (isAstray(event, target)) {
    event.preventDefault();
    event.stopImmediatePropagation();
    open.settling.say(astrayWords(event));
    return;
  }
  if (isForRadio(event, target)) return;
  if (isForControl(event, target)) return;
  const meant = settleMeaning(event, open.settling);
  if (meant) {
    event.preventDefault();
    event.stopImmediatePropagation();
    if (takesKeys(event, meant)) giveKeys(open.view.root);
    if (!event.repeat || meant.repeats) settleAct(meant.deed, meant.value);
  } else if (["r", "c"].includes(event.key.toLowerCase()) && !event.ctrlKey && !event.metaKey) {
    event.stopImmediatePropagation();
  }
}

// Arrows on a group of choices that was walked to choose within it.
function isForRadio(event, target) {
  const group = target instanceof Element ? target.closest(".segments") : null;
  const step = { ArrowUp: -1, ArrowLeft: -1, ArrowDown: 1, ArrowRight: 1 }[event.key];
  if (!group || !step || !walked || event.ctrlKey || event.metaKey || event.altKey) return false;
  event.preventDefault();
  event.stopImmediatePropagation();
  const choices = [...group.children];
  const at = choices.findIndex((one) => one.getAttribute("aria-checked") === "true") + step;
  choices[Math.max(0, Math.min(at, choices.length - 1))].click();
  group.querySelector("[aria-checked='true']")?.focus();
  return true;
}

function settleListen() {
  window.addEventListener("pointerdown", noteWay, true);
  window.addEventListener("keydown", noteWay, true);
  window.addEventListener("focusin", noteControl, true);
  window.addEventListener("keydown", settlePressed, true);
  window.addEventListener("beforeunload", (event) => {
    if ([...lists.values()].some((one) => one.outbox.waiting.size)) event.preventDefault();
  });
  window.addEventListener("pagehide", () => lists.forEach((one) => one.outbox.leave()));
  setInterval(() => lists.forEach((one) => one.outbox.tick()), RETRY_MS);
}

export default function settle({ data, parentElement }) {
  if (!window[SETTLE_MOUNTED]) {
    window[SETTLE_MOUNTED] = true;
    settleListen();
  }
  const place = parentElement.querySelector(".lastbite-place") ?? parentElement;
  ofStudy = data.study;
  const key = `${data.study}:${data.who}`;
  if (!lists.has(key)) lists.set(key, new Settling(data, () => drawOpen(key)));
  const settling = lists.get(key);
  settling.data = data;
  settling.outbox.tickets.set(data.who, data.ticket);
  const look = JSON.stringify([data.species, data.where, data.who]);
  if (place[SETTLE_MOUNTED]?.look !== look) {
    place[SETTLE_MOUNTED] = { look, view: new SettleView(place, data, settleAct) };
  }
  const { view } = place[SETTLE_MOUNTED];
  const isNew = open?.view !== view;
  open = { view, settling, key };
  if (isNew) settling.load();
  view.draw(settling);
  if (isNew) view.root.focus({ preventScroll: true });
  return () => {
    if (open?.view === view) open = null;
    place[SETTLE_MOUNTED] = undefined;
  };
}

function drawOpen(key) {
  if (open?.key === key) open.view.draw(open.settling);
}
