// The counter's queue. Every scan gets a key of its own and waits here until it is answered; what is not answered is
// sent again with the same key, so that nothing is lost and nothing counts twice. One is sent at a time: their order
// carries meaning (who, then what).
(() => {
  "use strict";

  const form = document.getElementById("counter-form");
  const field = document.getElementById("counter-text");
  if (!form || !field) {
    return;
  }

  const GIVE_UP_MS = 8000;
  const FIRST_PAUSE_MS = 400;
  const LONGEST_PAUSE_MS = 5000;
  const NUMBER_PAD = ["+", "-", "/"];
  const place = "counter-queue:" + form.dataset.person;
  const asks = document.getElementById("counter-asks");
  const usualAsk = "Scan or type, then Enter";
  const waiting = document.getElementById("counter-waiting");
  const waitingWords = document.getElementById("counter-waiting-words");
  const waitingList = document.getElementById("counter-waiting-list");

  let queue = kept();
  let sending = false;
  let trouble = "";
  let pause = FIRST_PAUSE_MS;
  let timer = null;

  function kept() {
    try {
      const found = JSON.parse(sessionStorage.getItem(place) || "[]");
      return Array.isArray(found) ? found.filter((one) => one && typeof one.key === "string") : [];
    } catch {
      return [];
    }
  }

  function keep() {
    try {
      sessionStorage.setItem(place, JSON.stringify(queue));
    } catch {
      // Without room to keep them the scans still wait in this page.
    }
  }

  // crypto.randomUUID exists only on secure addresses, and a shop's own network often has none.
  function newKey() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  function add(entry) {
    queue.push({ key: newKey(), ...entry });
    keep();
    show();
    pump();
  }

  function show() {
    const slow = trouble !== "" || queue.length > 1;
    waiting.hidden = !(queue.length && slow);
    const scans = queue.length === 1 ? "1 scan waits" : queue.length + " scans wait";
    waitingWords.textContent = trouble ? scans + " here. " + trouble : scans + " to be answered.";
    waitingList.replaceChildren(
      ...queue.map((entry) => {
        const line = document.createElement("li");
        line.textContent = entry.text === undefined ? "undo" : entry.text;
        return line;
      }),
    );
  }

  async function pump() {
    if (sending || !queue.length) {
      return;
    }
    sending = true;
    clearTimeout(timer);
    const answered = await send(queue[0]);
    sending = false;
    if (answered) {
      queue.shift();
      keep();
      trouble = "";
      pause = FIRST_PAUSE_MS;
      show();
      pump();
    } else {
      show();
      timer = setTimeout(pump, pause);
      pause = Math.min(pause * 2, LONGEST_PAUSE_MS);
    }
  }

  async function send(entry) {
    const body = new FormData();
    body.set("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
    let address = form.action;
    if (entry.move === undefined) {
      body.set("key", entry.key);
      body.set("text", entry.text);
    } else {
      address = form.dataset.undo;
      body.set("move", entry.move);
    }
    const clock = new AbortController();
    const giveUp = setTimeout(() => clock.abort(), GIVE_UP_MS);
    try {
      const response = await fetch(address, {
        method: "POST",
        body: new URLSearchParams(body),
        headers: { "X-Counter": "1" },
        credentials: "same-origin",
        signal: clock.signal,
      });
      if (response.headers.get("X-Counter-Answer") !== "1") {
        trouble = whatWentWrong(response);
        // What the service cannot even read would be refused for ever; all else is sent again.
        return response.status === 400 || response.status === 413;
      }
      render(await response.text());
      sound();
      return true;
    } catch {
      trouble = "There is no connection; they are sent as soon as it is back.";
      return false;
    } finally {
      clearTimeout(giveUp);
    }
  }

  function whatWentWrong(response) {
    if (response.redirected || response.status === 401 || response.status === 403) {
      return "Somebody has to sign in again: load this page. Nothing is lost by that.";
    }
    return "The service cannot answer now; they are sent again shortly.";
  }

  function render(html) {
    const board = new DOMParser().parseFromString(html, "text/html").getElementById("counter-board");
    const old = document.getElementById("counter-board");
    if (board && old) {
      old.replaceWith(document.adoptNode(board));
      asks.textContent = board.dataset.asks || usualAsk;
      chooseKeyboard();
    }
    if (!field.contains(document.activeElement)) {
      field.focus({ preventScroll: true });
    }
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const text = field.value.trim();
    field.value = "";
    field.focus();
    if (text) {
      add({ text });
    }
  });

  document.addEventListener("submit", (event) => {
    const sent = event.target;
    if (sent.matches("[data-counter-texts]") && event.submitter) {
      event.preventDefault();
      add({ text: event.submitter.value });
      field.focus();
    } else if (sent.matches("[data-counter-undo]")) {
      event.preventDefault();
      add({ move: sent.elements.move.value });
      field.focus();
    }
  });

  field.addEventListener("keydown", (event) => {
    if (event.key === "Escape") {
      event.preventDefault();
      if (field.value) {
        field.value = "";
      } else {
        add({ text: "done" });
      }
    } else if (!field.value && NUMBER_PAD.includes(event.key) && !event.ctrlKey && !event.altKey && !event.metaKey) {
      event.preventDefault();
      add({ text: event.key });
    }
  });

  // A scanner types wherever the focus is; whatever is typed outside a control belongs into the field.
  document.addEventListener("keydown", (event) => {
    const at = document.activeElement;
    const elsewhere = !at || at === document.body || at.id === "main";
    if (elsewhere && event.key.length === 1 && !event.ctrlKey && !event.altKey && !event.metaKey) {
      field.focus();
    }
  });

  document.addEventListener("click", (event) => {
    if (!event.target.closest("a, button, input, select, textarea, summary, label") && !String(getSelection())) {
      field.focus({ preventScroll: true });
    }
  });

  // What a tablet was set to stays set; a browser that keeps nothing forgets it at the next load.
  function remembered(name) {
    try {
      return localStorage.getItem("counter-" + name);
    } catch {
      return null;
    }
  }

  function remember(name, on) {
    try {
      localStorage.setItem("counter-" + name, on ? "on" : "off");
    } catch {
      // It still holds in this page.
    }
  }

  // ---- the keypad: figures go into the field, and × makes them the quantity of the next scan ----

  const pad = document.getElementById("counter-pad");
  const padSwitch = document.getElementById("counter-pad-switch");

  function showPad(open) {
    pad.hidden = !open;
    padSwitch.setAttribute("aria-expanded", String(open));
    chooseKeyboard();
  }

  // With a keypad in the page the tablet's own keyboard would only cover it, unless words are to be typed.
  function chooseKeyboard() {
    const wordsWanted = document.getElementById("counter-board").dataset.asks;
    field.inputMode = pad.hidden || wordsWanted ? "text" : "none";
  }

  padSwitch.addEventListener("click", () => {
    showPad(pad.hidden);
    remember("pad", !pad.hidden);
    field.focus({ preventScroll: true });
  });

  pad.addEventListener("click", (event) => {
    const key = event.target.closest("[data-pad]");
    if (!key) {
      return;
    }
    const figures = /^[0-9]*$/.test(field.value) ? field.value : "";
    if (key.dataset.pad === "C") {
      field.value = "";
    } else if (key.dataset.pad !== "*") {
      field.value = (figures + key.dataset.pad).slice(0, 6);
    } else if (figures) {
      field.value = "";
      add({ text: figures + "*" });
    }
    field.focus({ preventScroll: true });
  });

  // ---- sound: off until somebody wants it; one high tone for done, two low ones for refused ----

  const soundSwitch = document.getElementById("counter-sound");
  const TONES = { good: [[1320, 0, 0.12]], info: [[880, 0, 0.06]], bad: [[220, 0, 0.18], [180, 0.24, 0.3]] };
  let speaker = null;
  let audible = remembered("sound") === "on";

  function sound() {
    if (!audible || !window.AudioContext) {
      return;
    }
    speaker = speaker || new AudioContext();
    // A browser lets a page sound only after somebody has touched or typed in it.
    speaker.resume();
    const said = document.getElementById("counter-answer");
    const tone = Object.keys(TONES).find((name) => said.classList.contains("tone-" + name));
    for (const [pitch, after, length] of TONES[tone] || []) {
      const begin = speaker.currentTime + after;
      const voice = speaker.createOscillator();
      const volume = speaker.createGain();
      voice.frequency.value = pitch;
      volume.gain.setValueAtTime(0.25, begin);
      volume.gain.exponentialRampToValueAtTime(0.001, begin + length);
      voice.connect(volume).connect(speaker.destination);
      voice.start(begin);
      voice.stop(begin + length);
    }
  }

  soundSwitch.addEventListener("click", () => {
    audible = !audible;
    remember("sound", audible);
    soundSwitch.setAttribute("aria-pressed", String(audible));
    sound();
    field.focus({ preventScroll: true });
  });

  soundSwitch.setAttribute("aria-pressed", String(audible));
  const coarse = matchMedia("(pointer: coarse)").matches;
  showPad(remembered("pad") === null ? coarse : remembered("pad") === "on");

  addEventListener("online", () => {
    pause = FIRST_PAUSE_MS;
    pump();
  });

  show();
  pump();
  field.focus();
})();
