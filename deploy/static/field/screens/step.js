// One caution, preparation, check or restoring step: read, answered, and done or left out with a reason.

import { clock, el, state } from "../dom.js";
import { keypad } from "../keypad.js";
import { settleTimer } from "../settle.js";
import { digitsOf, emptyAsks, settleSeconds } from "../work.js";
import { symbol, wrongNumber } from "../decimal.js";
import { asides, stepText } from "./asides.js";
import { ways } from "./frame.js";

export function stepScreen(ctx) {
  const { step } = ctx.screen;
  const taken = () => ctx.work.steps[step.number] ?? {};
  const isCaution = step.kind === "caution";
  const said = el("p.errors", { id: "said", role: "alert" });
  const timer = stepTimer(ctx, step, taken);
  const asks = asksOf(ctx, step);
  const done = () => {
    const empty = emptyAsks(step, ctx.work);
    if (empty.length) {
      said.textContent =
        "Still to note: " +
        `${empty.map((ask) => ask.label).join(", ")}.${isCaution ? "" : " Or leave the step out with a reason."}`;
      ctx.focusAsk(empty[0]);
      return;
    }
    if (timer && !timer.isOver()) {
      said.textContent = "Not settled yet: wait, or tick that it is read early.";
      return;
    }
    ctx.enter({ act: isCaution ? "acknowledge" : "done", step: step.number }, false);
    ctx.next();
  };
  const word = taken().done_at ? null : isCaution ? "I acknowledge this" : "Done";
  const body = [
    el(
      `div.${isCaution ? "warning" : "task"}`,
      {},
      isCaution && el("p.kind", {}, state("doubt", "Caution")),
      stepText(ctx, step),
    ),
    taken().done_at &&
      el(
        "p.taken",
        {},
        state(
          "tick",
          isCaution
            ? `Acknowledged by ${taken().by}, ${clock(taken().done_at)}`
            : `Done, ${clock(taken().done_at)}`,
        ),
        " ",
        el(
          "button.link",
          { type: "button", onclick: () => ctx.enter({ act: "take back", step: step.number }) },
          "Take back",
        ),
      ),
    timer?.box,
    asks.nodes,
    said,
    asides(ctx),
    isCaution &&
      el(
        "p.hint",
        {},
        "The site's permits, local codes and licensed practice come first; this page does not authorise work.",
      ),
  ];
  return {
    body,
    pad: asks.pad?.pad,
    ways: ways(ctx, word ? { text: word, onclick: done, describedby: "said" } : undefined),
    keys: asks.pad,
  };
}

function stepTimer(ctx, step, taken) {
  const seconds = settleSeconds(ctx.screen, ctx.procedure);
  if (!seconds) return null;
  if (!taken().settling_at) ctx.enter({ act: "settle step", step: step.number }, false);
  const timer = settleTimer({
    seconds,
    of: taken,
    now: () => ctx.app.now(),
    again: () => {
      ctx.enter({ act: "settle step", step: step.number, again: true }, false);
      timer.show();
    },
    cut: (on) => ctx.enter({ act: "cut step", step: step.number, on }, false),
  });
  ctx.leaving(timer.stop);
  return timer;
}

// What a step asks for. Numbers share one keypad; it is there only where there are numbers.
export function asksOf(ctx, step) {
  const asked = (step?.asks ?? []).filter((ask) => !["standards", "photo"].includes(ask.kind));
  const inputs = [];
  const pad = asked.some((ask) => ask.kind === "number")
    ? keypad(
        () => inputs,
        () => inputs.at(-1).blur(),
        { waits: true },
      )
    : null;
  const places = {};
  const nodes = asked.map((ask) => {
    const place = fieldOf(ctx, step, ask, pad, inputs);
    places[ask.name] = place.input;
    return place.node;
  });
  ctx.focusAsk = (ask) => places[ask.name]?.focus();
  return { nodes, pad };
}

function fieldOf(ctx, step, ask, pad, inputs) {
  const value = ctx.work.steps[step.number]?.answers?.[ask.name] ?? "";
  const id = `ask-${ask.name}`;
  const put = (text) => ctx.enter({ act: "answer", step: step.number, name: ask.name, value: text }, false);
  const label = el(
    "label",
    { for: id },
    ask.label,
    ask.unit ? `, ${symbol(ask.unit)}` : "",
    !ask.needed && el("span.optional", {}, " (if known)"),
  );
  if (ask.kind === "tick") {
    const input = el("input", {
      type: "checkbox",
      id,
      checked: Boolean(value),
      onchange: () => put(input.checked ? "yes" : ""),
    });
    return { input, node: el("label.tick.large", {}, input, el("span", {}, ask.label)) };
  }
  if (ask.kind === "number") {
    const wrong = el("p.errors", { id: `${id}-wrong` });
    const input = pad.watch(
      el("input.figure", {
        id,
        value,
        inputmode: "none",
        autocomplete: "off",
        "aria-describedby": `${id}-wrong`,
        oninput: () => {
          wrong.textContent = wrongNumber(input.value, digitsOf(ask.name));
          put(input.value);
        },
      }),
    );
    inputs.push(input);
    return { input, node: el("div.field.asked", {}, label, input, wrong) };
  }
  if (ask.kind === "time") {
    const input = el("input", { type: "time", id, value, oninput: () => put(input.value) });
    const now = el(
      "button.button.quiet.small",
      {
        type: "button",
        onclick: () => {
          input.value = clock(ctx.app.now());
          put(input.value);
        },
      },
      "Now",
    );
    return { input, node: el("div.field.asked", {}, label, el("div.row", {}, input, now)) };
  }
  const input = el("input", {
    id,
    value,
    maxlength: 200,
    autocomplete: "off",
    oninput: () => put(input.value),
  });
  return { input, node: el("div.field.asked", {}, label, input) };
}
