// Adjusting: shut until as found is complete; then the kinds the procedure allows, each with its value before
// and after.

import { clock, el, note, plural, state } from "../dom.js";
import { keypad } from "../keypad.js";
import { adjusting, adjustStop, lineOf, MOST_ROUNDS, percentText, stageOf } from "../judged.js";
import { quantity, wrongNumber } from "../decimal.js";
import { capital, isTwoLevels } from "../course.js";
import { asides, stepText } from "./asides.js";
import { stripOf } from "./result.js";
import { hintsOn } from "./hinting.js";
import { ways } from "./frame.js";

const KINDS = {
  "output trim low": "output trim at the low end",
  "output trim high": "output trim at the high end",
};

export function adjustScreen(ctx) {
  const state_ = adjusting(ctx.work);
  const seen = stageOf("found", ctx.work);
  if (!state_.open) {
    return { body: [note("warn", el("strong", {}, "Shut. "), state_.why), stripOf(ctx)], ways: ways(ctx) };
  }
  const form = formOf(ctx, state_);
  return {
    body: [
      note(state_.isFar ? "bad" : state_.needsReason ? "warn" : "", state_.why),
      stripOf(ctx),
      state_.needsReason && reasonField(ctx, form),
      stepText(ctx, ctx.screen.step),
      ctx.work.round > 1 && el("p.strong", {}, `Attempt ${ctx.work.round} of ${MOST_ROUNDS}`),
      doneList(ctx),
      form.node,
      seen.isBeyondLimit && el("div.hints", {}, hintsOn(ctx, "found")),
      asides(ctx),
    ],
    pad: form.pad.pad,
    keys: form.pad,
    ways: ways(ctx, onward(ctx, form)),
  };
}

function onward(ctx, form) {
  const mine = ctx.work.adjustments.filter((done) => done.round === ctx.work.round);
  if (ctx.work.adjustments.length === 0)
    return { text: "Nothing adjusted: next", onclick: () => leaveAlone(ctx, form), describedby: "said" };
  return {
    onclick: () => (form.isTyped() && !form.store() ? null : ctx.next()),
    text: mine.length ? undefined : "Nothing more: next",
    describedby: "said",
  };
}

function leaveAlone(ctx, form) {
  if (form.isTyped()) {
    form.say("The fields hold a value. Save the adjustment, or clear them.");
    return;
  }
  if (ctx.screen.step) ctx.enter({ act: "done", step: ctx.screen.step.number }, false);
  ctx.next();
}

function reasonField(ctx, form) {
  const field = el("textarea", {
    id: "adjust-reason",
    rows: 2,
    maxlength: 300,
    value: ctx.work.adjust_reason,
    oninput: () => {
      ctx.enter({ act: "adjust reason", text: field.value }, false);
      form.open();
    },
  });
  return el("div.field", {}, el("label", { for: "adjust-reason" }, "Reason for adjusting"), field);
}

function doneList(ctx) {
  if (ctx.work.adjustments.length === 0) return null;
  return el(
    "ol.done.plain",
    { "aria-label": "Adjusted so far" },
    ctx.work.adjustments.map((done, at) =>
      el(
        "li",
        {},
        state("done", capital(KINDS[done.kind] ?? done.kind)),
        el(
          "span.figures",
          {},
          `${quantity(done.before || null, "mA")} → ${quantity(done.after || null, "mA")}`,
        ),
        el("span.soft", {}, clock(done.at)),
        el(
          "button.link",
          {
            type: "button",
            onclick: () => ctx.enter({ act: "drop adjustment", at }),
            "aria-label": `Remove ${done.kind}`,
          },
          "Remove",
        ),
      ),
    ),
  );
}

function formOf(ctx, { kinds }) {
  const said = el("p.errors", { id: "said", role: "alert" });
  const choices = kinds.map((kind, n) => {
    const input = el("input", {
      type: "radio",
      name: "kind",
      value: kind,
      id: `kind-${n}`,
      checked: n === Math.min(madeThisRound(ctx), kinds.length - 1),
    });
    return {
      input,
      node: el("label.choice", { for: input.id }, input, el("span", {}, capital(KINDS[kind] ?? kind))),
    };
  });
  const inputs = [];
  const pad = keypad(
    () => inputs,
    () => store(),
    { waits: true },
  );
  const box = (id, label) => {
    const input = pad.watch(
      el("input.figure", { id, inputmode: "none", autocomplete: "off", oninput: () => say("") }),
    );
    inputs.push(input);
    return el("div.entry", {}, el("label", { for: id }, label), el("div.looks", {}, input));
  };
  const unit = ctx.job.register.signal.endsWith("V") ? "V" : "mA";
  const [before, after] = [box("before", `before, ${unit}`), box("after", `after, ${unit}`)];
  const say = (text) => (said.textContent = text);
  const isTyped = () => inputs.some((input) => input.value.trim());
  const store = () => {
    const wrong = inputs.map((input) => wrongNumber(input.value)).find(Boolean);
    const stop = adjustStop(ctx.work);
    if (stop) return (say(stop), document.getElementById("adjust-reason")?.focus(), false);
    if (wrong || inputs.some((input) => !input.value.trim()))
      return (say(wrong || "Give the value before and after the adjustment."), false);
    ctx.enter({
      act: "adjusted",
      kind: choices.find(({ input }) => input.checked)?.input.value,
      before: inputs[0].value,
      after: inputs[1].value,
    });
    return true;
  };
  const fieldset = el(
    "fieldset.adjusting",
    { disabled: Boolean(adjustStop(ctx.work)) },
    el("legend", {}, "Adjust"),
    el(
      "div.choices",
      {},
      choices.map(({ node }) => node),
    ),
    aim(ctx),
    el("div.pairs", {}, before, after),
    el("button.button.quiet", { type: "button", onclick: store }, "Save this adjustment"),
  );
  return {
    node: [fieldset, said],
    pad,
    store,
    say,
    isTyped,
    open: () => (fieldset.disabled = Boolean(adjustStop(ctx.work))),
  };
}

function madeThisRound(ctx) {
  return ctx.work.adjustments.filter((done) => done.round === ctx.work.round).length;
}

// From two levels: what to set at the second level so that both ends come right.
function aim(ctx) {
  const line = isTwoLevels(ctx.procedure) ? lineOf("found", ctx.work) : null;
  if (!line) return null;
  const second = stageOf("found", ctx.work).rows[1];
  const unit = ctx.job.register.signal.endsWith("V") ? "V" : "mA";
  return el(
    "p",
    {},
    "At the second level it should show ",
    el("strong", {}, `${second.judged.expected} ${unit}`),
    ` (error now ${percentText(second.judged.error, ctx.job)} %).`,
    ctx.work.facts.procedure.adjusts.includes("span") && !line.mayAdjustSlope
      ? el("span.soft", {}, ` Only an offset: ${plural(2, "level")} this close tell no slope.`)
      : "",
  );
}
