// Hints from the pattern of the readings, in the words of hints.js: something to check, never a verdict.

import { el } from "../dom.js";
import { capital } from "../course.js";
import { SIGNALS, typed } from "../../readings.js";
import { rowsOf } from "../judged.js";
import { hintsOf, lookHints as hintsOfLooks } from "../hints.js";

// Hints of a stage so far. On a single reading's screen (row) only once it is read, so that nothing jumps while typing.
export function hintsOn(ctx, stage, row = null) {
  if (row && !row.isRead) return [];
  const read = rowsOf(stage, ctx.work).filter(
    (each) => each.isRead && each.values.observed !== null && each.judged.expected,
  );
  if (read.length === 0) return [];
  const { signal, tolerance_percent: tolerance } = ctx.job.register;
  const hints = hintsOf({
    expected: read.map((each) => asCurrent(Number(each.judged.expected.replace("\u2212", "-")), signal)),
    observed: read.map((each) => asCurrent(Number(each.values.observed), signal)),
    rising: read.map((each) => each.place.rising),
    tolerance,
    principle: ctx.job.transmitter?.principle ?? null,
  });
  return shown(hints);
}

// Hints from three looks at one steady level.
export function lookHints(ctx, { row }) {
  const looks = (row?.observed ?? [])
    .map((raw) => typed(raw ?? "").text)
    .filter((text) => text !== undefined);
  if (looks.length < 3) return [];
  const { signal } = ctx.job.register;
  return shown(
    hintsOfLooks(
      looks.map((text) => asCurrent(Number(text), signal)),
      { principle: ctx.job.transmitter?.principle ?? null },
    ),
  );
}

// The patterns are written for a 4-20 mA loop; other signals are carried over by their share of the span.
function asCurrent(observed, signal) {
  const { low, high } = SIGNALS[signal];
  return 4 + (16 * (observed - low)) / (high - low);
}

function shown(hints) {
  return hints.map((hint) =>
    el(
      "details.hinted",
      {},
      el("summary", {}, capital(hint.pattern)),
      el(
        "ul",
        {},
        hint.checks.map((check) => el("li", {}, capital(check))),
      ),
    ),
  );
}
