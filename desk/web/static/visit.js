// The checking page by keyboard and by ear.
import { ready } from "./choose.js";
import { onKey, setting } from "./keys.js";

const all = (what, under = document) => [...under.querySelectorAll(what)];
const one = (what, under = document) => under.querySelector(what);
let last = null; // the id of the value that was chosen last

// --- choosing a value: its words are marked, its seconds played

function span(text) {
  return (text || "").split("-").map(Number);
}

function mark(chars) {
  const [start, end] = span(chars);
  let first = null;
  for (const word of all("#said .w")) {
    const [a, z] = span(word.dataset.chars);
    const is = Boolean(chars) && a < end && start < z;
    word.classList.toggle("now", is);
    first ??= is ? word : null;
  }
  const box = one("#said");
  if (first && box.scrollHeight > box.clientHeight) box.scrollTop = first.offsetTop - box.offsetTop - box.clientHeight / 3;
}

function play(address) {
  const player = one("#player");
  if (!player || !address) return;
  player.src = address;
  player.play().catch(() => {}); // a newer choice came, or there is nothing to play it on
}

const choosable = (place) => place?.closest?.(".item, .notice");

document.addEventListener("focusin", ({ target }) => {
  const chosen = choosable(target);
  all(".notice.current").forEach((n) => n.classList.remove("current"));
  (chosen?.matches(".notice") ? chosen : one(".notice"))?.classList.add("current");
  if (!chosen) return;
  if (chosen.id && chosen.matches(".item")) last = chosen.id;
  mark(chosen.dataset.chars);
});

document.addEventListener("click", (event) => {
  const hear = event.target.closest("a.hear"), to = event.target.closest("[data-to]");
  const summary = event.target.closest(".item > summary");
  if (hear && one("#player")) {
    event.preventDefault();
    play(hear.getAttribute("href"));
  } else if (to) {
    event.preventDefault();
    choose(one(`#${to.dataset.to} > summary`), true);
  } else if (summary && !summary.parentElement.open) play(summary.parentElement.dataset.sound);
  else if (event.target.closest(".notice .message")) {
    mark(choosable(event.target).dataset.chars);
    play(choosable(event.target).dataset.sound);
  }
});

function choose(summary, aloud) {
  if (!summary) return false;
  summary.focus();
  if (aloud) play(summary.parentElement.dataset.sound);
  return true;
}

// --- moving and acting by key

const current = (place) => place?.closest?.(".item") ?? (last && one(`#${last}`));

function move(place, step) {
  const rows = all(".record .row, .record .ear-head").filter((r) => one(".item", r));
  const item = current(place);
  const at = rows.indexOf(item?.closest(".row, .ear-head"));
  const inItem = Boolean(place?.closest?.(".item"));
  const to = at < 0 ? 0 : inItem ? at + step : at;
  return choose(one(".item > summary", rows[Math.max(0, Math.min(rows.length - 1, to))]), setting("play-moving"));
}

function beside(place, step) {
  const item = place?.closest?.(".item");
  if (!item) return false;
  const items = all(".record .item"), next = items[items.indexOf(item) + step];
  return next ? choose(one("summary", next), setting("play-moving")) : true;
}

function press(button) {
  if (!button || button.disabled) return false;
  button.form ? button.form.requestSubmit(button) : button.click();
  return true;
}

function open(details, field) {
  if (!details) return false;
  details.open = true;
  // At once: the next key is already on its way, and must find the box.
  ready(details);
  const box = one(field, details);
  box?.focus();
  box?.select?.();
  return true;
}

function nextNotice(place) {
  const notices = all(".notice");
  const to = notices[(notices.indexOf(place?.closest?.(".notice")) + 1) % notices.length];
  const target = to && (one(".answer", to) ?? one("summary", to));
  (target ?? one("#sign"))?.focus();
  return true;
}

function answer(place, digit) {
  const notice = place?.closest?.(".notice") ?? one(".notice.current") ?? one(".notice");
  return press(all(".answer", notice ?? document.createElement("i"))[digit - 1]);
}

const FIELD = "input:not([type=hidden]):not([type=checkbox]), select:not([hidden])";
const jump = (place) => choose(one(`[data-place=${place}] .item > summary`), setting("play-moving"));

onKey((key, place) => {
  if (!one(".visit-page")) return false;
  const item = current(place);
  switch (key) {
    case "ArrowDown": case "j": return inWords(place) ? false : move(place, 1);
    case "ArrowUp": case "k": return inWords(place) ? false : move(place, -1);
    case "ArrowRight": return inWords(place) ? false : beside(place, 1);
    case "ArrowLeft": return inWords(place) ? false : beside(place, -1);
    case "r": return jump("right");
    case "l": return jump("left");
    case "b": return jump("rest");
    case "p": play((choosable(place) ?? item)?.dataset.sound); return true;
    case "a": return press(item && one("[data-act=accept]", item));
    case "x": case "Delete": return press(item && one("[data-act=remove]", item));
    case "c": return open(item, FIELD);
    case "i": return open(one(".add", item?.closest(".sheet") ?? document), FIELD);
    case "u": return press(one("[data-act=undo]"));
    case "y": return press(one("[data-act=redo]"));
    case "n": return nextNotice(place);
    case "t": one("#said").focus(); return true;
    case "g": location.assign("/"); return true;
    case "s": return open(one("#sign-undecided"), FIELD) || (one("#sign")?.focus(), true);
    default: return /^[1-9]$/.test(key) ? answer(place, Number(key)) : false;
  }
});

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape" || event.defaultPrevented) return;
  one("#player")?.pause();
  const opened = event.target.closest?.("details[open]");
  if (!opened) return;
  opened.open = false;
  one("summary", opened).focus();
});

// --- the words: choosing some of them

const inWords = (place) => Boolean(place?.closest?.("#said"));
let from = -1, to = -1;

function chooseWords(a, b) {
  const words = all("#said .w");
  if (!words.length) return;
  from = Math.max(0, Math.min(words.length - 1, a));
  to = Math.max(0, Math.min(words.length - 1, b));
  const [first, end] = [Math.min(from, to), Math.max(from, to)];
  words.forEach((w, i) => w.classList.toggle("chosen-word", i >= first && i <= end));
  words[to].scrollIntoView({ block: "nearest" });
  const [start] = span(words[first].dataset.chars), [, stop] = span(words[end].dataset.chars);
  const text = words.slice(first, end + 1).map((w) => w.textContent).join(" ");
  const box = one("#chosen");
  if (!box) return;
  box.hidden = false;
  one("[data-chosen]", box).textContent = text;
  one("[data-text]", box).value = text;
  one("[data-words]", box).value = `${start}-${stop}`;
  one("[data-at]", box).value = String(start);
}

document.addEventListener("keydown", (event) => {
  if (!event.target.matches?.("#said") || event.ctrlKey || event.altKey || event.metaKey) return;
  const step = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: 8, ArrowUp: -8 }[event.key];
  const edge = { Home: 0, End: all("#said .w").length - 1 }[event.key];
  if (edge !== undefined) chooseWords(event.shiftKey && from >= 0 ? from : edge, edge);
  else if (step) {
    const marked = all("#said .w").findIndex((w) => w.classList.contains("now"));
    const at = to < 0 ? Math.max(marked, 0) - (marked < 0 ? 0 : step) : to;
    chooseWords(event.shiftKey ? from : at + step, at + step);
  } else if (event.key === "Enter" && to >= 0) one("#chosen button")?.focus();
  else return;
  event.preventDefault();
});

document.addEventListener("pointerup", (event) => {
  if (!inWords(event.target)) return;
  const picked = getSelection(), words = all("#said .w");
  const hit = words.map((w, i) => (picked.rangeCount && picked.containsNode(w, true) ? i : -1)).filter((i) => i >= 0);
  const under = words.indexOf(event.target.closest(".w"));
  if (!picked.isCollapsed && hit.length) chooseWords(hit[0], hit.at(-1));
  else if (under >= 0) chooseWords(under, under);
  if (to >= 0) {
    const ends = [words[Math.min(from, to)], words[Math.max(from, to)]].map((w) => span(w.dataset.seconds));
    const visit = one(".visit-page").dataset.visit;
    if (ends[1].length > 1) play(`/visits/${visit}/sound?from=${ends[0][0]}&to=${ends[1][1]}`);
  }
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-add]");
  const details = button && one(`#${button.dataset.add}`);
  if (!details) return;
  one("[data-words]", details).value = one("#chosen [data-words]").value;
  open(details, FIELD);
  details.scrollIntoView({ block: "center" });
});

document.addEventListener("toggle", ({ target }) => {
  if (target.matches?.(".add") && !target.open) one("[data-words]", target)?.setAttribute("value", "");
}, true);
document.addEventListener("earside:page", () => { from = to = -1; settle(); });

// --- at the start: mark the words of what is in focus, and forget where the page was to begin

function settle() {
  if (!one(".visit-page")) return;
  if (location.search) history.replaceState(null, "", location.pathname);
  const chosen = choosable(document.activeElement) ?? one(".notice");
  (one(".notice:focus-within") ?? one(".notice"))?.classList.add("current");
  if (chosen) mark(chosen.dataset.chars);
  if (chosen?.matches(".item")) last = chosen.id;
}
settle();
