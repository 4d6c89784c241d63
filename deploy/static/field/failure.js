// A transmitter found failed, in the server's words (calibration/records/failures.py). Pure.

import { SIGNALS } from "../readings.js";
import { noAsFoundReason } from "./content.js";
import { onlyLooks } from "./course.js";
import { digits } from "./decimal.js";
import { isFailure, rowsOf, stageOf } from "./judged.js";

// Where a failure band begins (NE 43): the words for an output beyond it, and for one just on it.
const BEGINS = {
  "failure low": { mA: "3.6", V: "0.9", beyond: "below", on: "not above" },
  "failure high": { mA: "21", V: "5.25", beyond: "above", on: "not below" },
};

export function failureText({ observed, band, signal, noLevel, noAsFound }) {
  const { unit } = SIGNALS[signal];
  const { beyond, on, ...begins } = BEGINS[band];
  const shown = digits(observed);
  const side = shown === begins[unit] ? on : beyond;
  return [
    `output at ${shown}\u00a0${unit}, ${side} ${begins[unit]}\u00a0${unit}`,
    noLevel && `level not known: ${noLevel}`,
    noAsFound && `no as found possible: ${noAsFound}`,
  ]
    .filter(Boolean)
    .join("; ");
}

// What stands beside the words "failed as it stood"; "" where it stood in no failure band.
export function failureOf(work) {
  const row = rowsOf("stands", work).find((each) => each.isRead && isFailure(each.judged));
  if (!row) return "";
  const { observed } = row.values;
  const { signal } = work.facts.job.register;
  const hasFound = !onlyLooks(work.facts.procedure) ? stageOf("found", work).read.length > 0 : !row.noLevel;
  const noAsFound = hasFound ? "" : noAsFoundReason(work);
  return failureText({ observed, band: row.judged.band, signal, noLevel: row.noLevel, noAsFound });
}
