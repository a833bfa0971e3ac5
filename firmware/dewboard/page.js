// The page in the browser: fresh figures each ten seconds, °F where wanted, login and changes with their sign.
"use strict";

const byId = (id) => document.getElementById(id);
const KEY = "dewmargin-key", NUMBER = "dewmargin-number", UNITS = "dewmargin-units";

// What became of the last look, and of the last window test, by the board's codes.
const LOOKS = ["", "Thank you: this look taught something.", "Thank you: as was to be expected.",
  "Counted, but earlier looks said otherwise.", "The same moment again: counted once.",
  "Not counted: it is too mild outdoors to tell.", "Not counted: indoor temperature or humidity cannot be trusted.",
  "Not counted: there is no fresh outdoor reading.", "Neither fogged nor clear."];
const TESTS = ["", "A window test runs: stay at the window and tell what you see.", "The test ended: fog was seen, which is the answer.",
  "The test ended: its time is up. Dry the sill.", "The test ended: you left the window. Dry the sill.",
  "No test: the settings do not allow one.", "No test: indoor temperature or humidity cannot be trusted.",
  "No test: there is no fresh outdoor reading.", "No test: it is too mild outdoors.", "No test: nobody is home.",
  "No test: this window is known well enough.", "No test: too soon after the last, or too many today."];

// -- units: the board speaks SI; here seconds are minutes, and degrees Fahrenheit where wanted

let fahrenheit = localStorage.getItem(UNITS) === "F";

function shownUnit(unit) {
  if (unit === "s") return "min";
  return fahrenheit && (unit === "°C" || unit === "K") ? "°F" : unit;
}

function toShown(value, unit) {
  if (unit === "s") return value / 60;
  if (!fahrenheit) return value;
  return unit === "°C" ? value * 1.8 + 32 : unit === "K" ? value * 1.8 : value;
}

function fromShown(value, unit) {
  if (unit === "s") return Math.round(value * 60);
  if (!fahrenheit) return value;
  return unit === "°C" ? (value - 32) / 1.8 : unit === "K" ? value / 1.8 : value;
}

// A decimal text of the board in the shown unit; unchanged where nothing is converted.
function inUnit(text, unit, places) {
  if (shownUnit(unit) === unit) return text;
  return toShown(Number(text), unit).toFixed(places);
}

function withoutZeros(text) {
  return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
}

function showQuantity(el) {
  const text = el.getAttribute("value"), unit = shownUnit(el.dataset.u);
  const shown = inUnit(text, el.dataset.u, (text.split(".")[1] || "").length).replace("-", "−");
  el.textContent = shown + (unit === "1" ? "" : " " + unit);
}

// A minute of the day as the time that a browser takes.
function asTime(minute) {
  const two = (n) => String(n).padStart(2, "0");
  return two(Math.floor(minute / 60)) + ":" + two(minute % 60);
}

function showSetting(el) {
  const unit = el.dataset.u, bounds = el.parentElement.querySelector(".bounds");
  if (!unit) return;
  if (unit === "min") {
    el.value = asTime(Number(el.dataset.v));
  } else {
    [el.value, el.min, el.max] = [el.dataset.v, el.dataset.lo, el.dataset.hi]
      .map((text) => withoutZeros(inUnit(text, unit, 2)));
    if (unit === "s") el.step = "any";
    bounds.textContent = (el.min + " to " + el.max).replaceAll("-", "−") + (unit === "1" || unit === "1/h" ? "" : " " + shownUnit(unit));
  }
  el.dataset.shown = el.value;
}

// What was typed into a setting, in the board's unit.
function typed(el) {
  if (el.dataset.u === "min") {
    const [hours, minutes] = el.value.split(":").map(Number);
    return 60 * hours + minutes;
  }
  return el.value === "" ? NaN : Number(fromShown(Number(el.value), el.dataset.u).toFixed(3));
}

function showUnits() {
  document.querySelectorAll("data").forEach(showQuantity);
  document.querySelectorAll(".setting input").forEach(showSetting);
  showChart();
}

function showChart() {
  for (const el of document.querySelectorAll("svg text[data-v]")) {
    const value = Math.round(toShown(Number(el.dataset.v), el.dataset.u));
    el.textContent = String(value).replace("-", "−") + (el.dataset.top ? " " + shownUnit(el.dataset.u) : "");
  }
}

// -- what the board says

function fill(row, figure) {
  const cell = row.querySelector("td");
  const note = document.createElement("small");
  note.textContent = figure.note;
  if (figure.v === "") {
    cell.replaceChildren("–", note);
    return;
  }
  const quantity = document.createElement("data");
  quantity.setAttribute("value", figure.v);
  quantity.dataset.u = figure.u;
  showQuantity(quantity);
  cell.replaceChildren(quantity, note);
}

function say(el, text) {
  if (el && el.textContent !== text) el.textContent = text;  // a screen reader says only what changed
}

function show(state) {
  say(byId("safe"), state.safe);
  byId("safe").hidden = !state.safe;
  say(byId("grave"), state.grave);
  byId("grave").hidden = !state.grave;
  say(byId("status"), state.status);
  document.title = "Dewmargin: " + state.status;
  say(byId("binds"), state.binds);
  byId("why").replaceChildren(...state.why.map((text) => {
    const item = document.createElement("li");
    item.textContent = text;
    return item;
  }));
  for (const [key, figure] of Object.entries(state.figures)) {
    const row = document.querySelector(`tr[data-k="${key}"]`);
    if (row) fill(row, figure);
  }
  for (const [name, found] of Object.entries(state.contacts)) {
    const row = document.querySelector(`tr[data-c="${name}"]`);
    if (row) say(row.querySelector("td"), found);
  }
  say(byId("asof"), state.age_s < 0 ? "Nothing has been decided yet." : "Decided " + state.age_s + " s ago." + state.hold);
  say(byId("look"), LOOKS[state.look]);
  say(byId("test"), TESTS[state.test]);
  byId("stale").hidden = state.age_s <= 60;
  say(byId("stale"), state.age_s > 60 ? "The board has decided nothing for " + state.age_s + " s: look at the unit." : "");
}

let answered = new Date(), drawn = Date.now();
const DRAW_MS = 300000, EMPTY_MS = 30000;

async function refresh() {
  try {
    const response = await fetch("/state");
    if (!response.ok) throw new Error(String(response.status));
    show(await response.json());
    answered = new Date();
  } catch (error) {
    const at = answered.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
    byId("stale").hidden = false;
    say(byId("stale"), "The board has not answered since " + at + ": what stands here is old.");
  }
}

// The drawing of the last day; its points are ten minutes wide.  That the board does not answer, refresh tells.
async function redraw() {
  drawn = Date.now();
  try {
    const response = await fetch("/chart");
    if (response.ok) {
      byId("chart").innerHTML = await response.text();
      showChart();
    }
  } catch (error) {
    drawn = 0;
  }
}

// -- changes

async function send(path, body, sign) {
  const headers = { "Content-Type": "application/json" };
  if (sign) headers["X-Dew-Sign"] = sign;
  const response = await fetch(path, { method: "POST", headers, body });
  const type = response.headers.get("Content-Type") || "";
  const found = type.startsWith("application/json") ? await response.json() : { error: await response.text() };
  if (!response.ok) throw new Error(found.error || "The board refused this.");
  return found;
}

function nextNumber() {
  const number = Math.max(Date.now(), Number(localStorage.getItem(NUMBER) || 0) + 1);
  localStorage.setItem(NUMBER, number);
  return number;
}

async function change(path, values) {
  const key = localStorage.getItem(KEY);
  if (!key) throw new Error("Log in first.");
  const number = nextNumber();
  const body = JSON.stringify(typeof values === "function" ? values(key, number) : values);
  return send(path, body, signOf(key, number, path, body));
}

// Do something that may fail, and tell how it went.
async function attempt(where, work, done) {
  say(where, "…");
  try {
    await work();
    where.textContent = done;
    setTimeout(refresh, 1500);
  } catch (error) {
    where.textContent = error.message;
  }
}

// -- login

const rested = () => new Promise((resolve) => setTimeout(resolve, 30));  // so that the words before it are drawn

async function enter(password) {
  const asked = await send("/ask", "{}");
  await rested();
  const made = secrets(password, asked.salt, asked.rounds);
  await send("/login", JSON.stringify({ nonce: asked.nonce, proof: proofOf(made, asked.nonce) }));
  localStorage.setItem(KEY, sessionKey(made, asked.nonce));
  localStorage.removeItem(NUMBER);
  location.reload();
}

async function setPassword(state) {
  const password = byId("new").value;
  if (password.normalize("NFKC").length < 12) throw new Error("At least 12 characters, please.");
  if (password !== byId("again").value) throw new Error("The two are not the same.");
  const salt = toHex(crypto.getRandomValues(new Uint8Array(16)));
  await rested();
  const made = secrets(password, salt, Number(byId("set").dataset.rounds));
  if (state === "none") {
    const asked = await send("/ask", "{}");
    if (!asked.point) throw new Error("Press a button on the board first, then set the password within 10 minutes.");
    const own = crypto.getRandomValues(new Uint8Array(32));
    const key = toHex(shared(own, fromHex(asked.point)));
    await send("/password", JSON.stringify({ salt, point: toHex(shared(own, BASE)), masked: masked(key, 0, made) }));
  } else {
    await change("/password", (key, number) => ({ salt, masked: masked(key, number, made) }));
  }
  await enter(password);
}

function onSubmit(id, where, work) {
  const form = byId(id);
  if (!form) return;
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    attempt(where, work, "Done.");
  });
}

// -- settings

function changedSettings() {
  const values = {};
  for (const el of document.querySelectorAll(".setting input")) {
    if (el.type === "checkbox") {
      if (el.checked !== el.defaultChecked) values[el.name] = el.checked ? 1 : 0;
    } else if (el.value !== el.dataset.shown) {
      if (!isFinite(typed(el))) throw new Error(el.name + ": type a " + (el.type === "time" ? "time." : "number."));
      values[el.name] = typed(el);
    }
  }
  if (!Object.keys(values).length) throw new Error("Nothing was changed.");
  return values;
}

function keep(values) {
  for (const [name, value] of Object.entries(values)) {
    const el = byId("s-" + name);
    if (el.type === "checkbox") {
      el.defaultChecked = el.checked;
    } else {
      el.dataset.v = String(value);
      showSetting(el);
    }
  }
}

// -- start

function start() {
  byId("units").hidden = false;
  byId("fahrenheit").checked = fahrenheit;
  byId("fahrenheit").addEventListener("change", (event) => {
    fahrenheit = event.target.checked;
    localStorage.setItem(UNITS, fahrenheit ? "F" : "C");
    showUnits();
  });
  showUnits();
  const said = byId("said"), state = byId("login").dataset.state;
  const mayChange = state === "in" && localStorage.getItem(KEY);
  for (const fieldset of document.querySelectorAll("fieldset.owner")) fieldset.disabled = !mayChange;
  if (state === "in" && !mayChange) {
    say(said, "This browser lost its key: close all its windows of this page, then log in again.");
  }
  if (state === "out") onSubmit("login", said, () => enter(byId("password").value));
  onSubmit("set", said, () => setPassword(state));
  if (byId("leave")) {
    byId("leave").addEventListener("click", () => attempt(said, async () => {
      await change("/leave", {});
      localStorage.removeItem(KEY);
      location.reload();
    }, "Done."));
  }
  for (const button of document.querySelectorAll("button[data-post]")) {
    button.addEventListener("click", () => {
      if (button.dataset.confirm && !confirm(button.dataset.confirm)) return;
      attempt(told(button), () => change(button.dataset.post, JSON.parse(button.dataset.body)), "Sent to the board.");
    });
  }
  byId("run").addEventListener("click", () => {
    const minutes = Number(byId("run-min").value);
    if (!confirm("Stand by the drain. Run for " + minutes + " min?")) return;
    attempt(told(byId("run")), () => change("/run", { seconds: Math.round(60 * minutes) }), "Sent to the board.");
  });
  onSubmit("settings", byId("stored"), async () => {
    const values = changedSettings();
    await change("/settings", { values });
    keep(values);
  });
  refresh();
  setInterval(() => {
    if (document.hidden) return;
    refresh();
    if (Date.now() - drawn >= (byId("chart").querySelector("svg") ? DRAW_MS : EMPTY_MS)) redraw();
  }, 10000);
}

// The place beside a button where it is told how its change went.
function told(button) {
  const fieldset = button.closest("fieldset");
  let where = fieldset.querySelector(".told");
  if (!where) {
    where = document.createElement("p");
    where.className = "told";
    where.setAttribute("role", "status");
    fieldset.append(where);
  }
  return where;
}

start();
