// Decide which code is on the screen: this phone's own time in UTC, renewed each second, or none.
// How a code is drawn is decided by the table, whose drawings are laid over each other.
(function () {
  "use strict";

  const SIDE = 21, QUIET = 4, WHOLE = SIDE + 2 * QUIET;
  const EARLIEST = Date.UTC(2025, 0, 1), LATEST = Date.UTC(2100, 0, 1);
  const FAR_MS = 2000, ASK_EACH_MS = 60000;
  const DAYS = ["Sunday", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday"];
  const MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August",
    "September", "October", "November", "December"];
  const table = JSON.parse(document.getElementById("table").textContent);
  const box = document.getElementById("code");
  let waiting = 0, lock = null;

  function two(number) {
    return String(number).padStart(2, "0");
  }

  function say(id, words) {
    const place = document.getElementById(id);
    if (place.textContent !== words) place.textContent = words;
  }

  // --- the text and its modules ---------------------------------------------------------------

  function check(text) {
    let rest = 0xffff;
    for (const letter of text) {
      rest ^= letter.charCodeAt(0) << 8;
      for (let bit = 0; bit < 8; bit += 1) {
        rest = rest & 0x8000 ? ((rest << 1) ^ 0x1021) & 0xffff : (rest << 1) & 0xffff;
      }
    }
    return String(rest % 10000).padStart(4, "0");
  }

  function textAt(moment) {
    const text = "LB1T" + two(moment.getUTCFullYear() % 100) + two(moment.getUTCMonth() + 1) +
      two(moment.getUTCDate()) + two(moment.getUTCHours()) + two(moment.getUTCMinutes()) +
      two(moment.getUTCSeconds());
    return text + check(text);
  }

  function modulesOf(text) {
    const modules = Array.from(table.empty, Number);
    table.changes.forEach(function (bits, pair) {
      const at = 4 + 2 * pair, value = 45 * Number(text[at]) + Number(text[at + 1]);
      bits.forEach(function (change, bit) {
        if ((value >> bit) & 1) {
          for (let i = 0; i < modules.length; i += 1) modules[i] ^= Number(change[i]);
        }
      });
    });
    return modules;
  }

  function tableIsRight() {
    const drawn = modulesOf(table.sample_text).join("");
    const text = table.sample_text;
    return drawn === table.sample && check(text.slice(0, -4)) === text.slice(-4);
  }

  // --- what is on the screen ------------------------------------------------------------------

  function draw(modules) {
    let path = "";
    modules.forEach(function (dark, i) {
      if (dark) path += "M" + (QUIET + i % SIDE) + " " + (QUIET + Math.floor(i / SIDE)) + "h1v1h-1z";
    });
    document.getElementById("dark").setAttribute("d", path);
    box.className = box.className === "code odd" ? "code even" : "code odd";
  }

  function clear(words) {
    document.getElementById("dark").setAttribute("d", "");
    box.className = "code";
    say("warning", words);
  }

  function fit() {
    const sharp = window.devicePixelRatio || 1;
    const room = Math.min(window.innerWidth, window.innerHeight);
    const size = Math.max(1, Math.floor(room * sharp / WHOLE)) * WHOLE / sharp;
    const drawing = document.getElementById("drawing");
    drawing.style.width = drawing.style.height = size + "px";
  }

  function offset(moment) {
    const minutes = -moment.getTimezoneOffset(), far = Math.abs(minutes);
    return "UTC" + (minutes < 0 ? "-" : "+") + two(Math.floor(far / 60)) + ":" + two(far % 60);
  }

  function tell(moment) {
    say("utc", two(moment.getUTCHours()) + ":" + two(moment.getUTCMinutes()) + ":" +
      two(moment.getUTCSeconds()));
    say("date", DAYS[moment.getUTCDay()] + ", " + moment.getUTCDate() + " " +
      MONTHS[moment.getUTCMonth()] + " " + moment.getUTCFullYear() + " (UTC)");
    say("here", "Here: " + DAYS[moment.getDay()] + ", " + moment.getDate() + " " +
      MONTHS[moment.getMonth()] + " " + moment.getFullYear() + ", " + two(moment.getHours()) +
      ":" + two(moment.getMinutes()) + ":" + two(moment.getSeconds()) + " (" +
      offset(moment) + ")");
  }

  function renew() {
    clearTimeout(waiting);
    if (document.hidden) return;
    const now = Date.now(), moment = new Date(now);
    tell(moment);
    if (now < EARLIEST || now >= LATEST) {
      clear("This phone's clock cannot be right: it says the year " + moment.getUTCFullYear() +
        ". Set it, then the code comes.");
    } else {
      say("warning", "");
      draw(modulesOf(textAt(moment)));
    }
    waiting = setTimeout(renew, 1001 - Date.now() % 1000);
  }

  // --- the screen, and the computer that gave the page ----------------------------------------

  async function stayAwake() {
    if (!("wakeLock" in navigator) || document.hidden || (lock && !lock.released)) return;
    try {
      lock = await navigator.wakeLock.request("screen");
      say("awake", "The screen stays on while this page is shown.");
    } catch (refused) {
      say("awake", "This phone did not let the page keep the screen on: set it to stay on.");
    }
  }

  async function compare() {
    if (!location.protocol.startsWith("http")) return;
    try {
      const asked = Date.now();
      const answer = await fetch("clock/now", { cache: "no-store" });
      const told = (await answer.json()).now_ms, middle = (asked + Date.now()) / 2;
      const ahead = middle - told, apart = (Math.abs(ahead) / 1000).toFixed(1) + " s";
      const words = "This clock is " + apart + (ahead < 0 ? " behind" : " ahead of") +
        " the clock of the computer that gave this page.";
      say("computer", Math.abs(ahead) < FAR_MS ? words : words + " One of the two is wrong.");
      document.getElementById("computer").className = Math.abs(ahead) < FAR_MS ? "" : "warning";
    } catch (away) {
      say("computer", "");
    }
  }

  function shown() {
    if (document.hidden) {
      clear("");
    } else {
      renew();
      stayAwake();
    }
  }

  if (!tableIsRight()) {
    clear("This browser draws the code wrong, so none is shown. Open the file in another browser.");
    return;
  }
  fit();
  shown();
  compare();
  setInterval(compare, ASK_EACH_MS);
  window.addEventListener("resize", fit);
  window.addEventListener("pageshow", shown);
  document.addEventListener("visibilitychange", shown);
  document.addEventListener("freeze", function () { clear(""); });
}());
