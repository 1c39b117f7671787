// Decides what a key means: small letters and digits are the study's species, a letter with Shift
// is a tool; and when a key is left to the browser or to another control.

function tool(deed, keys, shown, words, more = {}) {
  return { deed, keys, shown, words, ...more };
}

const TOOLS = [
  tool("blank", [" "], "Space", "Blank: nothing there", { group: "Say who it was" }),
  tool("unknown", ["."], ".", "Unknown: cannot tell", { any: true }),
  tool("handler", ["h"], "Shift+H", "Handler: our own people", { shift: true }),
  tool("unsure", ["u"], "Shift+U", "Not sure, for the next tag", { shift: true }),
  tool("also", ["a"], "Shift+A", "Another species too: stay here", { shift: true }),
  tool("comment", ["c"], "Shift+C", "Comment; Esc leaves it", { shift: true }),
  tool(
    "whereUp",
    ["arrowup"],
    "Up",
    "Nearer: fed, on the tray, near it",
    { group: "Where, how many" },
  ),
  tool("whereDown", ["arrowdown"], "Down", "Further off"),
  tool(
    "trayUp",
    ["arrowup"],
    "Shift+Up",
    "The tray before, where there are several",
    { shift: true },
  ),
  tool("trayDown", ["arrowdown"], "Shift+Down", "The next tray", { shift: true }),
  tool("more", ["+", "="], "+", "One animal more", { any: true, repeats: true }),
  tool("fewer", ["-"], "-", "One animal fewer", { any: true, repeats: true }),
  tool("back", ["arrowleft"], "Left", "Photo before", { any: true, repeats: true, group: "Look" }),
  tool("onward", ["arrowright"], "Right", "Photo after", { any: true, repeats: true }),
  tool("firstPhoto", ["home"], "Home", "First photo", { any: true }),
  tool("lastPhoto", ["end"], "End", "Last photo", { any: true }),
  tool("zoom", ["z"], "Shift+Z", "The original, large, and back; arrows move it", { shift: true }),
  tool("lighter", ["l"], "Shift+L", "Lighter", { shift: true, repeats: true }),
  tool("darker", ["d"], "Shift+D", "Darker", { shift: true, repeats: true }),
  tool("gamma", ["g"], "Shift+G", "Lift the shadows of night photos, and back", { shift: true }),
  tool("play", ["p"], "Shift+P", "Play the photos as a loop", { shift: true }),
  tool("outline", ["o"], "Shift+O", "Outline of what changed", { shift: true }),
  tool("tray", ["t"], "Shift+T", "Put the tray's outline right", { shift: true }),
  tool("reference", ["r"], "Shift+R",
    "Instructor: this photo a reference, or none; then its species' key", { shift: true }),
  tool(
    "nextRun",
    ["pagedown"],
    "Page Down",
    "Next run",
    { any: true, repeats: true, group: "Go, put right" },
  ),
  tool("previousRun", ["pageup"], "Page Up", "Run before", { any: true, repeats: true }),
  tool("nextOpen", ["enter"], "Enter", "Next untagged run"),
  tool("split", ["s"], "Shift+S", "Split the run before this photo", { shift: true }),
  tool("join", ["j"], "Shift+J", "Join the run with the next", { shift: true }),
  tool("undo", ["backspace"], "Backspace or Ctrl+Z", "Undo", { any: true }),
  tool("redo", [], "Ctrl+Y or Ctrl+Shift+Z", "Do again"),
  tool("help", ["?"], "?", "These keys; Esc closes", { any: true }),
  tool("leave", ["escape"], "Esc", "Back: from the zoom, from a run to the sheet", { any: true }),
];

const SHEET_TOOLS = [
  tool("left", ["arrowleft"], "Arrows", "Go from picture to picture", { repeats: true }),
  tool("right", ["arrowright"], "", "", { repeats: true }),
  tool("up", ["arrowup"], "", "", { repeats: true }),
  tool("down", ["arrowdown"], "", "", { repeats: true }),
  tool("first", ["home"], "Home, End", "First and last picture"),
  tool("last", ["end"], "", ""),
  tool("open", ["enter"], "Enter", "Look at this run alone; Esc comes back"),
  tool("pick", [" "], "Space", "Leave this run out, or take it in again"),
  tool("confirm", ["b"], "Shift+B", "All that are in are blank", { shift: true }),
  tool("nextPage", ["pagedown"], "Page Down, Page Up", "Next page, page before"),
  tool("previousPage", ["pageup"], "", ""),
  tool("undo", ["backspace"], "Backspace or Ctrl+Z", "Undo", { any: true }),
  tool("redo", [], "Ctrl+Y or Ctrl+Shift+Z", "Do again"),
  tool("help", ["?"], "?", "These keys; Esc closes", { any: true }),
];

function toolOf(deed) {
  return TOOLS.find((tool) => tool.deed === deed) ?? SHEET_TOOLS.find((tool) => tool.deed === deed);
}

// How a tool is reached; a study from before these keys were refused may have one as a species'.
// With Shift a letter is never a species.
function wayTo({ keys, shown, shift }, species) {
  const taken = (key) => !shift && species.some((one) => one.key === key);
  return keys.length && keys.every(taken) ? "its button" : shown;
}

// Gives {deed, species?, repeats?}; null for a key that means nothing here.
function deedOf(event, species, tools = TOOLS) {
  const undoing = undoKey(event);
  if (undoing) return { deed: undoing };
  if (event.ctrlKey || event.metaKey || event.altKey) return null;
  const known = speciesOf(event, species);
  if (known) return { deed: "species", species: known };
  const name = event.key.toLowerCase();
  const found = tools.find(
    (one) => one.keys.includes(name) && (one.any || Boolean(one.shift) === event.shiftKey),
  );
  return found ? { deed: found.deed, repeats: found.repeats } : null;
}

function undoKey(event) {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return null;
  const name = event.key.toLowerCase();
  if (name === "z") return event.shiftKey ? "redo" : "undo";
  return name === "y" && !event.shiftKey ? "redo" : null;
}

// A species key wins over a tool; digits are found on keyboards that need Shift for them too.
function speciesOf(event, species) {
  if (event.key.length !== 1) return null;
  const typed = event.key.toLowerCase();
  const isLetter = typed !== event.key.toUpperCase();
  const exact = species.find((one) => one.key.toLowerCase() === typed);
  if (exact && !(event.shiftKey && isLetter)) return exact;
  const digit = /^(?:Digit|Numpad)([0-9])$/.exec(event.code)?.[1];
  if (!digit || event.shiftKey) return null;
  return species.find((one) => one.key === digit) ?? null;
}

const NO_TEXT = new Set(
  "button checkbox color file image radio range reset submit".split(" "),
);
const TEXT_ROLES = new Set(["combobox", "listbox", "option", "searchbox", "spinbutton", "textbox"]);

// What is typed here is text, or a choice from a list: never a tag.
function isTyping(target) {
  if (!(target instanceof Element)) return false;
  if (target.isContentEditable || target.matches("textarea, select, iframe")) return true;
  if (TEXT_ROLES.has(target.getAttribute("role"))) return true;
  if (!target.matches("input")) return false;
  return !NO_TEXT.has((target.getAttribute("type") ?? "text").toLowerCase());
}

const CONTROLS = "a, button, input, summary, [role='tab'], ";
const SEVERAL = "[role='radio'], [role='slider'], [role='menuitem']";
const OWN_KEYS = new Set(
  [" ", "Enter", "Home", "End"].concat(["Left", "Right", "Up", "Down"].map((one) => `Arrow${one}`)),
);

// Somebody who walked to a control with the keyboard presses it with Space and Enter; a control
// that was pressed with the pointer has the focus too, and takes no key.
let walked = true;

// The control that somebody walked to. Space and Enter are its own until they go to the viewer: by
// a click, Esc, or a letter that tags. So they are when it is gone by then.
let atControl = null;

function noteWay(event) {
  if (event.type === "pointerdown") {
    walked = false;
    atControl = null;
  } else if (event.key === "Tab") {
    walked = true;
  }
}

// Inside a component nobody outside is told where the focus goes, so each view listens too.
function noteControl(event) {
  const target = event.composedPath()[0];
  if (!(target instanceof Element)) return;
  const isControl = target.matches(CONTROLS + SEVERAL) && !isTyping(target);
  atControl = walked && isControl ? target : null;
}

// Gives the keys to a view, away from the control that had them.
function giveKeys(root) {
  atControl = null;
  root.focus({ preventScroll: true });
}

// Esc, and a letter that tags, are keys of somebody who is back at the photos.
function takesKeys(event, meant) {
  return meant.deed === "leave" || (meant.deed === "species" && /^\p{L}$/u.test(event.key));
}

// Space or Enter of somebody whose control went away under them: nobody's key.
function isAstray(event, target) {
  return atControl !== null && target !== atControl && [" ", "Enter"].includes(event.key);
}

function astrayWords(event) {
  const name = event.key === " " ? "Space" : event.key;
  if (atControl.isConnected) atControl.focus({ preventScroll: true });
  return `The button you were at is gone, so ${name} did nothing. Esc gives the keys to the photos.`;
}

function isForControl(event, target) {
  if (!OWN_KEYS.has(event.key) || !(target instanceof Element)) return false;
  if (!walked || !target.matches(CONTROLS + SEVERAL)) return false;
  if (event.key === " ") return true;
  if (event.key === "Enter") return !target.matches("input");
  return target.matches(`input, [role='tab'], ${SEVERAL}`);
}

// A dialog of the page around the viewer has the keys while it is open.
function isDialogOpen() {
  return [...document.querySelectorAll('[role="dialog"], dialog[open]')].some(
    (one) => one.getClientRects().length > 0,
  );
}
