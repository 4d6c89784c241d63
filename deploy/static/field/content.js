// What is signed and sent of a work, as one text. Its keys and their order are the contract with the server.

import { isTwoLevels, onlyLooks, STAGE_NAMES } from "./course.js";
import { asText } from "./decimal.js";
import { lineOf, rowsOf, stageOf } from "./judged.js";
import { typed } from "../readings.js";

const LONGEST_REASON = 300;
const LONGEST_ANSWER = 200;

export function contentOf(work, job, procedure, pack, now, device) {
  return JSON.stringify({
    format: 1,
    submission: work.submission,
    job: job.id,
    register: job.register,
    register_sha: job.register_sha,
    pack_made_at: work.facts.pack_made_at ?? pack.made_at,
    transmitter: job.transmitter?.id ?? null,
    procedure_version: procedure.id,
    way: procedure.way,
    done_on: dayAt(now, job.time_zone),
    started_at: work.begun_at,
    finished_at: now.toISOString(),
    ambient_c: typed(work.ambient_c ?? "").text ?? null,
    product_c: typed(work.product_c ?? "").text ?? null,
    note: noteOf(work, job, procedure),
    no_as_found_reason: noAsFoundReason(work, job, procedure),
    standards: work.standards,
    readings: ["stands", "found", "left"].flatMap((stage) => readingsOf(stage, work, job, procedure)),
    adjustments: work.adjustments.map(({ kind, before, after, note, at }) => ({
      kind,
      before: typed(before ?? "").text ?? null,
      after: typed(after ?? "").text ?? null,
      note,
      at,
    })),
    adjust_reason: work.adjustments.length && !isFar(work, job, procedure) ? work.adjust_reason.trim() : "",
    steps: procedure.steps.map((step) => stepTaken(step, work, job, procedure)),
    photos: work.photos.map(({ sha256, step, taken_at, type, bytes }) => ({
      sha256,
      step,
      taken_at,
      type,
      bytes,
    })),
    device,
  });
}

// The calendar day at the site, whatever zone the tablet is set to.
export function dayAt(now, zone) {
  const parts = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone,
    year: "numeric",
    month: "2-digit",
    day: "2-digit",
  }).formatToParts(now);
  const part = (type) => parts.find((each) => each.type === type).value;
  return `${part("year")}-${part("month")}-${part("day")}`;
}

// Why something far out was adjusted belongs to the note; adjust_reason is for what lay within the adjust limit.
function noteOf(work, job, procedure) {
  const farOut =
    work.adjustments.length && isFar(work, job, procedure)
      ? `Far out of tolerance as found; before adjusting: ${work.adjust_reason.trim()}`
      : "";
  return [work.note.trim(), farOut].filter(Boolean).join("\n");
}

function isFar(work, job, procedure) {
  return stageOf("found", work, job, procedure).isFar;
}

// One sentence for all of as found that could not be read.
export function noAsFoundReason(work, job = work.facts.job, procedure = work.facts.procedure) {
  if (onlyLooks(procedure)) {
    const [{ noLevel }] = rowsOf("stands", work, job, procedure);
    return noLevel ? `level not known: ${noLevel}`.slice(0, LONGEST_REASON) : "";
  }
  const left = rowsOf("found", work, job, procedure).filter((row) => !row.isRead && row.why);
  const reasons = [...new Set(left.map((row) => row.why))];
  return reasons.join("; ").slice(0, LONGEST_REASON);
}

function readingsOf(stage, work, job, procedure) {
  if (stage === "left" && work.adjustments.length === 0) return [];
  if (stage === "found" && onlyLooks(procedure)) {
    // Where a procedure only looks, the look as it stands is as found too.
    return readingsOf("stands", work, job, procedure)
      .filter((reading) => reading.applied !== null)
      .map((reading) => ({ ...reading, stage: STAGE_NAMES.found }));
  }
  const rows = rowsOf(stage, work, job, procedure).filter((row) => row.isRead);
  const read = rows.map(({ place, values, row, isComputed, noLevel }) => ({
    stage: STAGE_NAMES[stage],
    run: 1,
    sequence: place.n,
    rising: place.rising,
    applied: values.applied,
    ...(noLevel ? { no_level_reason: noLevel } : {}),
    observed: values.observed,
    indication: values.indication,
    origin: isComputed ? "computed" : "read",
    read_at: row?.read_at ?? work.begun_at,
  }));
  return [...read, ...computedEnds(stage, work, job, procedure, read)];
}

// Zero and span end from two known levels, only where the lift allows a verdict there.
function computedEnds(stage, work, job, procedure, read) {
  const line = isTwoLevels(procedure) ? lineOf(stage, work, job, procedure) : null;
  if (!line?.mayJudge) return [];
  const ends = [
    [job.register.lower, line.zero],
    [job.register.upper, line.spanEnd],
  ];
  return ends.map(([applied, output], n) => ({
    ...read[read.length - 1],
    sequence: read.length + 1 + n,
    rising: true,
    applied,
    observed: asText(output),
    indication: null,
    origin: "computed",
  }));
}

// A step as it was taken. What the readings show as done is done when they were read; what was not adjusted says so.
function stepTaken(step, work, job, procedure) {
  const typedIn = work.steps[step.number] ?? {};
  const derived = derivedTaken(step, work, job, procedure);
  const taken = derived ?? typedIn;
  return {
    number: step.number,
    key: step.key,
    kind: step.kind,
    done_at: taken.done_at ?? null,
    answers: [...answersOf(step, typedIn), ...(derived?.answers ?? [])],
    note: [typedIn.note?.trim(), derived?.note].filter(Boolean).join(" "),
    skipped_why: taken.done_at ? "" : (taken.skipped_why ?? "").slice(0, LONGEST_REASON),
  };
}

function answersOf(step, taken) {
  return step.asks
    .filter(
      (ask) => ask.kind !== "standards" && ask.kind !== "photo" && (taken.answers?.[ask.name] ?? "").trim(),
    )
    .map((ask) => ({ label: ask.label, value: taken.answers[ask.name].trim(), unit: ask.unit ?? "" }));
}

// Null for a step that is simply done or left out by hand.
function derivedTaken(step, work, job, procedure) {
  if (step.asks.some((ask) => ask.kind === "standards"))
    return work.standards.length ? { done_at: work.begun_at } : { skipped_why: "No standard chosen." };
  if (step.kind === "adjust") return adjustTaken(work);
  const stage = Object.keys(STAGE_NAMES).find((name) => STAGE_NAMES[name] === step.stage);
  if (step.kind !== "read" || !stage || (onlyLooks(procedure) && stage !== "stands")) return null;
  if (stage === "left" && work.adjustments.length === 0)
    return { skipped_why: "Nothing was adjusted: as left is as found." };
  const seen = stageOf(stage, work, job, procedure);
  const times = seen.read
    .map((row) => row.row?.read_at)
    .filter(Boolean)
    .sort();
  const taken = { answers: looksOf(seen.read), note: settleNote(seen.read) };
  return times.length
    ? { ...taken, done_at: times[times.length - 1] }
    : { skipped_why: seen.rows.map((row) => row.why).find(Boolean) ?? "" };
}

function adjustTaken(work) {
  if (work.adjustments.length === 0) return { skipped_why: "Nothing was adjusted." };
  const rounds = work.earlier_left.map((rows, n) => ({
    label: `as left of round ${n + 1}`,
    value: Object.values(rows)
      .map((row) => (row.observed ?? []).join(" "))
      .filter(Boolean)
      .join(", ")
      .slice(0, LONGEST_ANSWER),
    unit: "",
  }));
  return { done_at: work.adjustments.at(-1).at, answers: rounds.filter((each) => each.value) };
}

// The single looks behind a mean, so that none is lost.
function looksOf(read) {
  const lines = [];
  for (const { row, place } of read) {
    for (const part of ["applied", "observed"]) {
      const texts = (row?.[part] ?? []).map((raw) => typed(raw ?? "").text).filter(Boolean);
      if (texts.length > 1)
        lines.push({ label: `reading ${place.n}, ${part}`, value: texts.join(", "), unit: "" });
    }
  }
  return lines;
}

function settleNote(read) {
  const cut = read.filter((row) => row.row?.cut).map((row) => row.place.n);
  return cut.length ? `Read before it had settled: reading ${cut.join(", ")}.` : "";
}
