// A stage in one look: every reading with its error, zero and span where they are computed, and what follows.

import { limitsOf } from "../../limits.js";
import { draw } from "../../livestrip.js";
import { el, note, state, strip } from "../dom.js";
import { isTwoLevels, STAGE_NAMES } from "../course.js";
import { limitsText, measure, plusMinus, quantity, symbol } from "../decimal.js";
import {
  errorsOf,
  liftText,
  MOST_ROUNDS,
  percentText,
  rowsOf,
  stageOf,
  stopsOf,
  thirdOf,
} from "../judged.js";
import { fixed } from "../../readings.js";
import { asides } from "./asides.js";
import { hintsOn } from "./hinting.js";
import { ways } from "./frame.js";

export function resultScreen(ctx) {
  const { stage } = ctx.screen;
  const seen = stageOf(stage, ctx.work);
  return {
    body: [
      overall(ctx, stage, seen),
      stripOf(ctx),
      seen.ends && endsOf(ctx, seen.ends),
      stage === "found" && thirdLevel(ctx),
      isTwoLevels(ctx.procedure) &&
        seen.isComplete &&
        !seen.ends &&
        note(
          "warn",
          "Two different levels with a current each are needed before zero and span can be computed.",
        ),
      readingsTable(ctx, stage, seen),
      stopsOf(ctx.work).map((text) => note("bad", el("strong", {}, "Stop and call for help: "), text)),
      el("div.hints", {}, hintsOn(ctx, stage)),
      stage === "left" && seen.isComplete && again(ctx, seen),
      asides(ctx),
    ],
    ways: ways(ctx),
  };
}

function overall(ctx, stage, seen) {
  if (seen.read.length === 0)
    return el("p", {}, state("off", "nothing read"), " ", seen.rows[0]?.why ? `: ${seen.rows[0].why}` : "");
  const word = stageState(seen, "inside the tolerance", "outside the tolerance");
  const error = seen.largest === null ? "\u2013" : percentText(seen.largest, ctx.job);
  return [
    el(
      "div.twin",
      {},
      el(
        "div",
        {},
        el("span.soft", {}, "worst error, % of span"),
        el(`div.big${seen.isIn ? "" : ".bad"}`, {}, error),
      ),
      el(
        "div.beside",
        {},
        word,
        el("span.soft", {}, `tolerance ${limitsText(limitsOf(ctx.job.register))}`),
        stage === "found" && el("span.soft", {}, advice(ctx, seen)),
      ),
    ),
    seen.hysteresis !== null &&
      /[1-9]/.test(percentText(seen.hysteresis, ctx.job)) &&
      el(
        "p.soft",
        {},
        `Falling differs from rising by up to ${percentText(seen.hysteresis, ctx.job)} % of span.`,
      ),
  ];
}

// A stage in a word.
export function stageState(seen, inside, outside) {
  if (seen.failures.length) return state("bad", `NE 43: ${seen.failures[0].judged.band}`);
  if (!seen.isJudged) return state("plan", "not judged: level not known");
  return seen.isIn ? state("ok", inside) : state("bad", outside);
}

function advice(ctx, seen) {
  const limit = plusMinus(ctx.job.register.adjust_limit_percent);
  return seen.isBeyondLimit
    ? `beyond the adjust limit ${limit}`
    : `within the adjust limit ${limit}: leave it alone`;
}

export function stripOf(ctx) {
  const errors = ["found", "left"].map((stage) => [
    ...errorsOf(rowsOf(stage, ctx.work)),
    ...endErrors(ctx, stage),
  ]);
  if (errors.flat().length === 0) return null;
  const picture = strip("Errors as found (hollow) and as left (filled) within the tolerance band");
  draw(picture, { found: errors[0], left: errors[1] }, limitsOf(ctx.job.register));
  return picture;
}

function endErrors(ctx, stage) {
  const { ends } = stageOf(stage, ctx.work);
  return ends?.mayJudge ? [ends.zeroError, ends.spanEndError] : [];
}

// Zero and span from two levels, with how much the levels' own errors grow there.
function endsOf(ctx, ends) {
  const { register } = ctx.job;
  const row = (name, at, output, error, lift) =>
    el(
      "tr",
      {},
      el("th", { scope: "row" }, name, el("span.soft.small", {}, ` ${measure(at, register.unit)}`)),
      el("td.num", {}, fixed(output, 3)),
      el("td.num", {}, percentText(error, ctx.job)),
      el("td.num", {}, liftText(lift)),
    );
  return el(
    "section.sheet",
    {},
    el("h2", {}, "Zero and span, computed"),
    el(
      "table.tight",
      {},
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          el("th", {}, "end"),
          el("th.num", {}, "would show, mA"),
          el("th.num", {}, "error, %"),
          el("th.num", {}, "lift A"),
        ),
      ),
      el(
        "tbody",
        {},
        row("zero", register.lower, ends.zero, ends.zeroError, ends.liftAtZero),
        row("span", register.upper, ends.spanEnd, ends.spanEndError, ends.liftAtSpanEnd),
      ),
    ),
    el(
      "p.soft",
      {},
      `The levels lie ${fixed(100 * ends.apart, 0)} % of span apart. A is how much the ` +
        "independent errors of both levels grow at that end.",
    ),
    !ends.mayJudge &&
      note(
        "warn",
        "The levels are too close for a verdict at the range ends: only the two levels themselves are judged.",
      ),
    !ends.mayAdjustSlope &&
      note(
        "warn",
        "For a slope the levels must be at least 40 % of span apart and A at most 2 at both " +
          "ends: here only an offset may be adjusted.",
      ),
  );
}

// The reading as it stands lies on the line through both levels, or the line does not tell of the ends.
function thirdLevel(ctx) {
  const third = thirdOf(ctx.work);
  if (!third) return null;
  const { unit } = ctx.job.register;
  const where =
    `As it stands, at ${measure(third.applied, unit)}, it lies ` +
    `${percentText(third.off, ctx.job)} % of span off the line through the two levels`;
  if (third.open === null) return el("p.soft", {}, `${where}: a check of the line.`);
  if (Math.abs(third.off) <= third.open)
    return el(
      "p.soft",
      {},
      `${where}, within the uncertainty of the readings (${plusMinus(third.open)}): the line is confirmed.`,
    );
  return note(
    "warn",
    `${where}, more than the uncertainty of the readings (${plusMinus(third.open)}). ` +
      "Repeat that level and the other two; if it persists, the output is not linear or the " +
      "product changed: do not adjust by this line.",
  );
}

export function readingsTable(ctx, stage, seen) {
  const { unit, signal } = ctx.job.register;
  const rows = seen.rows.map((row) =>
    el(
      "tr",
      {},
      el(
        "th",
        { scope: "row" },
        el(
          "a",
          {
            href: `#/work/${ctx.work.submission}/${stage === "stands" ? "stands" : `${stage}-${row.place.n}`}`,
          },
          placeName(row, ctx, stage),
        ),
      ),
      row.isRead
        ? [
            row.noLevel
              ? el("td.soft", {}, `not known: ${row.noLevel}`)
              : el("td.num", {}, quantity(row.values.applied, unit)),
            el(
              "td.num",
              {},
              row.values.observed === null
                ? quantity(row.values.indication, unit)
                : quantity(row.values.observed, "mA"),
            ),
            el(
              `td.num${row.judged.verdict === "fail" ? ".out" : ""}`,
              {},
              row.judged.errorText,
              row.judged.verdict === "fail" ? el("span.hide", {}, " outside") : "",
              row.isComputed ? el("span.soft", {}, "computed") : "",
            ),
          ]
        : el("td.soft", { colspan: 3 }, row.why ? `not read: ${row.why}` : "not read yet"),
    ),
  );
  return el(
    "div.scroll",
    { tabindex: 0, role: "region", "aria-label": `Readings ${STAGE_NAMES[stage]}` },
    el(
      "table.tight.readings",
      {},
      el("caption.hide", {}, `Readings ${STAGE_NAMES[stage]}`),
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          el("th", {}, "at"),
          el("th.num", {}, symbol(unit)),
          el("th.num", {}, signal.endsWith("V") ? "V" : "mA"),
          el("th.num", {}, "error, %"),
        ),
      ),
      el("tbody", {}, rows),
    ),
  );
}

function placeName({ place }, ctx, stage) {
  if (stage === "stands") return "as it stands";
  if (isTwoLevels(ctx.procedure)) return place.n === 1 ? "first level" : "second level";
  const side = ctx.procedure.up_and_down ? (place.rising ? " \u2191" : " \u2193") : "";
  return `${place.percent}\u00a0%${side}`;
}

function again(ctx, seen) {
  if (seen.isIn && !seen.isBeyondLimit) return null;
  if (ctx.work.round >= MOST_ROUNDS) return null;
  const onward = () => {
    ctx.enter({ act: "again" }, false);
    ctx.go("adjust");
  };
  return el(
    "div.buttons",
    {},
    el(
      "button.button.quiet",
      { type: "button", onclick: onward },
      `Adjust again, attempt ${ctx.work.round + 1} of ${MOST_ROUNDS}`,
    ),
  );
}

// As left where nothing was adjusted: it is as found.
export function untouchedScreen(ctx) {
  const seen = stageOf("found", ctx.work);
  return {
    body: [
      el("p", {}, "Nothing was adjusted, so as left is as found."),
      overall(ctx, "left", seen),
      stripOf(ctx),
    ],
    ways: ways(ctx),
  };
}
