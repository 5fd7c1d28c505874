// The desk locks when nobody has done anything for a while. Typing counts, and is told to the desk now and then;
// the desk itself decides. While something is being dictated, the page stays and listen.js covers it.

const TELL_MS = 20000, WARN_MS = 30000;
let limit = 0, active = 0, told = 0, due = 0;

function begin() {
  clearTimeout(due);
  limit = 1000 * (document.body.dataset.locks || 0);
  active = told = Date.now();
  if (limit) wait(limit);
}

function wait(ms) {
  const warnAt = ms - WARN_MS;
  due = setTimeout(warnAt > 0 ? () => { warn(true); wait(Math.min(WARN_MS, ms)); } : check, Math.max(warnAt > 0 ? warnAt : ms, 500));
}

function warn(on) {
  const box = document.querySelector("#locking");
  if (!box || box.hidden !== on) return;
  box.hidden = !on;
  box.textContent = on ? "Nobody has done anything for a while: the desk locks soon. Press any key to go on." : "";
}

async function check() {
  clearTimeout(due);
  let left = 0;
  try {
    left = 1000 * (await (await fetch("/session")).json()).left;
  } catch { return wait(5000); } // the desk is out of reach: nothing can be read from it either
  if (left > 0) { warn(left <= WARN_MS); return wait(left); }
  const covered = new CustomEvent("earside:locked", { cancelable: true });
  if (document.dispatchEvent(covered)) location.replace(`/sign-in?back=${encodeURIComponent(location.pathname)}`);
}

function doing() {
  if (!limit) return;
  active = Date.now();
  if (active - told < TELL_MS && document.querySelector("#locking")?.hidden !== false) return;
  told = active;
  fetch("/session", { method: "POST" }).then(check, () => {});
}

for (const sort of ["keydown", "pointerdown", "input"]) addEventListener(sort, doing, { capture: true, passive: true });
document.addEventListener("visibilitychange", () => { if (limit && document.visibilityState === "visible") check(); });
addEventListener("pageshow", (event) => { if (limit && event.persisted) check(); });
document.addEventListener("earside:unlocked", begin);
document.addEventListener("earside:page", begin);
begin();
