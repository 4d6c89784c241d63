// A large keypad for a gloved thumb. It types into the field that has the focus, through the same input event as the
// physical keyboard, which goes on working beside it.

import { el } from "./dom.js";

const KEYS = ["7", "8", "9", "delete", "4", "5", "6", "\u00b1", "1", "2", "3", ".", "0", "next"];
const NAMES = { delete: "delete", "\u00b1": "change sign", ".": "point", next: "next field" };

// fields: () => the inputs it may type into, in order. after: what happens on "next" beyond the last of them.
// waits: on a narrow page it shows itself only while a field is in use.
export function keypad(fields, after, { waits = false } = {}) {
  let current = null;
  const field = () =>
    current && fields().includes(current)
      ? current
      : (fields().find((each) => each.value === "") ?? fields()[0]);
  const press = (key) => {
    const into = field();
    if (!into) return;
    if (key === "next") return next(into);
    if (document.activeElement !== into) into.focus({ preventScroll: true });
    type(into, key);
    mark();
  };
  const next = (from) => {
    const all = fields();
    const onward = all[all.indexOf(from) + 1];
    if (onward) choose(onward);
    else after();
  };
  const choose = (input) => {
    current = input;
    input.focus();
    input.select();
  };
  // Shows which field the keys go into, also before it has the focus.
  const mark = () => {
    const into = field();
    for (const input of fields()) input.classList.toggle("aimed", input === into);
  };
  const pad = el(
    `div.pad${waits ? ".waits" : ""}`,
    { role: "group", "aria-label": "Keypad" },
    KEYS.map((key) => keyOf(key, press)),
  );
  return {
    pad,
    choose,
    mark,
    field,
    // Keeps track of the field in use, and lets Enter go on to the next one.
    watch(input) {
      input.addEventListener("focus", () => {
        current = input;
        mark();
        pad.classList.add("shown");
        input.scrollIntoView({ block: "nearest" });
      });
      // Not at once: what was tapped must not move away under the thumb.
      input.addEventListener("blur", () =>
        setTimeout(() => {
          const isUsed = pad.contains(document.activeElement) || fields().includes(document.activeElement);
          pad.classList.toggle("shown", isUsed);
        }, 200),
      );
      input.addEventListener("keydown", (event) => {
        if (event.key !== "Enter") return;
        event.preventDefault();
        next(input);
      });
      return input;
    },
  };
}

function keyOf(key, press) {
  const shown = key === "delete" ? "\u232b" : key;
  return el(
    `button${key === "next" ? ".wide" : key === "0" ? ".wide" : ""}${NAMES[key] ? ".aside" : ""}`,
    {
      type: "button",
      "aria-label": NAMES[key] ?? null,
      // The field keeps the focus: a key of the pad is not a place to be.
      onpointerdown: (event) => event.preventDefault(),
      onclick: () => press(key),
    },
    shown,
  );
}

function type(input, key) {
  const { selectionStart: from, selectionEnd: to, value } = input;
  if (key === "\u00b1") input.value = value.startsWith("-") ? value.slice(1) : `-${value}`;
  else if (key === "delete") {
    const start = from === to ? Math.max(0, from - 1) : from;
    input.value = value.slice(0, start) + value.slice(to);
    input.setSelectionRange(start, start);
  } else {
    input.value = value.slice(0, from) + key + value.slice(to);
    input.setSelectionRange(from + 1, from + 1);
  }
  input.dispatchEvent(new InputEvent("input", { bubbles: true }));
}
