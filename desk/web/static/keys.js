// Keys. Single letters work only while nothing is being typed, and can be switched off (WCAG 2.2, 2.1.4).
import { isSending, keep } from "./swap.js";

const KEEP = "earside-";
const actions = [];

// try_: (key, element in focus, event) -> true if it did something. letters: whether it takes single letters.
export const onKey = (try_) => actions.push(try_);
export const setting = (name) => localStorage.getItem(KEEP + name) !== "off";
export const typing = (place) => place?.matches?.("input:not([type=checkbox]), textarea, select");

document.addEventListener("keydown", (event) => {
  if (event.defaultPrevented || event.altKey || document.querySelector("dialog[open]")) return;
  const control = event.ctrlKey || event.metaKey;
  if (isSending() && !control && event.key !== "Tab" && event.key !== "Shift") {
    keep(event.key);
    event.preventDefault();
    return;
  }
  if (typing(event.target) || (control && event.key !== "z" && event.key !== "y")) return;
  const key = control ? { z: "u", y: "y" }[event.key] : event.key;
  if (!control && key.length === 1 && key !== " " && !setting("single-keys")) return;
  if (act(key, event.target, event)) event.preventDefault();
});

function act(key, place, event) {
  if (key === "?") return openKeys();
  return actions.some((try_) => try_(key, place, event));
}

// A key that was pressed while a form was on its way.
export function replay(key) {
  const place = document.activeElement;
  if (typing(place)) {
    const pressed = new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true });
    const free = place.dispatchEvent(pressed);
    if (free && key === "Enter") place.form?.requestSubmit();
    if (free && key.length === 1) {
      place.setRangeText(key, place.selectionStart, place.selectionEnd, "end");
      place.dispatchEvent(new Event("input", { bubbles: true }));
    }
  } else if (key === "Enter") place?.click();
  else act(key, place, null);
}

function openKeys() {
  const box = document.querySelector("#keys");
  for (const tick of box.querySelectorAll("input")) tick.checked = setting(tick.id);
  box.showModal();
  return true;
}

document.addEventListener("change", (event) => {
  if (!event.target.closest("#keys")) return;
  localStorage.setItem(KEEP + event.target.id, event.target.checked ? "on" : "off");
  dress();
});

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-keys]")) openKeys();
});

function dress() {
  document.documentElement.classList.toggle("keyed", setting("single-keys"));
  for (const button of document.querySelectorAll("[data-keys]")) button.hidden = false;
}
document.addEventListener("earside:page", dress);
dress();
