// Choosing reference standards: the own kit first; what may not be used is shown with the reason, not hidden.

import { limitsOf } from "../../limits.js";
import { dayText, el, note, state } from "../dom.js";
import { dayAt } from "../content.js";
import { fixed } from "../../readings.js";
import { asides, stepText } from "./asides.js";
import { ways } from "./frame.js";
import { asksOf } from "./step.js";

const METERS = ["multimeter", "loop calibrator"];

export function standardsScreen(ctx) {
  const offered = offeredOf(ctx);
  const said = el("p.errors", { id: "said", role: "alert" });
  const mine = offered.filter((each) => each.standard.mine);
  const others = offered.filter((each) => !each.standard.mine);
  const asks = asksOf(ctx, ctx.screen.step);
  let isWarned = false;
  const on = () => {
    if (ctx.work.standards.length === 0)
      said.textContent = "Choose at least one; otherwise the result is not traceable.";
    else if (!isWarned && !readsLoop(ctx)) {
      isWarned = true;
      said.textContent =
        "No meter is chosen, so the loop reading would not be traceable. Choose one, or " +
        "continue without; the approver is informed.";
    } else ctx.next();
  };
  return {
    body: [
      stepText(ctx, ctx.screen.step),
      offered.length === 0 && note("bad", "No reference standard is registered at this site. Ask a planner."),
      mine.length > 0 && group(ctx, "Your kit", mine),
      others.length > 0 &&
        group(ctx, mine.length ? "Other standards of the site" : "Standards of the site", others),
      asks.nodes,
      said,
      asides(ctx),
    ],
    pad: asks.pad?.pad,
    ways: ways(ctx, { onclick: on, text: undefined, describedby: "said" }),
    keys: asks.pad,
  };
}

function readsLoop(ctx) {
  return ctx.work.facts.standards.some(
    ({ id, kind }) => METERS.includes(kind) && ctx.work.standards.includes(id),
  );
}

// Each standard with whether it may be chosen today, and why not: [{standard, isOpen, why, tur}], usable ones first.
function offeredOf(ctx) {
  const today = dayAt(ctx.app.now(), ctx.job.time_zone);
  const all = ctx.work.facts.standards.map((standard) => {
    const covering = standard.certificates.find((c) => c.from <= today && today <= c.until);
    const kit = ctx.job.kit?.[standard.id];
    if (!covering) return { standard, isOpen: false, why: lapsed(standard), tur: null };
    if (kit && !kit.fits)
      return { standard, isOpen: false, why: kit.why || "out of range for this point", tur: null, covering };
    return { standard, isOpen: true, why: kit?.why ?? "", tur: ratioOf(ctx.job, kit), covering };
  });
  return all.sort((a, b) => b.isOpen - a.isOpen || a.standard.name.localeCompare(b.standard.name));
}

// A one-sided tolerance has no width, and so no ratio to U.
function ratioOf(job, kit) {
  return limitsOf(job.register).sides === "both" ? (kit?.tur ?? null) : null;
}

function lapsed(standard) {
  const last = standard.certificates
    .map((c) => c.until)
    .sort()
    .at(-1);
  return last ? `its certificate ended ${dayText(last)}` : "it has no certificate";
}

function group(ctx, title, offered) {
  return el(
    "fieldset.kit",
    {},
    el("legend", {}, title),
    offered.map((each) => standardOf(ctx, each)),
  );
}

function standardOf(ctx, { standard, isOpen, why, tur, covering }) {
  const chosen = ctx.work.standards.includes(standard.id);
  const isLow = isOpen && tur !== null && tur < ctx.job.least_tur;
  const input = el("input", {
    type: "checkbox",
    checked: chosen,
    disabled: !isOpen && !chosen,
    id: `standard-${standard.id}`,
    onchange: () => ctx.enter({ act: "standard", id: standard.id, on: input.checked }, false),
  });
  const device = [standard.kind, standard.maker, standard.model, standard.serial].filter(Boolean).join(", ");
  return el(
    `label.standard${isOpen ? "" : ".shut"}`,
    { for: `standard-${standard.id}` },
    input,
    el(
      "span",
      {},
      el("strong", {}, standard.name),
      el("span.soft", {}, device),
      isOpen &&
        el(
          "span.soft",
          {},
          `${covering.number}, valid until ${dayText(covering.until)}`,
          tur !== null && !isLow ? `; TUR ${fixed(tur, 1)} : 1` : "",
        ),
      isLow &&
        state(
          "doubt",
          `TUR ${fixed(tur, 1)} : 1, below ${fixed(ctx.job.least_tur, 0)} : 1: the result may be inconclusive`,
        ),
      !isOpen && state("off", `not to be used: ${why}`),
    ),
  );
}
