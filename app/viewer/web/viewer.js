// Decides what a key or a press does, and holds all that outlives a drawing of the page: the
// desks, the people, the outbox. Streamlit calls the last function whenever the page is drawn.

const MOUNTED = Symbol.for("lastbite.viewer");
const MOST_DESKS = 6;

const outboxes = new Map(); // study -> Outbox
const people = new Map(); // study and person -> Person
const desks = new Map(); // person, placement and list -> Desk
const sentBefore = new Set(); // photos that somebody was sent to
let screen = null; // {view, desk}: what is on the page now

function outboxOf(study) {
  if (!outboxes.has(study)) {
    const outbox = new Outbox(study);
    outbox.refusals = new Refusals(study);
    outbox.changed.push(() => screen?.view.draw());
    outbox.answered.push((item, done, refused) => takeAnswer(outbox, item, done, refused));
    outboxes.set(study, outbox);
  }
  return outboxes.get(study);
}

// Of somebody who is not here, or whose page is closed, too: a refusal is told to whoever is here.
function takeAnswer(outbox, item, done, refused) {
  const person = people.get(item.who);
  if (refused && !(person && isRepeated(person, item))) outbox.refusals.add(item, refused);
  const pairs = person ? answered(person, item, done, refused) : [];
  for (const desk of desks.values()) {
    if (desk.person !== person) continue;
    for (const [first, last] of pairs) desk.queue.refresh(first, last);
  }
  screen?.view.draw();
}

function personOf(data) {
  const name = `${data.study}:${data.instructor ? "instructor" : "tagger"}:${data.who}`;
  const outbox = outboxOf(data.study);
  outbox.tickets.set(name, data.ticket);
  if (!people.has(name)) people.set(name, new Person(name, data.who, outbox));
  return people.get(name);
}

// The desk of a list: the one that was there before, so that a page drawn anew loses nothing.
function deskOf(data) {
  const person = personOf(data);
  const key = [person.name, data.placement, data.show, data.order, data.mode].join("\n");
  let desk = desks.get(key);
  desks.delete(key);
  desk ??= new Desk(data, person, () => {
    if (screen?.desk === desk) screen.view.draw();
  });
  desks.set(key, desk);
  if (desks.size > MOST_DESKS) desks.delete(desks.keys().next().value);
  desk.data = data;
  followSent(desk);
  return desk;
}

// Somebody was sent here from another page, to a photo: that is followed once.
function followSent(desk) {
  const { placement, start, reload } = desk.data;
  const order = `${placement}:${start}:${reload}`;
  if (!start || sentBefore.has(order)) return;
  sentBefore.add(order);
  if (desk.queue.loaded) goTo(desk, start);
  else desk.start = start;
}

async function goTo(desk, photo) {
  const at = await desk.placeOfPhoto(photo).catch(() => -1);
  if (at >= 0) desk.to(at);
}

// --- deeds -----------------------------------------------------------------------------------

const DEEDS = {
  species: (desk, key) => tag(desk, key),
  blank: (desk) => tag(desk, "blank"),
  unknown: (desk) => tag(desk, "unknown"),
  handler: (desk) => tag(desk, "handler"),
  unsure: (desk) => change(
    desk,
    { sure: !desk.sure },
    desk.sure ? "Not sure, for the next tag." : "Sure.",
  ),
  also: (desk) => change(
    desk,
    { also: !desk.also },
    desk.also ? "One species." : "Another species too: tags are added, and you stay here.",
  ),
  comment: () => screen.view.panel.comment.focus(),
  commented: (desk, words) => {
    desk.comment = words;
  },
  typed: (desk, letter) => {
    desk.comment += letter;
    desk.changed();
  },
  commentLeft: () => giveKeys(screen.view.root),
  where: (desk, where) => setWhere(desk, where),
  whereUp: (desk) => stepWhere(desk, -1),
  whereDown: (desk) => stepWhere(desk, 1),
  answerWhere: (desk, where) => answerWhere(desk, where),
  cancelWhere: (desk) => cancelWhere(desk),
  trayIs: (desk, tray) => change(
    desk,
    { tray },
    tray ? `Tray ${tray}.` : "Which tray: cannot tell.",
  ),
  trayUp: (desk) => stepTray(desk, -1),
  trayDown: (desk) => stepTray(desk, 1),
  more: (desk) => change(desk, { count: Math.min(999, desk.count + 1) }),
  fewer: (desk) => change(desk, { count: Math.max(1, desk.count - 1) }),
  back: (desk) => sideways(desk, -1),
  onward: (desk) => sideways(desk, 1),
  firstPhoto: (desk) => desk.look(0),
  lastPhoto: (desk) => desk.look(Infinity),
  zoom: (desk) => toggleZoom(desk),
  lighter: (desk) => light(desk, lit(desk.light, LIGHT_STEP)),
  darker: (desk) => light(desk, lit(desk.light, 1 / LIGHT_STEP)),
  gamma: (desk) => light(desk, { ...desk.light, gamma: desk.light.gamma === 1 ? NIGHT_GAMMA : 1 }),
  play: (desk) => togglePlay(desk),
  outline: (desk) => toggleOutline(desk),
  tray: (desk) => (desk.edit ? cancelTray(desk) : editTray(desk)),
  reference: (desk) => askReference(desk),
  takeOff: (desk, { photo, species }) => turnReference(desk, photo, species, false),
  nextRun: (desk) => desk.step(1),
  previousRun: (desk) => desk.step(-1),
  nextOpen: (desk) => desk.toOpen(),
  split: (desk) => split(desk),
  join: (desk) => join(desk),
  twice: (desk) => desk.say("Pressed twice at once: it counts once."),
  takeBack: (desk, tagged) => takeBack(desk, tagged),
  undo: (desk) => undo(desk),
  redo: (desk) => redo(desk),
  help: (desk) => screen.view.keySheet.open(desk.isSheet),
  leave: (desk) => leave(desk),
  showRun: (desk, run) => desk.show(run.first, run.last),
  faultRead: (desk, fault) => {
    desk.person.outbox.refusals.read(fault.id);
    desk.changed();
  },
  open: (desk, run) => openFromSheet(desk, run),
  pick: (desk, run) => pickRun(desk, run),
  confirm: () => screen.view.sheet.say(),
  nextPage: (desk) => toPage(desk, desk.page + 1),
  previousPage: (desk) => toPage(desk, desk.page - 1),
};

function act(deed, value) {
  const { desk } = screen;
  if (desk.joining) desk.joining.push(() => DEEDS[deed](desk, value));
  else DEEDS[deed](desk, value);
}

function change(desk, values, words = "") {
  Object.assign(desk, values);
  if (words) desk.say(words);
  else desk.changed();
}

function setWhere(desk, where) {
  desk.person.set("where", where);
  desk.say(`Where: ${whereWords(desk, where)}.`);
}

function stepWhere(desk, step) {
  if (desk.looks.zoom > 1) {
    pan(desk, 0, step);
    return;
  }
  const names = desk.data.where.map(([name]) => name);
  const at = names.indexOf(desk.where);
  const next = at < 0 ? (step > 0 ? 0 : names.length - 1) : at + step;
  setWhere(desk, names[Math.max(0, Math.min(next, names.length - 1))]);
}

// The tag is of the run that was on screen when its key was pressed, whatever is there by now.
function answerWhere(desk, where) {
  const { act: asked, run, row, held } = desk.question;
  desk.question = null;
  setWhere(desk, where);
  if (!focusIn(screen.view.root)) giveKeys(screen.view.root);
  run.row ??= row;
  const fault = refusal(desk, run);
  if (fault) desk.say(fault);
  else tagRun(desk, run, { ...asked, where });
  pressHeld(desk, held);
}

function cancelWhere(desk) {
  const { held } = desk.question;
  const lost = held.length ? ` ${many(held.length, "key")} pressed since did nothing.` : "";
  change(desk, { question: null }, `Nothing was tagged.${lost}`);
}

// Keys that come while it is asked where the animal was wait for the answer; what is typed after
// the key of the comment is the comment's. Gives whether the key is dealt with.
function holdKey(desk, event) {
  const { question } = desk;
  if (!question || event.isComposing) return false;
  const types = question.held.some((one) => one.deed === "comment");
  const isLetter = event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey;
  const meant = types && isLetter
    ? { deed: "typed", value: event.key }
    : deedOf(event, desk.data.species);
  if (!meant || meant.deed === "leave") return false;
  question.note = "";
  if (["nextOpen", "help"].includes(meant.deed)) question.note = "First say where: Up or Down.";
  else question.held.push({ deed: meant.deed, value: meant.value ?? meant.species?.key });
  desk.changed();
  return true;
}

// The keys that waited, in order. Where the last of them led to another kind of page, the rest
// would mean something else there.
function pressHeld(desk, held) {
  let left = 0;
  for (const { deed, value } of held) {
    if (desk.edit || (desk.isSheet && !(deed in COMMON))) left += 1;
    else act(deed, value);
  }
  if (left) desk.say(`${many(left, "key")} pressed meanwhile did nothing here.`);
}

function stepTray(desk, step) {
  const names = ["", ...(desk.row?.trays ?? [])];
  if (names.length === 1) {
    desk.say("Only one tray can be meant here.");
    return;
  }
  const at = Math.max(0, Math.min(names.indexOf(desk.tray) + step, names.length - 1));
  DEEDS.trayIs(desk, names[at]);
}

function sideways(desk, step) {
  if (desk.looks.zoom > 1) pan(desk, step, 0);
  else desk.look(desk.photo + step);
}

function pan(desk, dx, dy) {
  change(desk, { looks: moved(desk.looks, -dx * 0.15, -dy * 0.15) });
}

function toggleZoom(desk) {
  if (!desk.shown) return;
  const out = desk.looks.zoom > 1;
  const looks = out ? { zoom: 1, x: 0, y: 0 } : zoomed(
    desk.looks,
    KEY_ZOOM,
    screen.view.picture.middle(interest(desk)),
  );
  change(
    desk,
    { looks },
    out ? "The whole picture." : "Enlarged, from the original. Arrows move it.",
  );
}

function light(desk, value) {
  if (!desk.shown) return;
  desk.light = value;
  desk.say(lightWords(value) ? `Shown ${lightWords(value)}.` : "Shown as it is.");
}

function togglePlay(desk) {
  const plays = desk.person.settings.play && !stillFor(desk);
  desk.person.set("play", !plays && desk.run ? runKey(desk.run) : false);
  desk.say(plays ? "The loop stands." : "The photos play as a loop.");
}

function toggleOutline(desk) {
  const on = !desk.person.settings.outline;
  desk.person.set("outline", on);
  const photo = desk.shown;
  if (!on) {
    desk.say("Outlines off.");
  } else if (photo?.change === null) {
    desk.queue.refresh(desk.run.first, desk.run.last); // it may have been, since it was fetched
    desk.say("This photo is not compared with its quiet scene yet.");
  } else if (photo?.outline.length) {
    desk.say("What changed against the quiet scene is outlined.");
  } else {
    desk.say("Nothing stands out. A still or small animal may be there all the same.");
  }
}

function leave(desk) {
  if (desk.marking) change(desk, { marking: false }, "No reference was taken.");
  else if (desk.looks.zoom > 1) toggleZoom(desk);
  else if (desk.openedFrom !== null) {
    const key = desk.run ? runKey(desk.run) : "";
    backToSheet(desk);
    screen.view.sheet.focusRun(key);
  }
}

function openFromSheet(desk, run) {
  openRun(desk, run);
  screen.view.root.scrollIntoView({ block: "start" });
  giveKeys(screen.view.root);
}

// --- keys ------------------------------------------------------------------------------------

// Keys that mean nothing here are left alone, but for two of Streamlit's own.
function pressed(event) {
  if (!screen?.view.root.isConnected || event.isComposing) return;
  const target = event.composedPath()[0];
  if (isTyping(target) || isDialogOpen() || isOwnDialogOpen()) return;
  const { desk, view } = screen;
  if (isAstray(event, target)) {
    stop(event);
    desk.say(astrayWords(event));
    return;
  }
  const isTile = target instanceof Element && target.matches(".tile");
  const isOurs = isTile || !isForControl(event, target);
  const meant = radioDeed(event, target) ?? (isOurs ? meaningOf(desk, event) : null);
  if (meant?.drawn) {
    stop(event);
  } else if (meant) {
    stop(event);
    if (takesKeys(event, meant)) giveKeys(view.root);
    if (!event.repeat || meant.repeats) press(view, desk, meant);
  } else if (["r", "c"].includes(event.key.toLowerCase()) && !event.ctrlKey && !event.metaKey) {
    event.stopImmediatePropagation();
  }
}

// While the tray is drawn its keys have no other meaning.
function meaningOf(desk, event) {
  if (desk.isSheet) return deedOf(event, [], SHEET_TOOLS);
  if (!desk.edit) return deedOf(event, desk.data.species);
  if (event.ctrlKey || event.metaKey || event.altKey) return null;
  return trayKey(desk, event) ? { drawn: true } : null;
}

// Arrows on a group of choices that was walked to choose within it.
function radioDeed(event, target) {
  const group = target instanceof Element ? target.closest(".dial, .trays") : null;
  const step = { ArrowUp: "Up", ArrowLeft: "Up", ArrowDown: "Down", ArrowRight: "Down" }[event.key];
  if (!group || !step || !walked || event.ctrlKey || event.metaKey || event.altKey) return null;
  return { deed: `${group.matches(".trays") ? "tray" : "where"}${step}`, group };
}

function stop(event) {
  event.preventDefault();
  event.stopImmediatePropagation();
}

function press(view, desk, { deed, species, group }) {
  if (desk.isSheet && !(deed in COMMON)) sheetDeed(view.sheet, deed);
  else act(deed, species?.key);
  group?.querySelector("[aria-checked='true']")?.focus();
}

const COMMON = { undo: true, redo: true, help: true };

function isOwnDialogOpen() {
  return screen.view.root.querySelector("dialog[open]") !== null;
}

// --- the page --------------------------------------------------------------------------------

function leaving(event) {
  const waits = [...outboxes.values()].some((outbox) => outbox.waiting.size);
  if (waits) event.preventDefault();
}

function listen() {
  window.addEventListener("pointerdown", noteWay, true);
  window.addEventListener("keydown", noteWay, true);
  window.addEventListener("focusin", noteControl, true);
  window.addEventListener("keydown", pressed, true);
  window.addEventListener("beforeunload", leaving);
  window.addEventListener("pagehide", () => outboxes.forEach((outbox) => outbox.leave()));
  window.addEventListener("online", () => outboxes.forEach((outbox) => outbox.send()));
  setInterval(tick, RETRY_MS);
  setInterval(() => screen?.view.root.isConnected && screen.view.picture.playOn(), FRAME_MS);
  setInterval(() => screen?.desk.isSheet && screen.view.draw(), 500);
}

function tick() {
  for (const outbox of outboxes.values()) outbox.tick();
  if (!screen?.view.root.isConnected) return;
  const { desk } = screen;
  if (!desk.queue.loaded || sheetIsDone(desk)) desk.begin();
  else desk.queue.ensure(desk.isSheet ? desk.page * PAGE : desk.at);
}

// Somebody who chose from a list above goes on with the keys at once.
function takeFocus(view, desk) {
  const here = document.activeElement;
  const idle = !here || here === document.body;
  const isList = here?.getAttribute("role") === "combobox";
  const chose = isList && here.getAttribute("aria-expanded") !== "true";
  if ((!idle && !chose) || (idle && atControl)) return;
  giveKeys(view.root);
  if (desk.isSheet) view.sheet.begin();
}

export default function viewer({ data, parentElement }) {
  if (!window[MOUNTED]) {
    window[MOUNTED] = true;
    listen();
  }
  const place = parentElement.querySelector(".lastbite-place") ?? parentElement;
  ofStudy = data.study;
  const desk = deskOf(data);
  const look = JSON.stringify([data.species, data.where, data.instructor]);
  const same = place[MOUNTED]?.look === look;
  const isNew = screen?.desk !== desk;
  if (!same) place[MOUNTED] = { look, view: new View(place, data, () => screen?.desk, act) };
  const { view } = place[MOUNTED];
  screen = { view, desk };
  if (!desk.queue.loaded || (!same && Date.now() - desk.queue.loadedAt > REFRESH_MS)) desk.begin();
  else if (!same) desk.queue.ensure(desk.at);
  view.draw();
  if (isNew) takeFocus(view, desk);
  return () => {
    if (screen?.view === view) screen = null;
    place[MOUNTED] = undefined;
  };
}
