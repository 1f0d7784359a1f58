// The idle bench in the page: the live speed, the parts that change, the keys, the voice.
// It computes nothing: numbers, words and drawings come from the server.
import { Microphone, MicrophoneFailure } from "/assets/microphone.js";
import { Speaker } from "/assets/speaker.js";
import "/assets/page.js";

const bench = document.querySelector("[data-bench]");
const base = bench.dataset.bench;
const live = (name) => document.querySelector(`[data-live="${name}"]`);
const TRACE_S = 60;
let socket, microphone, points = [], voice = localStorage.getItem("voice") === "on", retry = 500, spoken = "", hiddenAt = 0;
// Whether the person is led: both hands on the screwdriver, every word spoken, no key pressed.
let led = false;
const speaker = new Speaker({
  context: () => microphone?.context,
  // While the page speaks, its own voice is in the microphone: nothing is read then.
  speaking: (speaking) => send({ say: "voice", speaking }),
});

// ---- the link to the server ----------------------------------------------------------------------------------
function connect() {
  socket = new WebSocket(`${location.origin.replace("http", "ws")}${base}/live`);
  socket.binaryType = "arraybuffer";
  socket.onopen = () => {
    retry = 500;
    notice("link", false);
    if (microphone?.rate) announce();
    refresh();
  };
  socket.onmessage = (message) => receive(JSON.parse(message.data));
  socket.onclose = () => {
    notice("link", true);
    setTimeout(connect, retry);
    retry = Math.min(8000, retry * 2);
  };
}

const send = (message) => { if (socket?.readyState === WebSocket.OPEN) socket.send(JSON.stringify(message)); };

function receive(message) {
  if (message.live) showLive(message.live);
  if (message.clock) showClock(message.clock.words, message.clock.hot);
  if (message.changed) refresh();
  if (message.taken) { if (voice) speaker.chime(880, 0.18); flash(); toast(); }
  if (message.elsewhere) { lost(); stopListening(); watching = true; reflectMicrophone(); }
  if (message.notice) { stopListening(); notice(message.notice, true); }
  if (message.silent) { lost(); deaf(); }
  if (message.refused) { toast(message.refused); if (led) speaker.say(message.refused, "word", voice); }
  if (message.again) { spoken = ""; speak(); }
  if (message.speak) { toast(message.speak, true); if (led) speaker.say(message.speak, "word", voice); }
}

// ---- the parts that change -----------------------------------------------------------------------------------
let refreshing = false, again = false;
async function refresh() {
  if (refreshing) { again = true; return; }
  refreshing = true;
  try {
    const answer = await fetch(`${base}/parts`, { headers: { accept: "application/json" } });
    if (answer.redirected || !answer.ok) { location.reload(); return; }
    const { parts, leave } = await answer.json();
    if (leave) { location.assign(leave); return; }
    for (const [name, html] of Object.entries(parts)) patch(document.getElementById(`part-${name}`), html);
    speak();
  } catch { /* the link's own notice tells that the bench is out of reach */ }
  refreshing = false;
  if (again) { again = false; refresh(); }
}

// Replaces a part's content, but keeps what is being typed, what is open and where the focus was.
function patch(part, html) {
  if (!part || part.dataset.html === html) return;
  part.dataset.html = html;
  const focus = part.contains(document.activeElement) ? document.activeElement : null;
  const key = focus?.dataset.key ?? focus?.name;
  const open = new Set([...part.querySelectorAll("details[open]")].map((details) => details.dataset.key));
  const typed = new Map([...part.querySelectorAll("input[type=number], input[type=text], textarea")]
    .filter((field) => field.value !== field.defaultValue).map((field) => [field.form?.action + field.name, field.value]));
  part.innerHTML = html;
  for (const details of part.querySelectorAll("details")) if (open.has(details.dataset.key)) details.open = true;
  for (const field of part.querySelectorAll("input, textarea")) {
    const value = typed.get(field.form?.action + field.name);
    if (value !== undefined) field.value = value;
  }
  if (key) part.querySelector(`[data-key="${CSS.escape(key)}"], [name="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
  wire(part);
}

function wire(within) {
  for (const zone of within.querySelectorAll("[data-drop]")) {
    zone.querySelector("input[type=file]").addEventListener("change", (event) => {
      if (event.target.files.length) zone.requestSubmit();
    });
  }
  for (const button of within.querySelectorAll("[data-do]")) button.addEventListener("click", () => DO[button.dataset.do]?.(button));
  reflectMicrophone();
}

// ---- forms: sent in the background, so that the microphone goes on listening ------------------------------------
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (form.dataset.plain !== undefined) return;
  event.preventDefault();
  const buttons = form.querySelectorAll("button");
  buttons.forEach((button) => { button.disabled = true; });
  form.classList.add("busy");
  if (form.dataset.busy) toast(form.dataset.busy, true);
  try {
    const body = new FormData(form, event.submitter ?? undefined);
    const answer = await fetch(form.action, {
      method: "POST", headers: { accept: "application/json" },
      body: form.enctype === "multipart/form-data" ? body : new URLSearchParams(body),
    });
    const reply = await answer.json();
    if (reply.error) toast(`${reply.error.message}; ${reply.error.remedy}`);
    else if (form.dataset.busy) toast();
    if (reply.leave) { location.assign(reply.leave); return; }
  } catch {
    toast(document.querySelector("#says-lost").content.textContent);
  }
  form.classList.remove("busy");
  buttons.forEach((button) => { button.disabled = false; });
  await refresh();
});

// ---- the live speed ------------------------------------------------------------------------------------------
let watching = false;
function showLive(now) {
  if (!microphone && !watching) { watching = true; reflectMicrophone(); }
  const numeral = live("rpm");
  numeral.textContent = now.rpm ?? "––";
  numeral.className = `numeral ${now.state}`;
  live("spread").textContent = now.spread;
  live("heard").textContent = now.heard;
  live("hold").textContent = now.hold;
  const bar = live("progress");
  bar.value = now.progress;
  bar.hidden = now.progress === 0;
  if (now.t_s !== undefined) {
    points.push([now.t_s, now.trace_rpm ?? null]);
    while (points.length && points[0][0] < now.t_s - TRACE_S) points.shift();
    drawTrace(now.t_s, now.settled_s);
  }
}

// Nobody listens any more: the last speed is not shown as if it were now.
function deaf() {
  showLive({ rpm: null, state: "none", spread: "rpm", heard: "not listening", hold: "", progress: 0 });
  points = [];
  drawTrace(0, 0);
  watching = false;
  reflectMicrophone();
}

function showClock(words, hot) {
  live("clock").textContent = words;
  live("clock").classList.toggle("hot", Boolean(hot));
}

function drawTrace(end, settled) {
  const heard = points.filter((point) => point[1] !== null).map((point) => point[1]).sort((a, b) => a - b);
  const middle = heard[Math.floor(heard.length / 2)] ?? 0;
  const half = Math.max(40, ...heard.map((value) => Math.abs(value - middle))) * 1.1;
  let path = "", pen = false;
  for (const [t, value] of points) {
    if (value === null) { pen = false; continue; }
    const x = 400 * (1 + (t - end) / TRACE_S), y = 32 - 30 * (value - middle) / half;
    path += `${pen ? "L" : "M"}${x.toFixed(1)},${y.toFixed(1)}`;
    pen = true;
  }
  live("trace").setAttribute("d", path);
  const width = Math.min(400, 400 * (settled ?? 0) / TRACE_S);
  live("settled").setAttribute("x", 400 - width);
  live("settled").setAttribute("width", width);
}

// ---- the microphone ------------------------------------------------------------------------------------------
async function startListening(takeOver = false) {
  const wasLed = led;
  stopListening();
  led = wasLed;
  for (const name of ["refused", "none", "busy", "insecure", "unplugged", "muted", "telephone", "processed", "hidden"]) notice(name, false);
  const mine = new Microphone({
    samples: (block) => {
      if (socket?.readyState !== WebSocket.OPEN) return;
      if (socket.bufferedAmount < 1_000_000) socket.send(block.buffer);
      else send({ say: "gap" });
    },
    trouble: (name) => { notice(name, true); if (name === "muted") send({ say: "gap" }); },
    recovered: (name) => notice(name, false),
    ended: () => { microphone = undefined; send({ say: "goodbye" }); endLead(); notice("unplugged", true); reflectMicrophone(); },
  });
  microphone = mine;
  reflectMicrophone();
  try {
    mine.rate = await mine.start();
    mine.takeOver = takeOver;
    announce();
  } catch (error) {
    mine.stop();
    microphone = undefined;
    notice(error instanceof MicrophoneFailure ? error.failure : "busy", true);
  }
  reflectMicrophone();
}

function announce() {
  send({ say: "hello", sample_rate_hz: microphone.rate, take_over: Boolean(microphone.takeOver) });
  // Once this page has listened, a broken link is no reason to leave the microphone to a line that is dead.
  microphone.takeOver = true;
  if (led) { spoken = ""; send({ say: "lead", on: true }); }
}

// ---- led: hands on the screwdriver -------------------------------------------------------------------------------
async function lead() {
  led = true;
  speaker.unlock();
  setVoice(true);
  stayAwake();
  if (microphone) { spoken = ""; send({ say: "lead", on: true }); }
  else await startListening();
  if (!microphone) endLead();
  reflectMicrophone();
}

function unlead() {
  send({ say: "lead", on: false });
  endLead();
  reflectMicrophone();
}

// Whoever is led looks elsewhere: that nobody leads any more is said.
function lost() {
  if (led) speaker.say("I have stopped listening. Look at the page.", "word", voice);
}

function sayAgain() {
  if (led) send({ say: "again" }); else { spoken = ""; speak(); }
}

// A phone's screen would go dark, and the microphone with it.
let awake;
async function stayAwake() {
  try {
    awake = await navigator.wakeLock.request("screen");
    notice("dark", false);
  } catch { notice("dark", true); }
}

// The button of a headset: pause or go on, again, back.
const press = (...keys) => {
  const found = keys.map((key) => document.querySelector(`[data-key="${key}"]`));
  found.find((button) => button && !button.disabled)?.click();
};
const HEADSET = {
  // Never the main key: a rest for heat ends by a hand that has felt the engine.
  pause: () => press("pause", "resume"), play: () => press("pause", "resume"),
  nexttrack: () => sayAgain(), previoustrack: () => press("back"),
};
if ("mediaSession" in navigator) {
  for (const [action, act] of Object.entries(HEADSET)) navigator.mediaSession.setActionHandler(action, () => { if (led) act(); });
}

function stopListening() {
  if (!microphone) return;
  microphone.stop();
  microphone = undefined;
  send({ say: "goodbye" });
  endLead();
  reflectMicrophone();
}

function endLead() {
  led = false;
  awake?.release();
  awake = undefined;
}

// What is shown when: the speed also on a page that only watches.
const SHOWN = {
  deaf: () => Boolean(microphone) || watching, listening: () => !microphone, heard: () => !microphone && !watching,
  unled: () => led || !microphone, led: () => !led,
};
function reflectMicrophone() {
  // A page that only watches says so, with the key to listen here instead.
  notice("elsewhere", watching && !microphone);
  document.body.classList.toggle("listening", Boolean(microphone));
  document.body.classList.toggle("led", led);
  for (const button of document.querySelectorAll("[data-when]")) button.toggleAttribute("hidden", SHOWN[button.dataset.when]());
}

document.addEventListener("visibilitychange", () => {
  if (!document.hidden && led) stayAwake();
  if (!microphone) return;
  if (document.hidden) { hiddenAt = Date.now(); send({ say: "gap" }); }
  else if (Date.now() - hiddenAt > 1000) { send({ say: "gap" }); notice("hidden", true); microphone.context?.resume(); }
});

// ---- words, voice, light -------------------------------------------------------------------------------------
function notice(name, shown) {
  const place = document.getElementById(`notice-${name}`);
  if (place) place.hidden = !shown;
}

let toastTimer;
function toast(words = "", keep = false) {
  const place = document.getElementById("toast");
  clearTimeout(toastTimer);
  place.hidden = !words;
  place.querySelector("p").textContent = words;
  if (words && !keep) toastTimer = setTimeout(() => toast(), 20000);
}

function speak() {
  const place = document.querySelector("#part-say [data-say]");
  const say = place?.dataset.say ?? "";
  // A page that only watches keeps quiet: another one's microphone would hear it.
  if ((led || (voice && !watching)) && say && say !== spoken) {
    speaker.say(say, place.dataset.tone, voice);
    // Whoever wears muffs sees that there is something new.
    if (led) flash();
  }
  spoken = say;
}

function flash() {
  bench.classList.remove("taken");
  requestAnimationFrame(() => bench.classList.add("taken"));
}

const DO = {
  listen: () => startListening(),
  takeover: () => startListening(true),
  deafen: () => stopListening(),
  lead: () => lead(),
  unlead: () => unlead(),
  again: () => sayAgain(),
  voice: () => {
    setVoice(!voice);
    spoken = "";
    speak();
  },
  dismiss: (button) => { button.closest("[id]").hidden = true; },
};

function setVoice(on) {
  voice = on;
  localStorage.setItem("voice", voice ? "on" : "off");
  reflectVoice();
}

function reflectVoice() {
  for (const button of document.querySelectorAll("[data-do=voice]")) button.setAttribute("aria-pressed", String(voice));
}

// Large keys and a foot switch: space or page-down presses the main key, arrows move an eighth.
const KEYS = { " ": "main", PageDown: "main", ArrowLeft: "leaner", ArrowRight: "richer", p: "pause", d: "died", b: "back", a: "again", x: "alarm" };
const MEDIA_KEYS = { MediaPlayPause: "pause", MediaTrackNext: "nexttrack", MediaTrackPrevious: "previoustrack" };
document.addEventListener("keydown", (event) => {
  if (event.target.closest("input, textarea, select, summary") || event.ctrlKey || event.metaKey || event.altKey) return;
  if (led && MEDIA_KEYS[event.key]) { event.preventDefault(); HEADSET[MEDIA_KEYS[event.key]](); return; }
  const key = KEYS[event.key];
  if (!key || (event.key === " " && event.target.closest("button, a"))) return;
  const button = document.querySelector(`[data-key="${key}"]`)
    ?? (key === "main" ? document.querySelector('[data-key="resume"]') : null);
  if (button && !button.disabled) { event.preventDefault(); if (!event.repeat) button.click(); }
});

// A recording dropped anywhere on the bench.
document.addEventListener("dragover", (event) => event.preventDefault());
document.addEventListener("drop", (event) => {
  event.preventDefault();
  const field = document.querySelector("[data-drop] input[type=file]");
  if (field && event.dataTransfer.files.length) { field.files = event.dataTransfer.files; field.form.requestSubmit(); }
});

wire(document);
reflectVoice();
connect();
