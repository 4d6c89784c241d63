// One work: what a technician did on one job, from the first caution to the summary, as a plain object that is
// kept on the device after every key. Pure: no page, no clock (now comes in as a Date), no network. What is
// asked in which order is course.js, what the readings say is judged.js, what is sent is content.js.

import { onlyLooks, screensOf } from "./course.js";
import { adjusting, adjustStop, firstLevelNow, MOST_ROUNDS, rowsOf, stageOf } from "./judged.js";
import { wrongNumber } from "./decimal.js";
import { typed } from "../readings.js";

export { screensOf } from "./course.js";
export { adjusting } from "./judged.js";
export { contentOf } from "./content.js";

// The register, the procedure and the standards are kept with the work: it goes on under what it was begun with,
// whatever a later pack says. The server compares both.
export function begin(job, procedure, pack, now, submission = crypto.randomUUID()) {
  return {
    submission,
    job: job.id,
    state: "open",
    begun_at: now.toISOString(),
    place: "facts",
    facts: {
      job: { ...job, kit: kitFor(job, procedure, pack) },
      procedure,
      person: pack.person,
      pack_made_at: pack.made_at,
      standards: pack.standards.filter((s) => s.site === job.site),
    },
    readings: { stands: {}, found: {}, left: {} },
    earlier_left: [],
    round: 1,
    adjustments: [],
    adjust_reason: "",
    standards: [],
    steps: {},
    photos: [],
    ambient_c: "",
    product_c: "",
    note: "",
  };
}

// What serves depends on the way, and on what the steps ask for; a pack fetched by an older release knows the way of
// the default procedure only.
function kitFor(job, procedure, pack) {
  const usual = pack.procedures[job.procedures[0]];
  const isUsual = !usual || usual.way === procedure.way;
  const kit = isUsual ? job.kit : (job.kits_of_other_ways?.[procedure.way] ?? {});
  const tools = job.check_tools?.[procedure.id] ?? [];
  return { ...kit, ...Object.fromEntries(tools.map((id) => [id, { fits: true, why: "", tur: null }])) };
}

// What the person did, as a new work; the old one is left as it was. A work that is signed does not change.
export function enter(work, what, now) {
  if (work.state !== "open") return work;
  const act = ACTS[what.act];
  if (!act) throw new Error(`no such act: ${what.act}`);
  return act(work, what, now.toISOString());
}

// What a step asks by these names belongs to the whole record; kept to a tenth of a degree.
const CONDITIONS = { ambient: "ambient_c", product: "product_c" };

const ACTS = {
  at: (work, { screen }) => ({ ...work, place: screen, seen_facts: work.seen_facts || screen !== "facts" }),
  acknowledge: (work, { step }, at) =>
    withStep(work, step, { done_at: at, by: work.facts.person.name, skipped_why: "" }),
  "take back": (work, { step }) => withStep(work, step, { done_at: null, skipped_why: "" }),
  done: (work, { step }, at) =>
    withStep(work, step, { done_at: work.steps[step]?.done_at ?? at, skipped_why: "" }),
  answer: (work, { step, name, value }) => {
    const answers = { ...work.steps[step]?.answers, [name]: value };
    const also = name in CONDITIONS ? { [CONDITIONS[name]]: value } : {};
    return { ...withStep(work, step, { answers }), ...also };
  },
  "leave out": (work, { step, why }) =>
    mayLeaveOut(work, step) ? withStep(work, step, { done_at: null, skipped_why: why.trim() }) : work,
  note: (work, { step, text }) => (step ? withStep(work, step, { note: text }) : { ...work, note: text }),
  condition: (work, { name, value }) => ({ ...work, [name]: value }),
  standard: (work, { id, on }) => ({
    ...work,
    standards: on ? [...new Set([...work.standards, id])] : work.standards.filter((other) => other !== id),
  }),
  look: (work, { stage, n, part, look, text }, at) => {
    const row = rowOf(work, stage, n);
    const looks = [...(row[part] ?? [])];
    looks[look] = text;
    const when = part === "applied" ? {} : { read_at: at };
    return withRow(work, stage, n, {
      ...row,
      [part]: Array.from(looks, (each) => each ?? ""),
      ...when,
      skipped_why: "",
      is_computed: false,
    });
  },
  "no level": (work, { why }) => withRow(work, "stands", 1, { ...rowOf(work, "stands", 1), no_level_why: why }),
  settle: (work, { stage, n, again }, at) => {
    const row = rowOf(work, stage, n);
    return row.settling_at && !again
      ? work
      : withRow(work, stage, n, { ...row, settling_at: at, cut: false });
  },
  cut: (work, { stage, n, on }) => withRow(work, stage, n, { ...rowOf(work, stage, n), cut: on }),
  "settle step": (work, { step, again }, at) =>
    work.steps[step]?.settling_at && !again ? work : withStep(work, step, { settling_at: at, cut: false }),
  "cut step": (work, { step, on }) => withStep(work, step, { cut: on }),
  "leave out reading": leaveOutReading,
  compute: (work, _, at) => {
    const now = firstLevelNow(work);
    return now
      ? withRow(work, "left", 1, {
          applied: [now.applied],
          observed: [now.observed],
          read_at: at,
          is_computed: true,
          skipped_why: "",
        })
      : work;
  },
  "adjust reason": (work, { text }) => ({ ...work, adjust_reason: text }),
  adjusted: (work, { kind, before, after, note }, at) => {
    const state = adjusting(work);
    if (adjustStop(work) || !state.kinds.includes(kind)) return work;
    return {
      ...work,
      adjustments: [...work.adjustments, { kind, before, after, note: note ?? "", at, round: work.round }],
    };
  },
  "drop adjustment": (work, { at }) => ({
    ...work,
    adjustments: work.adjustments.filter((_, n) => n !== at),
  }),
  again: (work) => {
    if (work.round >= MOST_ROUNDS || work.adjustments.length === 0) return work;
    return {
      ...work,
      round: work.round + 1,
      earlier_left: [...work.earlier_left, work.readings.left],
      readings: { ...work.readings, left: {} },
    };
  },
  photo: (work, { photo }) => ({
    ...work,
    photos: [...work.photos.filter((other) => other.sha256 !== photo.sha256), photo],
  }),
  "drop photo": (work, { sha256 }) => ({
    ...work,
    photos: work.photos.filter((photo) => photo.sha256 !== sha256),
  }),
};

function withStep(work, step, more) {
  const before = work.steps[step] ?? { answers: {}, note: "", done_at: null, skipped_why: "" };
  return { ...work, steps: { ...work.steps, [step]: { ...before, ...more } } };
}

function rowOf(work, stage, n) {
  return work.readings[stage][n] ?? {};
}

function withRow(work, stage, n, row) {
  return { ...work, readings: { ...work.readings, [stage]: { ...work.readings[stage], [n]: row } } };
}

// As it stands is never left out. "rest" gives one reason to every place of the stage that is not read.
function leaveOutReading(work, { stage, n, why, rest }) {
  if (stage === "stands" || !why.trim()) return work;
  const open = rowsOf(stage, work).filter((row) => (rest ? !row.isRead : row.place.n === n));
  return open.reduce(
    (so, { place }) => withRow(so, stage, place.n, { ...rowOf(so, stage, place.n), skipped_why: why.trim() }),
    work,
  );
}

// Cautions and as it stands cannot be left out.
export function mayLeaveOut(work, number) {
  const step = work.facts.procedure.steps.find((other) => other.number === number);
  return Boolean(step) && step.kind !== "caution" && !(step.kind === "read" && step.stage);
}

// ---- where one is ----
export function isDone(screen, work) {
  const taken = screen.step ? work.steps[screen.step.number] : undefined;
  if (screen.id === "facts") return Boolean(work.seen_facts);
  if (screen.id === "summary") return work.state !== "open";
  if (screen.kind === "standards") return work.standards.length > 0;
  if (screen.kind === "step") return Boolean(taken?.done_at || taken?.skipped_why);
  if (screen.kind === "reading") {
    const row = rowsOf(screen.stage, work).find((other) => other.place.n === screen.n);
    return Boolean(row && (row.isRead || row.why));
  }
  if (screen.kind === "result") return stageOf(screen.stage, work).isComplete;
  if (screen.kind === "untouched") return stageOf("found", work).isComplete;
  return (
    work.adjustments.length > 0 ||
    Boolean(taken?.done_at) ||
    (stageOf("found", work).isComplete && !stageOf("found", work).isBeyondLimit)
  );
}

// The screen that must come first, or null: cautions before anything is touched, as it stands before any other
// reading, as found before adjusting.
export function firstBefore(screen, work) {
  const screens = screensOf(work);
  const at = screens.findIndex((other) => other.id === screen.id);
  const before = screens.slice(0, at).filter((other) => !isDone(other, work));
  const isReading =
    ["reading", "adjust", "result", "untouched"].includes(screen.kind) || screen.kind === "standards";
  const caution = before.find((other) => other.step?.kind === "caution");
  if (caution && isReading)
    return { screen: caution, why: "This caution is acknowledged before anything is touched." };
  const standing = before.find((other) => other.stage === "stands");
  if (standing && isReading && screen.kind !== "standards")
    return { screen: standing, why: "As it stands is read first, before anything is moved." };
  if (screen.kind === "adjust" || screen.stage === "left") {
    const found = before.find((other) => other.stage === "found" && other.kind === "reading");
    if (found) return { screen: found, why: adjusting(work).why };
  }
  return null;
}

// What stands between this work and its signature: [{screen, said}].
export function missing(work, job = work.facts.job, procedure = work.facts.procedure) {
  const said = [];
  for (const screen of screensOf(work, job, procedure)) {
    const what = missingOn(screen, work, procedure);
    if (what) said.push({ screen: screen.id, said: `${screen.title}: ${what}` });
  }
  return said;
}

function missingOn(screen, work, procedure) {
  if (screen.kind === "standards" && work.standards.length === 0)
    return "choose at least one reference standard";
  if (screen.id === "summary" && Object.values(CONDITIONS).some((name) => wrongNumber(work[name], 1)))
    return "a temperature is not a number with one digit after the point";
  if (screen.kind === "step" && !isDone(screen, work)) {
    return screen.step.kind === "caution"
      ? `not acknowledged (${short(screen.step.text)})`
      : `neither done nor left out with a reason (${short(screen.step.text)})`;
  }
  if (screen.kind === "step" && work.steps[screen.step.number]?.done_at) {
    const wrong = screen.step.asks.find(
      (ask) =>
        ask.kind === "number" &&
        wrongNumber(work.steps[screen.step.number].answers?.[ask.name], digitsOf(ask.name)),
    );
    if (wrong)
      return `${wrong.label}: ${wrongNumber(work.steps[screen.step.number].answers[wrong.name], digitsOf(wrong.name))}`;
    const empty = emptyAsks(screen.step, work);
    if (empty.length)
      return `${empty.map((ask) => ask.label).join(", ")} not noted (${short(screen.step.text)})`;
  }
  if (screen.kind === "reading" && !isDone(screen, work)) return "not read yet";
  if (screen.id === "summary" && saysNothing(work, procedure)) {
    return (
      "nothing read here is a result: as it stands it shows neither a failure nor an error beyond the tolerance, " +
      "and as found was not read. Read as found, or leave the job open"
    );
  }
  if (screen.kind === "adjust" && work.adjustments.length > 0) {
    const stop = adjustStop(work);
    if (stop) return "the reason for adjusting is missing";
    if (work.adjustments.some((done) => [done.before, done.after].some((raw) => wrongNumber(raw))))
      return "a value before or after is not a number";
  }
  if (
    screen.kind === "result" &&
    screen.stage === "left" &&
    !stageOf("left", work, work.facts.job, procedure).read.length
  )
    return "it was adjusted, so it is read again";
  return "";
}

// As it stands only a failure or an error beyond the tolerance is a result by itself, unless the procedure only looks
// and a level was known.
function saysNothing(work, procedure) {
  const looks = onlyLooks(procedure) ? ["stands"] : ["found", "left"];
  const seen = (stage) => stageOf(stage, work, work.facts.job, procedure);
  const stoodOut = seen("stands").isJudged && !seen("stands").isIn;
  return !stoodOut && !looks.some((stage) => seen(stage).isJudged);
}

// Asks of a step that need an answer and have none. Photos are counted among the photos.
export function digitsOf(name) {
  return name in CONDITIONS ? 1 : 5;
}

export function emptyAsks(step, work) {
  const taken = work.steps[step.number];
  return step.asks.filter((ask) => {
    if (!ask.needed || ask.kind === "standards") return false;
    if (ask.kind === "photo") return !work.photos.some((photo) => photo.step === step.number);
    const value = taken?.answers?.[ask.name];
    if (ask.kind === "number") return !typed(value ?? "").text;
    return !(value ?? "").trim();
  });
}

export function short(text) {
  const words = text.split(/(?<=[.:;])\s/)[0];
  return words.length > 60 ? `${words.slice(0, 57).trimEnd()}…` : words.replace(/[.:;]$/, "");
}

// Chapters with how far each has come, for the scale on top: [{name, done, of, isHere}].
export function chaptersOf(work) {
  const chapters = [];
  for (const screen of screensOf(work)) {
    const last = chapters.at(-1);
    const here =
      last?.name === screen.chapter
        ? last
        : { name: screen.chapter, done: 0, of: 0, isHere: false, first: screen.id };
    if (here !== last) chapters.push(here);
    here.of += 1;
    here.done += isDone(screen, work) ? 1 : 0;
    if (screen.id === work.place) [here.isHere, here.at] = [true, here.of];
  }
  return chapters;
}

// ---- settling ----
// How long a reading or a step still has to settle, in whole seconds; 0 when it has, or was cut short.
export function settlingLeft(row, seconds, now) {
  if (!seconds || !row?.settling_at) return seconds ?? 0;
  // A clock set back must not make it longer than it is.
  return Math.min(seconds, Math.max(0, Math.ceil(seconds - (now - new Date(row.settling_at)) / 1000)));
}

export function settleSeconds(screen, procedure) {
  if (screen.kind !== "reading") return screen.step?.settle_seconds ?? 0;
  if (screen.stage === "stands") return screen.step?.settle_seconds ?? 0;
  return screen.step?.settle_seconds ?? procedure.settle_seconds ?? 0;
}
