// The course of one job: which screens follow each other, and which readings each stage takes. Pure.

import { shareOf } from "./decimal.js";

const KINDS = { caution: "cautions", prepare: "prepare", restore: "restore" };
const STAGES = { "as it stands": "stands", "as found": "found", "as left": "left" };
export const STAGE_NAMES = { stands: "as it stands", found: "as found", left: "as left" };

// How the input is applied: what is asked of the hand, and whether the applied value is itself read off (then three
// times) or set, so that it is known beforehand.
const WAYS = {
  "simulated output": { says: (at) => `Demand ${at.signal} from the transmitter.`, sets: true },
  "wetted level by dip": { says: () => "Dip three times.", reads: "dip" },
  "wetted level by gauge glass": { says: () => "Read the gauge glass three times.", reads: "glass" },
  "probe raised out of product": {
    says: (at) => `Raise the probe to its mark for ${at.percent}.`,
    sets: true,
  },
  "capacitance substituted": {
    says: (at) => `Feed the capacitance of ${at.percent} from the decade box.`,
    sets: true,
  },
  "pressure applied": { says: (at) => `Apply the pressure of ${at.level}.`, sets: true },
  "target at known distance": {
    says: (at) => `Set the target where the level would be ${at.level}.`,
    sets: true,
  },
  "weights on hanger": { says: (at) => `Hang the weights of ${at.percent}.`, sets: true },
  "float moved along its rod": { says: (at) => `Move the float to its mark at ${at.level}.`, sets: true },
};

export function wayOf(procedure) {
  return WAYS[procedure.way] ?? { says: () => "", sets: true };
}

export function isTwoLevels(procedure) {
  return procedure.shape === "two known levels";
}

export function onlyLooks(procedure) {
  return procedure.shape === "as it stands only";
}

// The places of a stage's readings: number, percent of span, direction, and the applied value aimed at.
export function placesOf(stage, job, procedure) {
  const { lower, upper, unit } = job.register;
  if (stage === "stands") return [{ n: 1, percent: null, rising: true, aim: null }];
  if (onlyLooks(procedure)) return [];
  const up = procedure.percents.map((percent) => ({ percent: Number(percent), rising: true }));
  const down = up
    .slice(0, -1)
    .reverse()
    .map(({ percent }) => ({ percent, rising: false }));
  const course = isTwoLevels(procedure) ? twoOf(up) : procedure.up_and_down ? [...up, ...down] : up;
  return course.map((place, at) => ({
    ...place,
    n: at + 1,
    aim: shareOf(lower, upper, place.percent, unit),
  }));
}

function twoOf(up) {
  return up.length > 1 ? [up[0], up[up.length - 1]] : [20, 80].map((percent) => ({ percent, rising: true }));
}

// What is typed for one reading: parts with how often each is looked at, and whether it must be there.
export function fieldsOf(stage, job, procedure) {
  const { unit } = job.register;
  const reads = stage === "stands" ? "dip or glass" : wayOf(procedure).reads;
  const applied = { part: "applied", label: reads ?? "applied", unit, looks: reads ? 3 : 1, isSet: !reads };
  const looks = isTwoLevels(procedure) && stage !== "stands" ? 3 : 1;
  return [
    applied,
    { part: "observed", label: "meter reads", unit: job.register.signal.endsWith("V") ? "V" : "mA", looks },
    { part: "indication", label: "display reads", unit, looks: 1, isOptional: true },
  ];
}

// Every screen in order. A procedure that does not name a stage gets it all the same: as it stands and as found
// are never a matter of how a procedure was written.
export function screensOf(work, job = work.facts.job, procedure = work.facts.procedure) {
  const plan = withStages(procedure);
  const screens = [{ id: "facts", chapter: "facts", title: "The job" }];
  const counts = { found: 0, left: 0 };
  const total = { found: 0, left: 0 };
  for (const part of plan) if (part.stage in total) total[part.stage] += 1;
  let chapter = "prepare";
  for (const part of plan) {
    if (part.stage === "adjust") screens.push({ ...adjustScreen(part.step) });
    else if (part.stage) {
      if (part.stage in counts) counts[part.stage] += 1;
      screens.push(...readScreens(part, counts, total, work, job, procedure));
    } else if (part.isStandards)
      screens.push({
        id: "standards",
        chapter: "prepare",
        kind: "standards",
        step: null,
        title: "Standards",
      });
    else screens.push(stepScreen(part.step, chapter, counts.found > 0));
    chapter = screens[screens.length - 1].chapter;
  }
  screens.push({ id: "summary", chapter: "send", title: "Summary" });
  return screens;
}

// Steps with the stage each one stands for, and the stages no step stands for put where they belong.
function withStages(procedure) {
  const plan = procedure.steps.map((step) => ({ step, stage: stageOf(step) }));
  const needed = onlyLooks(procedure) ? ["stands"] : ["stands", "found"];
  if (!onlyLooks(procedure) && procedure.adjusts.length > 0) needed.push("adjust", "left");
  const allowed = plan.map((part) =>
    part.stage && !needed.includes(part.stage) ? { step: part.step } : part,
  );
  needed.forEach((stage, order) => {
    if (allowed.some((part) => part.stage === stage)) return;
    const later = needed.slice(order + 1);
    const before = allowed.findIndex((part) => later.includes(part.stage) || part.step?.kind === "restore");
    allowed.splice(before < 0 ? allowed.length : before, 0, { step: null, stage });
  });
  if (!procedure.steps.some(choosesStandards)) {
    allowed.splice(
      allowed.findIndex((part) => part.stage),
      0,
      { step: null, isStandards: true },
    );
  }
  return allowed;
}

function choosesStandards(step) {
  return step.asks.some((ask) => ask.kind === "standards");
}

function stageOf(step) {
  if (step.kind === "adjust") return "adjust";
  return step.kind === "read" ? STAGES[step.stage] : undefined;
}

function adjustScreen(step) {
  return { id: "adjust", chapter: "adjust", kind: "adjust", step, title: "Adjust" };
}

// What is prepared after as found is a check on the way.
function stepScreen(step, before, isLater) {
  const isStandards = choosesStandards(step);
  const chapter = isLater && step.kind !== "restore" ? before : (KINDS[step.kind] ?? before);
  const title =
    isLater && step.kind === "prepare"
      ? "Check"
      : ({ caution: "Caution", prepare: isStandards ? "Standards" : "Prepare", restore: "Restore" }[
          step.kind
        ] ?? "Check");
  return { id: `step-${step.number}`, chapter, kind: isStandards ? "standards" : "step", step, title };
}

function readScreens({ step, stage }, counts, total, work, job, procedure) {
  const name = STAGE_NAMES[stage];
  const shared = { chapter: name, kind: "reading", stage, step };
  if (stage === "stands") return [{ ...shared, id: "stands", n: 1, title: "As it stands" }];
  const places = placesOf(stage, job, procedure);
  const mine = minePlaces(places, counts[stage], isTwoLevels(procedure) && total[stage] > 1);
  if (stage === "left" && work.adjustments.length === 0) {
    return counts[stage] === 1 ? [{ ...shared, id: "left", kind: "untouched", title: "As left" }] : [];
  }
  // The tank stands at the second level when it is adjusted; the first is read when it comes back there.
  if (stage === "left" && isTwoLevels(procedure)) mine.reverse();
  const screens = mine.map((place) => ({
    ...shared,
    id: `${stage}-${place.n}`,
    n: place.n,
    title: titleOf(name, place, procedure),
  }));
  if (counts[stage] === total[stage])
    screens.push({ ...shared, id: `${stage}-result`, kind: "result", title: `${capital(name)}: result` });
  return screens;
}

// Two steps for two levels: one each. Otherwise the first step of a stage takes all its places.
function minePlaces(places, step, isShared) {
  if (isShared) return places.filter((place) => place.n === step);
  return step === 1 ? [...places] : [];
}

function titleOf(name, place, procedure) {
  if (isTwoLevels(procedure)) return `${capital(name)}, ${place.n === 1 ? "first" : "second"} level`;
  const way = procedure.up_and_down ? `, ${place.rising ? "rising" : "falling"}` : "";
  return `${capital(name)}${way}, ${place.percent}\u00a0%`;
}

export function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}
