// What the readings of a work say so far: errors, whether a stage is complete, whether adjusting is open, and when
// to stop and call for help. Pure; the arithmetic of one reading is readings.js, of two levels twolevels.js.

import { centreOf, furthest, halfOf, holds, limitsOf } from "../limits.js";
import { fixed, judge, percent, SIGNALS, typed } from "../readings.js";
import { asText, mean, MINUS, plusMinus, wrongNumber } from "./decimal.js";
import { fieldsOf, isTwoLevels, onlyLooks, placesOf } from "./course.js";
import { twoLevels } from "./twolevels.js";

export const MOST_ROUNDS = 3;
const FAR = 3; // tolerances: beyond this an error is a failure to look into, not a drift to adjust away

export function againstOf(job) {
  const { lower, upper, signal, tolerance_percent: tolerance } = job.register;
  return { lower, upper, signal, tolerance, limits: limitsOf(job.register) };
}

// One place's values as they will be sent: the mean of what was looked at, as text; null where nothing stands.
function valuesOf(row, place, fields) {
  const values = {};
  for (const { part, isSet } of fields) {
    const texts = (row?.[part] ?? [])
      .map((raw) => typed(raw ?? "").text)
      .filter((text) => text !== undefined);
    values[part] = mean(texts) ?? (isSet && !row?.[part]?.some((raw) => raw?.trim()) ? place.aim : null);
  }
  return values;
}

// What is wrong with a typed part, in words; "" when nothing is.
export function wrongOf(row, fields) {
  for (const { part } of fields) {
    for (const raw of row?.[part] ?? []) {
      const wrong = wrongNumber(raw);
      if (wrong) return wrong;
    }
  }
  return "";
}

// Everything known of each place of a stage: its values, what readings.js says of them, and whether it is settled.
export function rowsOf(stage, work, job = work.facts.job, procedure = work.facts.procedure) {
  const fields = fieldsOf(stage, job, procedure);
  const against = againstOf(job);
  return placesOf(stage, job, procedure).map((place) => {
    const row = work.readings[stage]?.[place.n];
    const noLevel = noLevelOf(stage, row);
    const asked = noLevel ? fields.filter(({ part }) => part !== "applied") : fields;
    const values = { applied: null, ...valuesOf(row, place, asked) };
    const judged = judge({ ...values, noLevel }, against);
    const isRead =
      (values.applied !== null || noLevel !== "") &&
      (values.observed !== null || values.indication !== null) &&
      !wrongOf(row, asked);
    return {
      place,
      row,
      values,
      judged,
      isRead,
      noLevel,
      why: row?.skipped_why ?? "",
      isComputed: Boolean(row?.is_computed),
    };
  });
}

// Why no level is known, which will do as it stands only; "" where there is one.
function noLevelOf(stage, row) {
  return stage === "stands" ? (row?.no_level_why ?? "").trim() : "";
}

export function isFailure(judged) {
  return judged.band.startsWith("failure");
}

// A reading in a failure band tells of the instrument, not of its error.
export function errorsOf(rows) {
  return rows
    .filter((row) => row.isRead && row.judged.error !== null && !isFailure(row.judged))
    .map((row) => row.judged.error);
}

export function largest(errors) {
  return errors.reduce((a, b) => (Math.abs(b) > Math.abs(a) ? b : a), 0);
}

export function percentText(error, job) {
  return percent(error, job.register.tolerance_percent);
}

// A stage in one look: how many are read, the largest error (furthest beyond its own limit), whether all pass, what
// lies in a failure band.
export function stageOf(stage, work, job = work.facts.job, procedure = work.facts.procedure) {
  const rows = rowsOf(stage, work, job, procedure);
  const ends = lineOf(stage, work, job, procedure);
  const errors = [...errorsOf(rows), ...(ends?.mayJudge ? [ends.zeroError, ends.spanEndError] : [])];
  const open = rows.filter((row) => !row.isRead && !row.why);
  const read = rows.filter((row) => row.isRead);
  const { tolerance_percent: tolerance, adjust_limit_percent: limit } = job.register;
  const limits = limitsOf(job.register);
  const top = largest(errors);
  const worst = furthest(errors, limits);
  const failures = read.filter((row) => isFailure(row.judged));
  return {
    rows,
    read,
    open,
    errors,
    ends,
    failures,
    largest: errors.length ? worst : null,
    furthestFromZero: top,
    isComplete: rows.length > 0 && open.length === 0,
    isJudged: errors.length > 0 || failures.length > 0,
    isIn: errors.length > 0 && failures.length === 0 && holds(worst, limits),
    isBeyondLimit: failures.length > 0 || Math.abs(top) > limit + 1e-9,
    isFar: failures.length > 0 || isFar(worst, limits, tolerance),
    hysteresis: hysteresisOf(read),
  };
}

function isFar(error, limits, tolerance) {
  return Math.abs(error - centreOf(limits)) - halfOf(limits) > (FAR - 1) * tolerance + 1e-9;
}

function hysteresisOf(read) {
  const gaps = read
    .filter((row) => !row.place.rising && row.judged.error !== null)
    .map((row) => {
      const up = read.find((other) => other.place.rising && other.place.percent === row.place.percent);
      return up ? row.judged.error - up.judged.error : null;
    })
    .filter((gap) => gap !== null);
  return gaps.length ? largest(gaps) : null;
}

// ---- two known levels ----
// The line through both levels of a stage with zero and span computed from it; null until both are read.
export function lineOf(stage, work, job = work.facts.job, procedure = work.facts.procedure) {
  if (!isTwoLevels(procedure) || stage === "stands") return null;
  const rows = rowsOf(stage, work, job, procedure);
  if (rows.length !== 2 || rows.some((row) => !row.isRead || row.values.observed === null)) return null;
  const levels = rows.map((row) => Number(row.values.applied));
  if (levels[0] === levels[1]) return null;
  const { lower, upper, signal } = job.register;
  const outputs = rows.map((row) => Number(row.values.observed));
  return twoLevels(levels, outputs, { lower: Number(lower), upper: Number(upper), signal: SIGNALS[signal] });
}

// The reading as it stands as the check of the line through both levels: how far it lies off, and what it and the line
// leave open (null where no ratio is known); null where it is no third level.
export function thirdOf(work, job = work.facts.job, procedure = work.facts.procedure) {
  const line = lineOf("found", work, job, procedure);
  const [stands] = rowsOf("stands", work, job, procedure);
  if (!line || !stands?.isRead || stands.noLevel || stands.values.observed === null) return null;
  const level = Number(stands.values.applied);
  if (!line.isThird(level)) return null;
  const ratios = work.standards.map((id) => job.kit?.[id]?.tur).filter((tur) => tur > 0);
  const open = ratios.length
    ? (job.register.tolerance_percent / Math.min(...ratios)) * Math.hypot(1, line.liftAt(level))
    : null;
  return { applied: stands.values.applied, off: line.offAt(level, Number(stands.values.observed)), open };
}

// The current that the first level would show now, from as found, the adjustment and the second level's as left.
// With slope and offset adjusted the line maps onto the true one; with an offset alone it only moves.
export function firstLevelNow(work, job = work.facts.job, procedure = work.facts.procedure) {
  const found = lineOf("found", work, job, procedure);
  const [first, second] = rowsOf("found", work, job, procedure);
  const [, left] = rowsOf("left", work, job, procedure);
  if (!found || !left?.isRead || left.values.observed === null) return null;
  const maps = work.adjustments.some((done) => done.kind === "span")
    ? found.afterAdjusting
    : (output) => output;
  // The tank may stand a little higher or lower than when it was found: compare at the level it has now.
  const before = maps(found.outputAt(Number(left.values.applied)));
  const output = maps(Number(first.values.observed)) + (Number(left.values.observed) - before);
  return second && Number.isFinite(output)
    ? { applied: first.values.applied, observed: asText(output, 4) }
    : null;
}

// ---- adjusting ----
// Whether adjusting is open, and if not, why; what it still needs; which kinds the procedure allows.
export function adjusting(work, job = work.facts.job, procedure = work.facts.procedure) {
  const shut = (why) => ({ open: false, why, kinds: [], needsReason: false, rounds: work.round });
  if (onlyLooks(procedure) || procedure.adjusts.length === 0)
    return shut("This procedure is a check only: nothing is adjusted.");
  const stands = rowsOf("stands", work, job, procedure)[0];
  if (!stands.isRead) return shut("Read it as it stands first: adjusting opens when as found is complete.");
  const found = stageOf("found", work, job, procedure);
  if (!found.isComplete) {
    return shut(
      `As found first: ${found.open.length} of ${found.rows.length} still to read. If a ` +
        "point cannot be read, give the reason on its screen.",
    );
  }
  const limit = plusMinus(job.register.adjust_limit_percent);
  const base = {
    open: true,
    kinds: kindsOf(found, procedure),
    rounds: work.round,
    isFar: found.isFar,
    needsReason: false,
    why: "",
  };
  if (found.read.length === 0) return { ...base, why: "As found could not be read; the reason is noted." };
  if (found.isFar) {
    return {
      ...base,
      needsReason: true,
      why:
        "Stop and call: the error is too large to adjust away. Check the hints and tell the " +
        "shift first; then note who was informed and what was found.",
    };
  }
  if (!found.isBeyondLimit) {
    return {
      ...base,
      needsReason: true,
      why:
        `Largest error ${percentText(found.furthestFromZero, job)} %: within the adjust limit ` +
        `${limit}. Do not adjust, or give a reason for adjusting.`,
    };
  }
  return {
    ...base,
    why: `Largest error ${percentText(found.furthestFromZero, job)} %: beyond the adjust limit ${limit}.`,
  };
}

// Two levels too close for a slope allow one offset only.
function kindsOf(found, procedure) {
  const isOffsetOnly = found.ends && !found.ends.mayAdjustSlope;
  return isOffsetOnly ? procedure.adjusts.filter((kind) => kind !== "span") : procedure.adjusts;
}

// Why adjusting must not go on: open but without its reason, or three rounds without coming in. "" when it may.
export function adjustStop(work, job = work.facts.job, procedure = work.facts.procedure) {
  const state = adjusting(work, job, procedure);
  if (!state.open) return state.why;
  if (state.needsReason && !work.adjust_reason.trim()) return state.why;
  return "";
}

// The stop rules that the readings themselves set off.
export function stopsOf(work, job = work.facts.job, procedure = work.facts.procedure) {
  const said = [];
  for (const stage of ["stands", "found"]) {
    const seen = stageOf(stage, work, job, procedure);
    if (seen.failures.length)
      said.push(
        `A reading lies in the ${seen.failures[0].judged.band} band (NE 43): tell the shift ` +
          "first, check the hints, do not adjust it away.",
      );
    else if (seen.isFar)
      said.push(
        `An error of ${percentText(seen.largest, job)} % is more than three tolerances: tell ` +
          "the shift first, check the hints, do not adjust it away.",
      );
    if (said.length) break;
  }
  const left = stageOf("left", work, job, procedure);
  if (work.round >= MOST_ROUNDS && left.isComplete && !left.isIn) {
    said.push("Three attempts and still out of tolerance: stop adjusting and call for help.");
  }
  return said;
}

// Lift and error of a computed end in words.
export function liftText(lift) {
  return fixed(lift, 2).replace("-", MINUS);
}
