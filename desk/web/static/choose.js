// A list to choose from by typing: the beginnings of any of its words, in any order. It stands in for a
// <select>, which works by itself; this is the pattern "editable combobox with list autocomplete" of the
// ARIA Authoring Practices.
let number = 0;

document.addEventListener("toggle", (event) => {
  if (event.target.open) ready(event.target);
}, true);
document.addEventListener("earside:page", already);
already();

function already() {
  for (const opened of document.querySelectorAll("details[open]")) ready(opened);
}

// Make the lists under an element ready to be typed in; once is enough.
export function ready(under) {
  for (const select of under.querySelectorAll("select[data-choose]")) upgrade(select);
}

function upgrade(select) {
  const box = document.createElement("div"), input = document.createElement("input"), list = document.createElement("ul");
  const options = [...select.options].filter((o) => o.value).map((o) => ({
    value: o.value, words: o.text, find: o.text.toLowerCase().split(/[^\p{L}\p{N}]+/u), typed: o.dataset.typed,
  }));
  const amount = select.form.elements.amount;
  let shown = [], at = -1, pristine = true;

  box.className = "choose";
  list.id = `choose-${++number}`;
  list.role = "listbox";
  list.hidden = true;
  list.setAttribute("aria-label", select.labels[0]?.textContent ?? "Values");
  input.id = select.id;
  input.autocomplete = "off";
  input.role = "combobox";
  for (const [name, value] of [["aria-expanded", "false"], ["aria-controls", list.id], ["aria-autocomplete", "list"]])
    input.setAttribute(name, value);
  input.value = select.value ? select.selectedOptions[0].text : "";
  select.removeAttribute("id");
  select.removeAttribute("data-choose");
  select.hidden = true;
  if (amount) for (const part of [amount, ...amount.labels]) part.hidden = true;
  select.after(box);
  box.append(input, list);

  function match() {
    const typed = input.value.trim().toLowerCase(), parts = typed.split(/\s+/).filter(Boolean);
    if (pristine || !parts.length) return options;
    const fits = (o) => parts.every((p) => o.find.some((w) => w.startsWith(p)));
    const found = options.filter(fits);
    const numbers = /^\d/.test(typed) && amount ? options.filter((o) => o.typed && !fits(o)) : [];
    // What begins with the letters typed comes before what only holds them.
    const rank = (o) => (o.words.toLowerCase().startsWith(typed) ? 0 : 1);
    return [...found.sort((a, b) => rank(a) - rank(b)), ...numbers];
  }

  function render() {
    shown = match().slice(0, 60);
    list.replaceChildren(...shown.map((o, i) => {
      const row = document.createElement("li");
      row.id = `${list.id}-${i}`;
      row.role = "option";
      row.textContent = o.typed && /^\d/.test(input.value) ? `${o.words}: ${input.value}` : o.words;
      if (o.typed && !/^\d/.test(input.value)) row.textContent += ` (${o.typed})`;
      row.addEventListener("pointerdown", (e) => { e.preventDefault(); at = i; take(); });
      return row;
    }));
    if (!shown.length) {
      const none = document.createElement("li");
      none.className = "none";
      none.textContent = "Nothing begins like that";
      list.append(none);
    }
    list.hidden = false;
    input.setAttribute("aria-expanded", String(!list.hidden));
    point(shown.length ? Math.max(0, pristine ? shown.findIndex((o) => o.value === select.value) : 0) : -1);
  }

  function point(to) {
    at = to;
    [...list.querySelectorAll("[role=option]")].forEach((row, i) => row.setAttribute("aria-selected", String(i === at)));
    if (at >= 0) {
      input.setAttribute("aria-activedescendant", `${list.id}-${at}`);
      list.children[at].scrollIntoView({ block: "nearest" });
    } else input.removeAttribute("aria-activedescendant");
  }

  // Put what is pointed at into the form; false if it still wants something typed.
  function take() {
    const chosen = shown[at];
    if (!chosen) return false;
    const typed = input.value;
    select.value = chosen.value;
    close();
    if (chosen.typed && amount) {
      if (/^\d/.test(typed)) { amount.value = typed; return true; }
      for (const part of [amount, ...amount.labels]) part.hidden = false;
      amount.placeholder = `e.g. ${chosen.typed}`;
      input.value = chosen.words;
      amount.focus();
      return false;
    }
    input.value = chosen.words;
    pristine = true;
    return true;
  }

  function close() {
    list.hidden = true;
    input.setAttribute("aria-expanded", "false");
    input.removeAttribute("aria-activedescendant");
  }

  input.addEventListener("focus", () => { input.select(); pristine = true; render(); });
  input.addEventListener("input", () => { pristine = false; render(); });
  input.addEventListener("blur", () => {
    if (!list.hidden && !take() && !amount) input.value = select.value ? select.selectedOptions[0].text : "";
    close();
  });
  input.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (list.hidden) render();
      else if (shown.length) point((at + (event.key === "ArrowDown" ? 1 : -1) + shown.length) % shown.length);
    } else if (event.key === "Enter") {
      event.preventDefault();
      if (list.hidden || take()) select.form.requestSubmit();
    } else if (event.key === "Escape" && !list.hidden) {
      event.stopPropagation();
      close();
    }
  });
}
