// A form is sent in the background and the page that answers is put in the place of this one, so that
// nothing blinks or jumps; keys pressed meanwhile are kept and done afterwards.
import { replay } from "./keys.js";

let sending = false;
const kept = [];

export const isSending = () => sending;
export const keep = (key) => kept.push(key);

document.addEventListener("submit", async (event) => {
  const form = event.target, button = event.submitter;
  if (form.method !== "post" || "plain" in form.dataset) return;
  event.preventDefault();
  if (sending) return;
  sending = true;
  const address = button?.getAttribute("formaction") || form.getAttribute("action");
  try {
    const answer = await fetch(address, { method: "POST", body: new URLSearchParams(new FormData(form, button)) });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (answer.ok) put(page, new URL(answer.url));
    else trouble(page, answer.status);
  } catch {
    trouble(null, 0);
  } finally {
    sending = false;
  }
  while (kept.length && !sending) replay(kept.shift());
});

window.addEventListener("popstate", () => location.reload());

function put(page, url) {
  const moved = url.pathname !== location.pathname;
  for (const place of ["main", ".top", "#keys"]) document.querySelector(place).replaceWith(page.querySelector(place));
  document.title = page.title;
  history[moved ? "pushState" : "replaceState"](null, "", url.pathname);
  if (moved) scrollTo(0, 0);
  (document.querySelector("main [autofocus]") ?? document.querySelector("main")).focus();
  document.dispatchEvent(new Event("earside:page"));
  const words = document.querySelector("[data-tell]");
  if (words) document.querySelector("#told").textContent = words.textContent;
}

function trouble(page, status) {
  kept.length = 0;
  const box = document.createElement("dialog");
  box.className = "trouble";
  box.setAttribute("aria-label", "Not done");
  const said = page?.querySelector("main");
  if (said) box.append(...said.childNodes);
  else box.append(text("h2", "Not done"), text("p", "The desk does not answer. Is it still running? Nothing was changed."));
  const close = text("button", status === 409 ? "Open the visit again" : "Go back");
  close.addEventListener("click", () => (status === 409 ? location.reload() : box.close()));
  box.addEventListener("close", () => box.remove());
  box.append(close);
  document.body.append(box);
  box.showModal();
  close.focus();
}

function text(name, words) {
  const made = document.createElement(name);
  made.textContent = words;
  return made;
}
