// The dictating page: microphone to desk, and what the desk makes of it back to the page.
// What goes over the line is told in desk/web/pages/listen.py.

import { Held } from "./held.js";
import { setting } from "./keys.js";

const $ = (id) => document.getElementById(id);
const SECOND = 32000; // bytes
const SAID = 400; // characters of the last words that are shown
const TAIL = 250; // ms: how much of the last word may still be on its way from the microphone

let held = null; // sound not confirmed yet
let socket = null;
let sent = 0; // the byte up to which sound went out on this socket
let wanted = "idle"; // idle, on, paused, ending
let microphone = null;
let tries = 0;
let finished = () => {};
let between = null; // pieces of sound from when a dictation was asked for until it began

// ---- what is shown

const STATES = {
  idle: "Not listening", opening: "One moment", on: "Listening", paused: "Paused: nothing is kept",
  cut: "Desk out of reach: the sound is kept here", ending: "Making the record",
};

function show(state) {
  $("control").dataset.state = state;
  if ($("state").textContent !== STATES[state]) $("state").textContent = STATES[state];
  const busy = state === "ending" || state === "opening";
  $("begin").hidden = held !== null && state !== "paused";
  $("begin").firstChild.textContent = state === "paused" ? "Go on " : "Begin ";
  $("begin").disabled = busy;
  $("pause").hidden = !(state === "on" || state === "cut");
  $("pause").disabled = state === "cut";
  for (const id of ["next", "end"]) {
    $(id).hidden = held === null || busy;
    $(id).disabled = state === "cut";
  }
  if ($("unfinished")) $("unfinished").hidden = held !== null;
}

function trouble(what, remedy = "") {
  $("trouble").hidden = !what;
  $("trouble").textContent = [what, remedy].filter(Boolean).join(" ");
}

function clock() {
  const s = held ? Math.floor(held.end / SECOND) : 0;
  $("clock").textContent = held ? `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}` : "";
}

function level({ rms, peak, clipped }) {
  const shown = Math.max(0, Math.min(100, (rms + 60) / 60 * 100));
  $("bar").style.width = `${shown}%`;
  $("bar").classList.toggle("clipped", clipped);
  $("level").setAttribute("aria-valuenow", Math.round(rms));
  const words = clipped ? "Too loud: move the microphone away." : peak < -45 ? "Very quiet." : "Loudness is fine.";
  if ($("loudness").textContent !== words) $("loudness").textContent = words;
}

function said(text) {
  const whole = `${$("said").textContent} ${text}`.trim();
  $("said").textContent = whole.length > SAID ? "…" + whole.slice(-SAID) : whole;
  $("guess").textContent = "";
}

// ---- the line to the desk

function connect(first) {
  socket = new WebSocket(`ws://${location.host}/listen/sound`);
  socket.binaryType = "arraybuffer";
  socket.onopen = () => socket.send(JSON.stringify(first));
  socket.onmessage = ({ data }) => take(JSON.parse(data));
  socket.onclose = cut;
}

function cut({ code }) {
  socket = null;
  if (code === 4401) cover(); // nobody is signed in any more: sound is held here until somebody is
  if (!held || wanted === "idle") return;
  held.keep();
  if (wanted === "on") show("cut");
  tries += 1;
  setTimeout(() => { if (held && !socket) connect(between ? { do: "begin" } : { do: "go on", id: held.id }); }, Math.min(500 * tries, 5000));
}

function ask(what) {
  if (socket && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify({ do: what, bytes: held.end }));
}

function send() {
  if (!socket || socket.readyState !== WebSocket.OPEN) return;
  for (const { at, sound } of held.pieces) {
    if (at + sound.byteLength <= sent) continue;
    const message = new Uint8Array(8 + sound.byteLength);
    new DataView(message.buffer).setBigUint64(0, BigInt(at), true);
    message.set(new Uint8Array(sound), 8);
    socket.send(message);
    sent = at + sound.byteLength;
  }
}

const TOLD = {
  on(m) {
    tries = 0;
    trouble("");
    if (!held || held.id !== m.id) { held = new Held(m.id); $("said").textContent = ""; }
    const lost = held.from(m.bytes);
    for (const sound of between || []) held.add(sound);
    between = null;
    if (lost) trouble(`${(lost / SECOND).toFixed(1)} seconds of sound were lost when the computer stopped.`);
    sent = m.bytes;
    if (!$("said").textContent) said(m.words);
    record(m);
    send();
    agreed(m);
    if (wanted === "on" && m.paused) ask("resume");
    if (wanted === "ending") ask("end");
    show(wanted === "idle" ? (wanted = "paused") : wanted);
    if (wanted === "paused" && !m.paused) ask("pause");
  },
  safe({ bytes }) { held.safe(bytes); finished(); },
  missing({ bytes }) { held.from(bytes); sent = bytes; send(); if (wanted === "ending") ask("end"); if (wanted === "paused") ask("pause"); },
  paused() { show("paused"); },
  resumed({ bytes }) { held.from(bytes); show("on"); },
  level,
  guess({ text }) { $("guess").textContent = text; },
  said({ text }) { said(text); },
  record,
  behind({ seconds }) { trouble(seconds ? `The computer is ${seconds} seconds behind. No sound is lost.` : ""); },
  fault({ what, remedy }) {
    trouble(`${what}.`, remedy);
    if (wanted === "ending") show(wanted = "paused");
    if (!held) { wanted = "idle"; between = null; show("idle"); stop(); }
  },
  agreement({ what }) { $("agreement").value = what; },
  mended() { trouble(""); },
  finishing({ done, total }) {
    if (wanted === "ending") $("clock").textContent = `${Math.round(100 * done / Math.max(total, 1))} %`;
  },
  async finished({ visits }) {
    if (wanted !== "ending") return; // an earlier patient's, while the next is being listened to
    await held.forget();
    held = null;
    wanted = "idle";
    location.assign(visits.length ? `/visits/${visits[0]}` : "/");
  },
};

// What was chosen before it began is told now; of a dictation that goes on, the desk knows it.
function agreed({ agreement }) {
  if (agreement !== "open") $("agreement").value = agreement;
  else if ($("agreement").value !== "open") answer();
}

function answer() {
  const what = $("agreement").value;
  if (held && socket?.readyState === WebSocket.OPEN) socket.send(JSON.stringify({ do: "agreement", what }));
  if (what !== "declined") return;
  if (held && wanted === "on") pause();
  trouble("The patient does not want to be recorded: nothing more is kept.",
    held ? "End it, and have the recording erased from the visit's page; or go on when they have left." : "");
}

function take(message) { if (TOLD[message.is]) TOLD[message.is](message); }

function record({ record: html }) {
  const open = $("record").querySelector("details")?.open;
  $("record").innerHTML = html; // made by the desk, which escapes every word in it
  const details = $("record").querySelector("details");
  if (details && open !== undefined) details.open = open;
}

// ---- the microphone

async function listen() {
  const id = $("microphone").value;
  const plain = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
  const context = new AudioContext();
  await context.audioWorklet.addModule("/static/sound.js"); // first, so that no word is missed while it loads
  const stream = await navigator.mediaDevices.getUserMedia({ audio: { ...plain, ...(id && { deviceId: { exact: id } }) } });
  const piecer = new AudioWorkletNode(context, "piecer", { numberOfOutputs: 0 });
  piecer.port.onmessage = ({ data }) => {
    if (wanted !== "on") return;
    if (between) { between.push(data); return; }
    held.add(data);
    clock();
    send();
  };
  context.createMediaStreamSource(stream).connect(piecer);
  stream.getTracks()[0].onended = () => trouble("The microphone was taken away.", "Plug it in, then go on.");
  context.onstatechange = () => { if (wanted === "on" && context.state !== "running") context.resume(); };
  await context.resume();
  const lock = await navigator.wakeLock?.request("screen").catch(() => null);
  microphone = { stream, context, lock, piecer };
  devices();
}

function stop() {
  if (!microphone) return;
  for (const track of microphone.stream.getTracks()) track.stop();
  microphone.context.close();
  microphone.lock?.release();
  microphone = null;
  $("bar").style.width = "0";
  $("loudness").textContent = "The microphone is off.";
}

async function devices() {
  const found = (await navigator.mediaDevices?.enumerateDevices?.() || []).filter((d) => d.kind === "audioinput" && d.label);
  const chosen = localStorage.getItem("microphone") || "";
  for (const device of found) {
    if ([...$("microphone").options].some((o) => o.value === device.deviceId)) continue;
    $("microphone").add(new Option(device.label, device.deviceId, false, device.deviceId === chosen));
  }
}

const REFUSED = {
  NotAllowedError: ["The browser may not use the microphone.", "Allow it beside the address, then begin again."],
  NotFoundError: ["No microphone was found.", "Plug one in, then begin again."],
  NotReadableError: ["Another program has the microphone.", "Close it there, then begin again."],
};

// ---- what one does

async function begin() {
  if (!held && $("agreement").value === "declined") return answer();
  trouble("");
  show("opening");
  const before = wanted;
  if (!held) between ??= [];
  wanted = "on";
  try {
    if (!microphone) await listen();
  } catch (fault) {
    wanted = before;
    trouble(...(REFUSED[fault.name] || [`The microphone cannot be used (${fault.name}).`, "Try another."]));
    show(held ? "paused" : "idle");
    return;
  }
  if (!held) connect({ do: "begin" });
  else if (between) return;
  else if (socket) ask("resume");
  else show("cut");
}

async function pause() {
  await flush(); // what was said before the key is kept, what comes after it is not
  wanted = "paused";
  send();
  ask("pause");
  stop();
}

const wait = (ms) => new Promise((done) => { setTimeout(done, ms); });

// The last word, as far as it is still between microphone and page.
async function lastWord() {
  if (!microphone) return;
  await wait(TAIL);
  await flush();
}

async function flush() {
  microphone?.piecer.port.postMessage("flush");
  await wait(50);
}

async function everythingSafe() {
  while (held.pieces.length && socket) {
    await new Promise((done) => { finished = done; setTimeout(done, 300); });
    ask("safe");
  }
}

async function next() {
  show("opening");
  send();
  await everythingSafe();
  between = [];
  $("agreement").value = $("agreement").dataset.usual; // another patient
  ask("next");
  wanted = "on";
  if (!microphone) await begin();
}

async function end() {
  show("ending");
  await lastWord();
  wanted = "ending";
  stop();
  send();
  await everythingSafe();
  ask("end");
}

async function goOn(id, then) {
  held = await Held.take(id);
  wanted = then;
  connect({ do: "go on", id });
  if (then === "on") { try { await listen(); } catch { wanted = "paused"; } }
}

$("agreement").onchange = answer;
$("begin").onclick = () => begin();
$("pause").onclick = pause;
$("next").onclick = next;
$("end").onclick = end;
$("microphone").onchange = () => { localStorage.setItem("microphone", $("microphone").value); if (microphone) { stop(); listen(); } };
for (const button of document.querySelectorAll("[data-go-on]")) button.onclick = () => goOn(button.dataset.goOn, "on");

// A pedal is a keyboard of one key. The space bar does the same, where it would not type or press a button.
$("pedal").value = localStorage.getItem("pedal") || "";
$("pedal").onkeydown = (event) => {
  if (event.key === "Tab") return;
  event.preventDefault();
  localStorage.setItem("pedal", $("pedal").value = event.code);
};
$("no-pedal").onclick = () => { localStorage.removeItem("pedal"); $("pedal").value = ""; };

document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || event.target.id === "pedal") return;
  const pedal = event.code === localStorage.getItem("pedal");
  const typing = event.target.closest("input, select, textarea, summary, a, dialog");
  const off = !setting("single-keys");
  const which = pedal || (event.key === " " && !typing) ? "begin" : { n: "next", e: "end" }[event.key];
  if (!which || (typing && !pedal) || (off && !pedal && event.key !== " ")) return;
  const button = which === "begin" && !$("pause").hidden ? $("pause") : $(which);
  if (button.hidden || button.disabled) return;
  event.preventDefault();
  button.click();
});

// ---- locked: what was said is hidden, and is recorded on

async function cover() {
  if (!held && !between || $("locked").open) return;
  for (const id of ["said", "guess"]) $(id).textContent = "";
  $("record").textContent = "";
  $("locked").showModal();
  ask_for_name(await (await fetch("/sign-in?back=/listen")).text());
}

function ask_for_name(html) {
  const page = new DOMParser().parseFromString(html, "text/html");
  $("locked-form").replaceChildren(...page.querySelectorAll("main > .decide, main > form"));
  $("locked-form").querySelector("[type=password]")?.focus();
}

$("locked").addEventListener("cancel", (event) => event.preventDefault());
$("locked").addEventListener("submit", async (event) => {
  event.preventDefault();
  const answer = await fetch("/sign-in", { method: "POST", body: new URLSearchParams(new FormData(event.target)) });
  if (!answer.ok) return ask_for_name(await answer.text());
  $("locked").close();
  document.dispatchEvent(new Event("earside:unlocked"));
  if (socket) socket.close(); // and on again, as whoever signed in
});
document.addEventListener("earside:locked", (event) => {
  if (!held && !between) return;
  event.preventDefault();
  cover();
});
document.addEventListener("submit", (event) => {
  if (!held && !between) return;
  const where = event.target.getAttribute("action");
  if (where === "/lock") { event.preventDefault(); fetch("/lock", { method: "POST" }).then(cover); }
  if (where === "/sign-out") { event.preventDefault(); trouble("A dictation is going on.", "End it first, or lock the desk."); }
}, { capture: true });

addEventListener("beforeunload", (event) => { if (held && wanted !== "idle") event.preventDefault(); });
addEventListener("pagehide", () => held?.keep());
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible" && microphone) microphone.context.resume();
});

devices();
show("idle");
// Sound that an earlier page could not hand over any more is handed over now.
const left = await Held.left();
if (left.length) {
  trouble("Sound of an earlier dictation was still here. It is handed over now; go on, or end it.");
  await goOn(left[0], "paused");
}
