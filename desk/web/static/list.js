// The list by keyboard.
import { onKey } from "./keys.js";

onKey((key, place) => {
  const rows = [...document.querySelectorAll(".visits a.open")];
  const step = { ArrowDown: 1, j: 1, ArrowUp: -1, k: -1 }[key];
  const find = document.querySelector(".find #words");
  if (key === "/" && find) {
    find.focus();
    return true;
  }
  if (!step || !rows.length) return false;
  const at = rows.indexOf(place);
  rows[Math.max(0, Math.min(rows.length - 1, at < 0 ? 0 : at + step))].focus();
  return true;
});
