// The facts of a job: the instrument, what it should show, how it was last, and when to stop and call for help.

import { limitsOf } from "../../limits.js";
import { draw } from "../../livestrip.js";
import { clock, dayText, el, facts, note, state, strip } from "../dom.js";
import { limitsText, measure, plusMinus, quantity } from "../decimal.js";
import { capital } from "../course.js";

// A word joiner keeps the range on one line.
const SIGNALS = {
  "4-20mA": "4–\u206020\u00a0mA",
  "0-20mA": "0–\u206020\u00a0mA",
  "1-5V": "1–\u20605\u00a0V",
  "0-10V": "0–\u206010\u00a0V",
};

function productOf(name, product) {
  if (!name) return "none registered";
  const kind = product && (product.conducts ? "conducting" : "insulating");
  const hasDegrees = product?.c !== null && product?.c !== undefined;
  const degrees = hasDegrees && `${Math.round(product.c)}\u00a0°C`;
  return [name, kind, degrees].filter(Boolean).join(", ");
}

export function jobFacts(job) {
  const { register: r, point, product, transmitter } = job;
  return facts([
    ["Tank", [r.tank_name, point.area ? `, ${point.area}` : ""]],
    ["Product", productOf(r.product_name, product)],
    ["Wall", job.tank?.conducts === false ? "does not conduct: reference electrode" : "conducting"],
    [
      "Transmitter",
      transmitter
        ? [
            el("span.mono", {}, transmitter.serial),
            `, ${[transmitter.maker, transmitter.model].filter(Boolean).join(" ")}`,
          ]
        : "none is installed",
    ],
    ["Principle", transmitter ? `${transmitter.principle}, ${transmitter.wiring}` : null],
    [
      "Range",
      `${quantity(Number(r.lower), r.unit)} to ${measure(Number(r.upper), r.unit)} as ` +
        `${SIGNALS[r.signal] ?? r.signal}${point.is_reverse ? ", reverse action" : ""}`,
    ],
    ["Tolerance", `${limitsText(limitsOf(r))} of span`],
    ["Adjust beyond", `${plusMinus(r.adjust_limit_percent)} of span`],
    ["Duty", capital(point.duty)],
    ["Decision", job.rule],
  ]);
}

// On a wide page: what one looks up again and again, beside every step.
export function jobCard(job) {
  const { register: r, transmitter } = job;
  return el(
    "aside.card",
    { "aria-label": "The job in short" },
    facts([
      ["Range", `${quantity(Number(r.lower), r.unit)} to ${measure(Number(r.upper), r.unit)}`],
      ["Signal", SIGNALS[r.signal] ?? r.signal],
      ["Tolerance", `${limitsText(limitsOf(r))} of span`],
      ["Adjust beyond", `${plusMinus(r.adjust_limit_percent)} of span`],
      ["Wiring", transmitter?.wiring],
      ["Product", r.product_name],
    ]),
    job.last &&
      el("div.last", {}, el("p.soft.small", {}, `Last result, ${dayText(job.last.done_on)}`), lastStrip(job)),
  );
}

function lastStrip(job) {
  const picture = strip(`Last result, ${dayText(job.last.done_on)}`);
  draw(
    picture,
    { found: job.last.found_errors ?? [], left: job.last.left_errors ?? [] },
    limitsOf(job.register),
  );
  return picture;
}

export function lastResult(job) {
  const { last } = job;
  if (!last) return el("p.soft", {}, "No result yet.");
  return el(
    "div.last",
    {},
    el(
      "p",
      {},
      `${dayText(last.done_on)}: as found `,
      last.found_verdict ? verdict(last.found_verdict) : "missing",
      last.left_verdict ? [", as left ", verdict(last.left_verdict)] : "",
    ),
    lastStrip(job),
  );
}

export function verdict(word) {
  return state({ pass: "ok", fail: "bad" }[word] ?? "doubt", word);
}

export function noNote(job) {
  return [
    job.return_reason && note("warn", el("strong", {}, "Returned by the approver: "), job.return_reason),
    job.note && note("", el("strong", {}, "Note: "), job.note),
    !job.transmitter &&
      note(
        "bad",
        "No transmitter is installed at this measuring point. Ask a planner to record the " +
          "installation; a calibration needs it.",
      ),
  ];
}

export function stops(procedure) {
  if (procedure.stops.length === 0) return null;
  return el(
    "details.stops",
    {},
    el("summary", {}, "When to stop and call for help"),
    el(
      "ul",
      {},
      procedure.stops.map((text) => el("li", {}, text)),
    ),
  );
}

// The first screen of a work: the same facts, with what it was begun under.
export function factsScreen(ctx) {
  const { job, procedure, work } = ctx;
  const newer = ctx.app.pack?.jobs.find((other) => other.id === job.id);
  const changed = newer && newer.register_sha !== job.register_sha;
  return {
    body: [
      noNote(job),
      changed &&
        note(
          "warn",
          "The register of this point has changed since you began. Continue if the plant " +
            "matches what is shown here; once sent, it is set aside for a planner to compare.",
        ),
      el("section.sheet", {}, el("h2", {}, "Instrument"), jobFacts(job)),
      el("section.sheet", {}, el("h2", {}, "Last result"), lastResult(job)),
      el(
        "section.sheet",
        {},
        el("h2", {}, "Procedure"),
        el("p", {}, `${procedure.name}, version ${procedure.number}; input: ${procedure.way}.`),
        el(
          "p.soft",
          {},
          `Begun ${clock(work.begun_at)} with the pack fetched ${clock(work.facts.pack_made_at)}.`,
        ),
        stops(procedure),
      ),
    ],
  };
}
