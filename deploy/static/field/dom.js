// A small maker of elements. Text goes in as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

// el("button.button.quiet", { type: "button", onclick: f }, "Back"): classes after dots, functions become listeners,
// true and false switch an attribute, null and undefined leave it out.
export function el(name, attributes = {}, ...children) {
  const [tag, ...classes] = name.split(".");
  const node = document.createElement(tag);
  if (classes.length) node.className = classes.join(" ");
  return filled(node, attributes, children);
}

export function svg(tag, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, tag), attributes, children);
}

function filled(node, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (typeof value === "function") node.addEventListener(key.slice(2), value);
    else if (key === "value") node.value = value;
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(
    ...children
      .flat(3)
      .filter((child) => child !== null && child !== undefined && child !== false && child !== ""),
  );
  return node;
}

// ---- parts of the look ----
const RING = [["circle", { cx: 12, cy: 12, r: 9 }]];
const BOX = [["path", { d: "M4 4h16v16H4z" }]];
const SHAPES = {
  ok: ["good", RING],
  bad: ["bad", [["path", { class: "solid", d: "M12 3 22 21H2z" }]]],
  doubt: ["warn", [["path", { d: "M3 8c3-5 6-5 9 0s6 5 9 0M3 17c3-5 6-5 9 0s6 5 9 0" }]]],
  soon: ["warn", [...RING, ["path", { class: "solid", d: "M12 3a9 9 0 0 1 0 18z" }]]],
  off: ["calm", [...RING, ["path", { d: "M6 12h12" }]]],
  plan: ["calm", BOX],
  hand: ["live", [...BOX, ["path", { class: "solid", d: "M4 12h16v8H4z" }]]],
  sent: ["live", [...BOX, ["path", { class: "solid", d: "M9 9h6v6H9z" }]]],
  done: ["good", [["path", { class: "solid", d: "M4 4h16v16H4z" }]]],
  back: ["warn", [["path", { d: "M10 4 3 11l7 7M3 11h11a7 7 0 0 1 7 7v2" }]]],
  tick: ["good", [["path", { d: "M3 13l6 6L21 5" }]]],
};

// A state is word + shape + colour, as everywhere in the book.
export function state(kind, text) {
  const [tone, shapes] = SHAPES[kind] ?? SHAPES.plan;
  const picture = svg(
    "svg",
    { viewBox: "0 0 24 24", "aria-hidden": "true" },
    shapes.map(([tag, more]) => svg(tag, more)),
  );
  return el(`span.state.${tone}`, {}, picture, text);
}

export function plate(tag) {
  return el("span.plate", {}, tag);
}

export function note(tone, ...children) {
  return el(`div.note${tone ? `.${tone}` : ""}`, {}, ...children);
}

export function button(text, onclick, more = {}) {
  const { kind = "", ...attributes } = more;
  return el(`button.button${kind}`, { type: "button", onclick, ...attributes }, text);
}

// The same picture as calibration/templatetags/pictures.py draws; marks are put in by livestrip.js.
export function strip(label, size = "large") {
  return svg(
    "svg",
    { class: `strip ${size}`, viewBox: "0 0 208 24", role: "img", "aria-label": label },
    svg("path", { class: "axis", d: "M34 12H174" }),
    svg("path", { class: "tol", d: "M60 2H148V22H60z" }),
    svg("path", { class: "edges", d: "M60 1V23M148 1V23" }),
    svg("path", { class: "zero", d: "M104 1V23" }),
    svg("g", { "data-marks": true }),
  );
}

export function facts(pairs) {
  const kept = pairs.filter(([, value]) => value !== null && value !== undefined && value !== "");
  return el(
    "dl.facts.lined",
    {},
    kept.map(([term, value]) => [el("dt", {}, term), el("dd", {}, value)]),
  );
}

// ---- days and times as people read them ----
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

export function dayText(day) {
  if (!day) return "\u2013";
  const [year, month, date] = day.split("-");
  return `${Number(date)} ${MONTHS[Number(month) - 1]} ${year}`;
}

export function clock(at, seconds = false) {
  if (!at) return "";
  const when = new Date(at);
  const two = (number) => String(number).padStart(2, "0");
  return `${two(when.getHours())}:${two(when.getMinutes())}${seconds ? `:${two(when.getSeconds())}` : ""}`;
}

export function plural(count, one, many = `${one}s`) {
  return `${count} ${count === 1 ? one : many}`;
}
