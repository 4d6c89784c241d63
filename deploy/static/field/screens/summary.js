// The whole work on one page before it is made ready: what was found, done and left, and what is still missing.

import { limitsOf } from "../../limits.js";
import { el, facts, note, state } from "../dom.js";
import { limitsText, quantity, wrongNumber } from "../decimal.js";
import { capital, onlyLooks } from "../course.js";
import { percentText, stageOf } from "../judged.js";
import { missing, screensOf } from "../work.js";
import { stoodFailed } from "../failure.js";
import { readingsTable, stageState, stripOf } from "./result.js";
import { ways } from "./frame.js";

export function summaryScreen(ctx) {
  const { work } = ctx;
  const lacks = missing(work);
  const said = el("p.errors", { id: "said", role: "alert" });
  const ready = () => {
    const still = missing(ctx.work);
    if (still.length)
      said.textContent =
        `${still.length === 1 ? "One item is" : `${still.length} items are`} missing; they ` +
        "are listed above.";
    else ctx.makeReady();
  };
  const found = onlyLooks(ctx.procedure) ? "stands" : "found";
  const stood = stoodFailed(work);
  return {
    body: [
      lacks.length > 0
        ? lacking(ctx, lacks)
        : note(
            "good",
            state("ok", "Complete"),
            ` Make it ready, then sign and send it${navigator.onLine ? "" : " when there is a connection"}.`,
          ),
      el(
        "section.sheet",
        {},
        el("h2", {}, "Result"),
        stood && note("bad", state("bad", `${stood.head}:`), ` ${stood.details}.`),
        stripOf(ctx),
        facts([
          ["As it stands", stageWords(ctx, "stands")],
          found === "found" ? ["As found", stageWords(ctx, "found")] : ["", ""],
          ["Adjusted", adjustedWords(work)],
          found === "found"
            ? [
                "As left",
                work.adjustments.length ? stageWords(ctx, "left") : "as found: nothing was adjusted",
              ]
            : ["", ""],
          ["Tolerance", `${limitsText(limitsOf(ctx.job.register))} of span`],
          [
            "Standards",
            work.standards.map((id) => work.facts.standards.find((s) => s.id === id)?.name ?? id).join(", "),
          ],
          ["Photos", work.photos.length || ""],
        ]),
      ),
      el(
        "section.sheet",
        {},
        el("h2", {}, "Readings"),
        readings(ctx, found),
        work.adjustments.length > 0 && [
          el("h3", {}, "As left"),
          readingsTable(ctx, "left", stageOf("left", work)),
        ],
      ),
      leftOut(ctx),
      conditions(ctx),
      said,
    ],
    ways: ways(ctx, { text: "Make it ready to sign", onclick: ready, describedby: "said" }),
  };
}

function readings(ctx, found) {
  const parts = [el("h3", {}, "As it stands"), readingsTable(ctx, "stands", stageOf("stands", ctx.work))];
  if (found === "found")
    parts.push(el("h3", {}, "As found"), readingsTable(ctx, "found", stageOf("found", ctx.work)));
  return parts;
}

function lacking(ctx, lacks) {
  return el(
    "section.note.warn",
    { "aria-labelledby": "lacking" },
    el("h2", { id: "lacking" }, "Still missing"),
    el(
      "ul.plain.lacking",
      {},
      lacks.map(({ screen, said }) =>
        el("li", {}, el("a", { href: `#/work/${ctx.work.submission}/${screen}` }, said)),
      ),
    ),
  );
}

function stageWords(ctx, stage) {
  const seen = stageOf(stage, ctx.work);
  if (seen.read.length === 0) return seen.rows[0]?.why ? `not read: ${seen.rows[0].why}` : "not read";
  const word = stageState(seen, "inside", "outside");
  return [
    seen.largest === null
      ? ""
      : `worst error ${percentText(seen.largest, ctx.job)} %, ${seen.read.length} of ${seen.rows.length} read, `,
    word,
  ];
}

function adjustedWords(work) {
  if (work.adjustments.length === 0) return "nothing";
  return el(
    "ul.plain",
    {},
    work.adjustments.map((done) =>
      el(
        "li",
        {},
        `${capital(done.kind)} ${quantity(done.before || null, "mA")} → ${quantity(done.after || null, "mA")}`,
      ),
    ),
    work.adjust_reason.trim() && el("li.soft", {}, work.adjust_reason),
  );
}

function leftOut(ctx) {
  const skipped = screensOf(ctx.work).filter(
    (screen) => screen.kind === "step" && ctx.work.steps[screen.step.number]?.skipped_why,
  );
  if (skipped.length === 0) return null;
  return el(
    "section.sheet",
    {},
    el("h2", {}, "Left out"),
    el(
      "ul",
      {},
      skipped.map((screen) =>
        el(
          "li",
          {},
          `${screen.step.number}. ${screen.title}: ${ctx.work.steps[screen.step.number].skipped_why}`,
        ),
      ),
    ),
  );
}

function conditions(ctx) {
  const field = (name, label) => {
    const wrong = el("p.errors", { id: `${name}-wrong` });
    const input = el("input.figure.small", {
      id: name,
      inputmode: "decimal",
      autocomplete: "off",
      value: ctx.work[name] ?? "",
      "aria-describedby": `${name}-wrong`,
      oninput: () => {
        wrong.textContent = wrongNumber(input.value, 1);
        ctx.enter({ act: "condition", name, value: input.value }, false);
      },
    });
    return el("div.field", {}, el("label", { for: name }, label), input, wrong);
  };
  const text = el("textarea", {
    id: "work-note",
    rows: 3,
    value: ctx.work.note,
    oninput: () => ctx.enter({ act: "note", step: 0, text: text.value }, false),
  });
  return el(
    "section.sheet",
    {},
    el("h2", {}, "Conditions and note"),
    el("div.twin", {}, field("ambient_c", "Ambient, °C"), field("product_c", "Product, °C")),
    el("div.field", {}, el("label", { for: "work-note" }, "Note for the approver"), text),
  );
}

// All screens of the work, to go to any of them.
export function overviewScreen(ctx) {
  const chapters = [];
  for (const screen of ctx.screens) {
    if (chapters.at(-1)?.[0].chapter !== screen.chapter) chapters.push([]);
    chapters.at(-1).push(screen);
  }
  return {
    body: chapters.map((screens) =>
      el(
        "section.chapter",
        {},
        el("h2", {}, capital(screens[0].chapter)),
        el(
          "ol.plain.places",
          {},
          screens.map((screen) =>
            el(
              "li",
              {},
              el(
                "a",
                { href: `#/work/${ctx.work.submission}/${screen.id}` },
                el("span", {}, lineOf(screen)),
                ctx.isDone(screen) ? state("tick", "done") : state("plan", "open"),
              ),
            ),
          ),
        ),
      ),
    ),
    ways: el(
      "div.ways",
      {},
      el("button.button.quiet.back", { type: "button", onclick: () => ctx.home() }, "My jobs"),
      el("button.button.on", { type: "button", onclick: () => ctx.go(ctx.work.place) }, "Go on where I was"),
    ),
  };
}

function lineOf(screen) {
  if (screen.kind !== "step" && screen.kind !== "standards") return screen.title;
  const text = screen.step?.text ?? "Choose reference standards";
  return text.length > 84 ? `${text.slice(0, 80).trimEnd()}…` : text;
}
