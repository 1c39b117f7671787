// Decides how elements, ids and small words are made; text goes in as text, never as HTML.

const SVG = "http://www.w3.org/2000/svg";

function el(name, attributes = {}, ...inside) {
  return filled(document.createElement(name), attributes, inside);
}

function shape(name, attributes = {}, ...inside) {
  return filled(document.createElementNS(SVG, name), attributes, inside);
}

function filled(node, attributes, inside) {
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else setAttribute(node, name, value);
  }
  node.append(...inside.filter((one) => one !== null && one !== undefined));
  return node;
}

// A browser keeps pictures by their address: that of another study's photo, or of what another file
// holds under the same number now, must be another address.
let ofStudy = "";

function addressOf(size, { id, edition }) {
  return `/photo/${size}/${id}?of=${ofStudy}&edition=${edition}`;
}

// Undefined, null and false take the attribute away; true leaves it empty.
function setAttribute(node, name, value) {
  if (value === undefined || value === null || value === false) {
    node.removeAttribute(name);
    return;
  }
  const words = value === true ? "" : String(value);
  if (node.getAttribute(name) !== words) node.setAttribute(name, words);
}

function setText(node, words) {
  if (node.textContent !== words) node.textContent = words;
}

function setState(node, name, holds) {
  setAttribute(node, `aria-${name}`, holds ? "true" : "false");
}

// A button never takes the focus from a pointer: what is typed next still reaches the keys. One
// that is off says so and does nothing, but keeps the focus: were it `disabled`, the browser would
// give the focus to nobody, and the next Space would be a key of the viewer.
function button(words, press, attributes = {}) {
  const inside = Array.isArray(words) ? words : [words];
  const pressed = (event) => {
    if (!event.currentTarget.closest("[aria-disabled='true']")) press(event);
  };
  return el("button", { type: "button", onclick: pressed, ...attributes }, ...inside);
}

function setOff(node, off) {
  setAttribute(node, "aria-disabled", off ? "true" : null);
}

// Brings the children of a node up to date, each by its key. One that is there already is neither
// made anew nor moved: a press that has begun on it, and the focus, stay with it.
function keyed(parent, items, keyOf, make) {
  const there = new Map([...parent.children].map((node) => [node.dataset.key, node]));
  const nodes = items.map((item, at) => {
    const node = there.get(keyOf(item)) ?? make(item, at);
    node.dataset.key = keyOf(item);
    return node;
  });
  for (const node of [...parent.children]) if (!nodes.includes(node)) node.remove();
  nodes.forEach((node, at) => {
    if (parent.children[at] !== node) parent.insertBefore(node, parent.children[at] ?? null);
  });
  return nodes;
}

// The element that has the focus, inside whichever root a node stands.
function focusIn(node) {
  const here = node.getRootNode().activeElement;
  return node.contains(here) ? here : null;
}

function cap(words) {
  return el("kbd", { "aria-hidden": "true" }, words);
}

function many(number, one, more = `${one}s`) {
  return `${number} ${number === 1 ? one : more}`;
}

// Works on plain http too, where crypto.randomUUID does not exist.
function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

function runKey(run) {
  return `${run.first}-${run.last}`;
}

// A browser may refuse to keep anything (a full disk, a private window): say so, never throw.
function keepItem(storage, name, value) {
  try {
    window[storage].setItem(name, JSON.stringify(value));
    return true;
  } catch {
    return false;
  }
}

function keptItem(storage, name, otherwise = null) {
  try {
    const words = window[storage].getItem(name);
    return words === null ? otherwise : JSON.parse(words);
  } catch {
    return otherwise;
  }
}

function dropItem(storage, name) {
  try {
    window[storage].removeItem(name);
  } catch {
    // What cannot be read cannot be dropped either.
  }
}

function keptNames(storage, prefix) {
  try {
    return Object.keys(window[storage]).filter((name) => name.startsWith(prefix));
  } catch {
    return [];
  }
}

class RefusedError extends Error {
  constructor(status, words) {
    super(words);
    this.status = status;
  }
}

// Gives the answer as JSON; RefusedError with the server's words, or the browser's own error.
async function ask(path, ticket, body, options = {}) {
  const answer = await fetch(path, {
    method: body === undefined ? "GET" : "POST",
    headers: { "X-Lastbite-Ticket": ticket, "Content-Type": "application/json" },
    body: body === undefined ? undefined : JSON.stringify(body),
    signal: AbortSignal.timeout(20000),
    ...options,
  });
  if (answer.ok) return answer.json();
  const said = await answer.json().catch(() => ({}));
  throw new RefusedError(answer.status, said.error ?? `The server answered ${answer.status}.`);
}
