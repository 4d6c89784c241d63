// What a transmitter stood at, where that decides, in the server's words (calibration/records/failures.py). Pure.

import { SIGNALS } from "../readings.js";
import { noAsFoundReason } from "./content.js";
import { onlyLooks } from "./course.js";
import { digits } from "./decimal.js";
import { isFailure, percentText, rowsOf, stageOf } from "./judged.js";

// Where a failure band begins (NE 43): the words for an output beyond it, and for one just on it.
const BEGINS = {
  "failure low": { mA: "3.6", V: "0.9", beyond: "below", on: "not above" },
  "failure high": { mA: "21", V: "5.25", beyond: "above", on: "not below" },
};

export function outputText(observed, band, signal) {
  const { unit } = SIGNALS[signal];
  const { beyond, on, ...begins } = BEGINS[band];
  const shown = digits(observed);
  const side = shown === begins[unit] ? on : beyond;
  return `output at ${shown}\u00a0${unit}, ${side} ${begins[unit]}\u00a0${unit}`;
}

function details(what, noLevel, noAsFound) {
  const reasons = [noLevel && `level not known: ${noLevel}`, noAsFound && `no as found possible: ${noAsFound}`];
  return [what, ...reasons].filter(Boolean).join("; ");
}

// Where what it stood at decides, in a word and with details: a failure, whatever was read after; or an error beyond
// the tolerance where as found could not be read. Otherwise null.
export function stoodFailed(work) {
  const [row] = rowsOf("stands", work);
  if (!row.isRead || row.judged.verdict !== "fail") return null;
  const hasFound = onlyLooks(work.facts.procedure) ? !row.noLevel : stageOf("found", work).read.length > 0;
  const why = hasFound ? "" : noAsFoundReason(work);
  if (isFailure(row.judged)) {
    const output = outputText(row.values.observed, row.judged.band, work.facts.job.register.signal);
    return { head: "Failed as it stood", details: details(output, row.noLevel, why) };
  }
  if (hasFound) return null;
  const error = `error ${percentText(row.judged.error, work.facts.job)}\u00a0% of span`;
  return { head: "Out of tolerance as it stood", details: details(error, "", why) };
}
