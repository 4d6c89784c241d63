// One reading: what to apply, how long to wait, what is read, and at once what it should be, the error and the strip.

import { limitsOf } from "../../limits.js";
import { draw } from "../../livestrip.js";
import { judge } from "../../readings.js";
import { el, note, state, strip } from "../dom.js";
import { afterPaint } from "../keeping.js";
import { keypad } from "../keypad.js";
import { settleTimer } from "../settle.js";
import { fieldsOf, isTwoLevels, STAGE_NAMES, wayOf } from "../course.js";
import { measure, quantity, symbol, wrongNumber } from "../decimal.js";
import { againstOf, errorsOf, firstLevelNow, isFailure, rowsOf, wrongOf } from "../judged.js";
import { settleSeconds } from "../work.js";
import { hintsOn, lookHints } from "./hinting.js";
import { asides, reasonAside, stepText } from "./asides.js";
import { ways } from "./frame.js";

const KINDS = { pass: "ok", fail: "bad", "not judged": "plan" };
const ORDINALS = ["1st", "2nd", "3rd"];

export function readingScreen(ctx) {
  const { stage, n } = ctx.screen;
  const row = () => rowsOf(stage, ctx.work).find((other) => other.place.n === n);
  const fields = fieldsOf(stage, ctx.job, ctx.procedure);
  const inputs = [];
  const said = el("p.errors", { id: "said", role: "alert" });
  const timer = timerOf(ctx, row);
  const on = () => {
    const stop = notYet(row(), fields, timer);
    said.textContent = stop;
    if (!stop) ctx.next();
    else if (!row().isRead)
      (inputs.find((input) => isAsked(input) && !input.value && !input.dataset.optional) ?? inputs[0]).focus();
  };
  const pad = keypad(() => inputs.filter(isAsked), on);
  const parts = tellers(ctx, row);
  const boxes = fields.map((field) => boxOf(ctx, field, row, pad, inputs, parts.changed(said)));
  parts.show();
  parts.tell();
  const [applied, observed, indication] = boxes;
  return {
    body: [
      el("p.instruction", {}, instruction(ctx, row().place)),
      timer?.box,
      applied.shown,
      parts.twin,
      el("div.entries", {}, observed.shown, indication.shown),
      said,
      parts.box,
      parts.hints,
      el("div.openers", {}, applied.opener, indication.opener),
      el("div.asides", {}, stepText(ctx, ctx.screen.step, { isShort: true })),
      asides(ctx, {
        leaveOut:
          stage === "stands"
            ? levelNotKnown(ctx, row(), applied.shown, parts.changed(said))
            : leaveOut(ctx, row()),
      }),
    ],
    pad: pad.pad,
    ways: ways(ctx, { onclick: on, describedby: "said" }),
    keys: pad,
  };
}

function isAsked(input) {
  return !input.closest("[hidden]");
}

function instruction(ctx, place) {
  const { job, procedure, screen } = ctx;
  const { unit } = job.register;
  if (screen.stage === "stands")
    return "Touch nothing. Read the output now, against a dip or the gauge glass.";
  const judged = judge({ applied: place.aim, observed: null, indication: null }, againstOf(job));
  const signalUnit = job.register.signal.endsWith("V") ? "V" : "mA";
  const at = {
    level: measure(place.aim, unit),
    percent: `${place.percent}\u00a0%`,
    signal: `${judged.expected}\u00a0${signalUnit}`,
  };
  if (isTwoLevels(procedure))
    return (
      `${wayOf(procedure).says(at)} Read the meter three ` +
      `times.${screen.id === "found-1" ? " Any two levels will do; the further apart, the better." : ""}`
    );
  const side = procedure.up_and_down ? ` Come to it from ${place.rising ? "below" : "above"}.` : "";
  return `${wayOf(procedure).says(at)}${wayOf(procedure).reads ? ` Aim at ${at.level}.` : ""}${side}`;
}

function notYet(row, fields, timer) {
  if (row.why) return "";
  const wrong = wrongOf(row.row, fields);
  if (wrong) return wrong;
  if (row.values.applied === null && !row.noLevel)
    return row.place.aim === null
      ? "Give the level, or say below why it cannot be known."
      : "Give the level that was applied.";
  if (!row.isRead) return "Give what the meter or the display reads. If it cannot be read, say why below.";
  if (timer && !row.isComputed && !timer.isOver())
    return "Not settled yet: wait, or tick that it is read early.";
  return "";
}

function timerOf(ctx, row) {
  const { stage, n } = ctx.screen;
  const seconds = settleSeconds(ctx.screen, ctx.procedure);
  if (!seconds) return null;
  if (!row().row?.settling_at && !row().isRead) ctx.enter({ act: "settle", stage, n }, false);
  const timer = settleTimer({
    seconds,
    of: () => row().row,
    now: () => ctx.app.now(),
    again: () => {
      ctx.enter({ act: "settle", stage, n, again: true }, false);
      timer.show();
    },
    cut: (on) => ctx.enter({ act: "cut", stage, n, on }, false),
  });
  ctx.leaving(timer.stop);
  return timer;
}

// ---- what is typed ----
function boxOf(ctx, field, row, pad, inputs, changed) {
  const { stage, n } = ctx.screen;
  const typedIn = row().row?.[field.part] ?? [];
  const wrong = el("p.errors", { id: `${field.part}-wrong` });
  const label = `${field.label}, ${symbol(field.unit)}`;
  const isHidden = hidesFirst(field, ctx, typedIn);
  const made = Array.from({ length: field.looks }, (_, look) => {
    const input = pad.watch(
      el("input.figure", {
        id: `${field.part}-${look}`,
        inputmode: "none",
        autocomplete: "off",
        value: typedIn[look] ?? "",
        placeholder: field.isSet ? quantity(row().place.aim, field.unit) : null,
        "aria-label": field.looks > 1 ? `${label}, ${ORDINALS[look]}` : null,
        "aria-describedby": wrong.id,
        "data-optional": field.isOptional || look > 0 || field.isSet || null,
        oninput: () => {
          put(wrong, wrongNumber(input.value));
          input.toggleAttribute("aria-invalid", Boolean(wrong.textContent));
          ctx.enter({ act: "look", stage, n, part: field.part, look, text: input.value }, false);
          changed();
        },
      }),
    );
    inputs.push(input);
    return input;
  });
  const name = field.looks > 1 ? el("span.asked-for", {}, label) : el("label", { for: made[0].id }, label);
  const average = field.looks > 1 ? el("span.mean", { "data-mean": field.part }) : null;
  const box = el(
    `div.entry.${field.part}${field.looks > 1 ? ".several" : ""}`,
    { hidden: isHidden },
    el("div.row.apart", {}, name, average),
    el("div.looks", {}, made),
    wrong,
  );
  if (!isHidden) return { shown: box, opener: null };
  const opener = el(
    "button.link.more",
    {
      type: "button",
      onclick: () => {
        box.hidden = false;
        opener.remove();
        made[0].focus();
      },
    },
    field.isSet ? "Something else was applied" : "The display is read too",
  );
  return { shown: box, opener };
}

// Kept away until they are wanted: the applied value where it is known, and the display where the loop decides.
function hidesFirst(field, ctx, typedIn) {
  if (typedIn.some((text) => text)) return false;
  return field.isSet || (Boolean(field.isOptional) && ctx.job.point.duty !== "custody");
}

// ---- what is said at once ----
function tellers(ctx, row) {
  const { stage } = ctx.screen;
  const expected = el("div.big", {});
  const error = el("div.big", {});
  const word = el("div.word", { role: "status" });
  const signalUnit = ctx.job.register.signal.endsWith("V") ? "V" : "mA";
  const twin = el(
    "div.twin",
    {},
    el("div", {}, el("span.soft", {}, `should be, ${signalUnit}`), expected),
    el("div", {}, el("span.soft", {}, "error, % of span"), error),
  );
  const picture = strip(`Errors of ${STAGE_NAMES[stage]} so far`);
  const box = el("div.verdict", {}, picture, word);
  const hints = el("div.hints", {});
  let said = "";
  let isWaiting = false;
  const show = () => {
    const { judged, values } = row();
    put(expected, judged.expected || "\u2013");
    put(error, judged.errorText || "\u2013");
    error.classList.toggle("bad", judged.verdict === "fail");
    for (const part of ["applied", "observed"]) {
      const place = document.querySelector(`[data-mean=${part}]`);
      if (place)
        put(
          place,
          values[part] === null
            ? ""
            : `mean ${quantity(values[part], part === "applied" ? ctx.job.register.unit : signalUnit)}`,
        );
    }
  };
  const tell = () => {
    isWaiting = false;
    const { judged, isRead, ...rest } = row();
    const found = errorsOf(rowsOf(stage === "left" ? "found" : stage, ctx.work));
    draw(
      picture,
      { found, left: stage === "left" ? errorsOf(rowsOf("left", ctx.work)) : [] },
      limitsOf(ctx.job.register),
    );
    const verdict = isRead && judged.verdict ? wordOf(judged, ctx.job) : "";
    if (verdict !== said) {
      said = verdict;
      word.replaceChildren(verdict ? state(KINDS[judged.verdict], verdict) : "");
    }
    hints.replaceChildren(...hintsOn(ctx, stage, { judged, isRead, ...rest }), ...lookHints(ctx, rest));
  };
  // The figures with the key; strip, word and hints as soon as the figures are painted.
  const changed = (alarm) => () => {
    put(alarm, "");
    show();
    if (!isWaiting) afterPaint(tell);
    isWaiting = true;
  };
  return { twin, box, hints, show, tell, changed };
}

function put(place, text) {
  if (place.textContent !== text) place.textContent = text;
}

function wordOf(judged, job) {
  if (judged.verdict === "not judged") return "not judged: without a level it has no error";
  if (isFailure(judged)) return `NE 43: ${judged.band}, a failure rather than an error`;
  const band = judged.band !== "measuring" && judged.band ? ` (${judged.band})` : "";
  if (judged.isBeyond && judged.verdict === "pass") return `at rest${band}: the level lies beyond the range`;
  const size = Math.abs(judged.error);
  if (judged.verdict === "fail") return `outside the tolerance${band}`;
  return size > job.register.adjust_limit_percent + 1e-9
    ? `inside, beyond the adjust limit${band}`
    : `inside${band}`;
}

// ---- what cannot be read ----
// On the bench, in a storm, without a hatch: the reason takes the place of the level.
function levelNotKnown(ctx, row, box, changed) {
  const show = () => {
    box.hidden = Boolean(field.value.trim());
  };
  const field = el("textarea", {
    id: "no-level",
    rows: 2,
    maxlength: 300,
    value: row.row?.no_level_why ?? "",
    "aria-describedby": "no-level-hint",
    oninput: () => {
      ctx.enter({ act: "no level", why: field.value }, false);
      show();
      changed();
    },
  });
  show();
  return el(
    "details.leaveout",
    { open: Boolean(field.value) },
    el("summary", {}, "The level cannot be known"),
    el(
      "div.field",
      {},
      el("label", { for: "no-level" }, "Level not known, because"),
      field,
      el(
        "p.hint",
        { id: "no-level-hint" },
        "On the bench, in a storm, without a hatch. Then only a failure is judged, and no error.",
      ),
    ),
  );
}

function leaveOut(ctx, row) {
  const { stage, n } = ctx.screen;
  if (row.why)
    return note("warn", el("strong", {}, "Not read: "), row.why, " Typing a value takes it up again.");
  const act = (rest) => (why) => {
    ctx.enter({ act: "leave out reading", stage, n, why, rest }, false);
    if (rest) ctx.go(`${stage}-result`);
    else ctx.next();
  };
  const parts = [
    reasonAside("It cannot be read", `Why ${STAGE_NAMES[stage]} cannot be read here`, act(false), [
      ["Nor any of the others", act(true)],
    ]),
  ];
  if (stage === "left" && isTwoLevels(ctx.procedure) && n === 1 && firstLevelNow(ctx.work))
    parts.push(computeInstead(ctx));
  return parts;
}

// The tank will not come back to the first level: compute what it would show, and mark it so.
function computeInstead(ctx) {
  const level = firstLevelNow(ctx.work);
  const compute = () => {
    ctx.enter({ act: "compute" }, false);
    ctx.next();
  };
  return el(
    "details.leaveout",
    {},
    el("summary", {}, "The tank cannot return to this level"),
    el(
      "p",
      {},
      `From as found and the second level it would show ${level.observed} mA at ` +
        `${measure(level.applied, ctx.job.register.unit)}. It is marked as computed, with a ` +
        "larger uncertainty.",
    ),
    el("button.button.quiet.small", { type: "button", onclick: compute }, "Take the computed value"),
  );
}
