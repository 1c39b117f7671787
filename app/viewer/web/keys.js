// Decides what a key means: small letters and digits are the study's species, a letter with Shift
// is a tool; and when a key is left to the browser or to another control.

const TOOLS = [
  { deed: "blank", keys: [" "], shown: "Space", words: "Blank: nothing there", group: "Say who it was" },
  { deed: "unknown", keys: ["."], any: true, shown: ".", words: "Unknown: cannot tell" },
  { deed: "handler", keys: ["h"], shift: true, shown: "Shift+H", words: "Handler: our own people" },
  { deed: "unsure", keys: ["u"], shift: true, shown: "Shift+U", words: "Not sure, for the next tag" },
  { deed: "also", keys: ["a"], shift: true, shown: "Shift+A", words: "Another species too: stay here" },
  { deed: "comment", keys: ["c"], shift: true, shown: "Shift+C", words: "Comment; Esc leaves it" },
  { deed: "whereUp", keys: ["arrowup"], shown: "Up", words: "Nearer: fed, on the tray, near it", group: "Where, how many" },
  { deed: "whereDown", keys: ["arrowdown"], shown: "Down", words: "Further off" },
  { deed: "trayUp", keys: ["arrowup"], shift: true, shown: "Shift+Up", words: "The tray before, where there are several" },
  { deed: "trayDown", keys: ["arrowdown"], shift: true, shown: "Shift+Down", words: "The next tray" },
  { deed: "more", keys: ["+", "="], any: true, shown: "+", words: "One animal more", repeats: true },
  { deed: "fewer", keys: ["-"], any: true, shown: "-", words: "One animal fewer", repeats: true },
  { deed: "back", keys: ["arrowleft"], any: true, shown: "Left", words: "Photo before", repeats: true, group: "Look" },
  { deed: "onward", keys: ["arrowright"], any: true, shown: "Right", words: "Photo after", repeats: true },
  { deed: "firstPhoto", keys: ["home"], any: true, shown: "Home", words: "First photo" },
  { deed: "lastPhoto", keys: ["end"], any: true, shown: "End", words: "Last photo" },
  { deed: "zoom", keys: ["z"], shift: true, shown: "Shift+Z", words: "The original, large, and back; arrows move it" },
  { deed: "lighter", keys: ["l"], shift: true, shown: "Shift+L", words: "Lighter", repeats: true },
  { deed: "darker", keys: ["d"], shift: true, shown: "Shift+D", words: "Darker", repeats: true },
  { deed: "gamma", keys: ["g"], shift: true, shown: "Shift+G", words: "Lift the shadows of night photos, and back" },
  { deed: "play", keys: ["p"], shift: true, shown: "Shift+P", words: "Play the photos as a loop" },
  { deed: "outline", keys: ["o"], shift: true, shown: "Shift+O", words: "Outline of what changed" },
  { deed: "tray", keys: ["t"], shift: true, shown: "Shift+T", words: "Put the tray's outline right" },
  { deed: "nextRun", keys: ["pagedown"], any: true, shown: "Page Down", words: "Next run", repeats: true, group: "Go, put right" },
  { deed: "previousRun", keys: ["pageup"], any: true, shown: "Page Up", words: "Run before", repeats: true },
  { deed: "nextOpen", keys: ["enter"], shown: "Enter", words: "Next untagged run" },
  { deed: "split", keys: ["s"], shift: true, shown: "Shift+S", words: "Split the run before this photo" },
  { deed: "join", keys: ["j"], shift: true, shown: "Shift+J", words: "Join the run with the next" },
  { deed: "undo", keys: ["backspace"], any: true, shown: "Backspace or Ctrl+Z", words: "Undo" },
  { deed: "redo", keys: [], shown: "Ctrl+Y or Ctrl+Shift+Z", words: "Do again" },
  { deed: "help", keys: ["?"], any: true, shown: "?", words: "These keys; Esc closes" },
  { deed: "leave", keys: ["escape"], any: true, shown: "Esc", words: "Back: from the zoom, from a run to the sheet" },
];

const SHEET_TOOLS = [
  { deed: "left", keys: ["arrowleft"], shown: "Arrows", words: "Go from picture to picture", repeats: true },
  { deed: "right", keys: ["arrowright"], repeats: true },
  { deed: "up", keys: ["arrowup"], repeats: true },
  { deed: "down", keys: ["arrowdown"], repeats: true },
  { deed: "first", keys: ["home"], shown: "Home, End", words: "First and last picture" },
  { deed: "last", keys: ["end"] },
  { deed: "open", keys: ["enter"], shown: "Enter", words: "Look at this run alone; Esc comes back" },
  { deed: "pick", keys: [" "], shown: "Space", words: "Leave this run out, or take it in again" },
  { deed: "confirm", keys: ["b"], shift: true, shown: "Shift+B", words: "All that are in are blank" },
  { deed: "nextPage", keys: ["pagedown"], shown: "Page Down, Page Up", words: "Next page, page before" },
  { deed: "previousPage", keys: ["pageup"] },
  { deed: "undo", keys: ["backspace"], any: true, shown: "Backspace or Ctrl+Z", words: "Undo" },
  { deed: "redo", keys: [], shown: "Ctrl+Y or Ctrl+Shift+Z", words: "Do again" },
  { deed: "help", keys: ["?"], any: true, shown: "?", words: "These keys; Esc closes" },
];

function toolOf(deed) {
  return TOOLS.find((tool) => tool.deed === deed) ?? SHEET_TOOLS.find((tool) => tool.deed === deed);
}

// Gives {deed, species?, repeats?}; null for a key that means nothing here.
function deedOf(event, species, tools = TOOLS) {
  const undoing = undoKey(event);
  if (undoing) return { deed: undoing };
  if (event.ctrlKey || event.metaKey || event.altKey) return null;
  const known = speciesOf(event, species);
  if (known) return { deed: "species", species: known };
  const name = event.key.toLowerCase();
  const tool = tools.find(
    (one) => one.keys.includes(name) && (one.any || Boolean(one.shift) === event.shiftKey),
  );
  return tool ? { deed: tool.deed, repeats: tool.repeats } : null;
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

const NO_TEXT = new Set(["button", "checkbox", "color", "file", "image", "radio", "range", "reset", "submit"]);
const TEXT_ROLES = new Set(["combobox", "listbox", "option", "searchbox", "spinbutton", "textbox"]);

// What is typed here is text, or a choice from a list: never a tag.
function isTyping(target) {
  if (!(target instanceof Element)) return false;
  if (target.isContentEditable || target.matches("textarea, select, iframe")) return true;
  if (TEXT_ROLES.has(target.getAttribute("role"))) return true;
  return target.matches("input") && !NO_TEXT.has((target.getAttribute("type") ?? "text").toLowerCase());
}

const OWN_KEYS = new Set([" ", "Enter", "ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Home", "End"]);

// Somebody who walked to a control with the keyboard presses it with Space and Enter.
function isForControl(event, target) {
  if (!OWN_KEYS.has(event.key) || !(target instanceof Element)) return false;
  if (!target.matches("a, button, input, summary, [role='radio'], [role='tab'], [role='slider'], [role='menuitem']")) {
    return false;
  }
  if (!target.matches(":focus-visible")) return false;
  if (event.key === " ") return true;
  if (event.key === "Enter") return !target.matches("input");
  return target.matches("input, [role='radio'], [role='tab'], [role='slider'], [role='menuitem']");
}

// A dialog of the page around the viewer has the keys while it is open.
function isDialogOpen() {
  return [...document.querySelectorAll('[role="dialog"], dialog[open]')].some(
    (one) => one.getClientRects().length > 0,
  );
}
