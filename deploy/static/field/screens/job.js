// A job before it is begun: its facts, the procedure to follow, and the way in.

import { button, clock, dayText, el, note } from "../dom.js";
import { jobFacts, lastResult, noNote, stops } from "./facts.js";

export function jobScreen(app, job) {
  const offered = job.procedures.map((id) => app.pack.procedures[id]).filter(Boolean);
  let chosen = offered[0];
  const procedureBox = el("div", {}, procedureFacts(chosen));
  const select = el(
    "select",
    {
      id: "procedure",
      onchange: () => {
        chosen = offered.find((each) => String(each.id) === select.value);
        procedureBox.replaceChildren(...procedureFacts(chosen));
      },
    },
    offered.map((each) => el("option", { value: each.id }, each.name)),
  );
  const begun = app.works.find((work) => work.job === job.id && work.state === "open");
  const act = begun
    ? () => app.to(`#/work/${begun.submission}/${begun.place}`)
    : () => app.beginJob(job, chosen);
  const canBegin = Boolean(chosen && job.transmitter);
  return {
    title: "The job",
    plate: job.register.tag,
    body: [
      noNote(job),
      el(
        "p.sub",
        {},
        `${job.why.charAt(0).toUpperCase()}${job.why.slice(1)}, due ${dayText(job.due_on)}`,
        job.planned_on && `, planned for ${dayText(job.planned_on)}`,
        ".",
        job.round && ` Stop ${job.stop_number} of ${job.round}.`,
      ),
      el(
        "div.halves",
        {},
        el("section.sheet", {}, el("h2", {}, "Instrument"), jobFacts(job)),
        el(
          "div",
          {},
          el("section.sheet", {}, el("h2", {}, "Last result"), lastResult(job)),
          el(
            "section.sheet",
            {},
            el("h2", {}, "Procedure"),
            offered.length === 0 &&
              note("bad", "No procedure fits this transmitter. Ask an approver to publish one."),
            offered.length > 1 && el("div.field", {}, el("label", { for: "procedure" }, "Follow"), select),
            procedureBox,
          ),
        ),
      ),
      begun && el("p.soft", {}, `Begun ${clock(begun.begun_at)}; it is kept on this device.`),
    ],
    ways: el(
      "div.ways",
      {},
      el("a.button.quiet.back", { href: "#/" }, "My jobs"),
      canBegin && button(begun ? "Go on" : "Begin", act, { kind: ".on" }),
    ),
  };
}

function procedureFacts(procedure) {
  if (!procedure) return [];
  const points =
    procedure.shape === "test points"
      ? `${procedure.percents.map(Number).join(", ")} %${procedure.up_and_down ? ", up and down" : ""}`
      : procedure.shape;
  return [
    el("p", {}, el("strong", {}, procedure.name), `, version ${procedure.number}`),
    el("p.soft", {}, `Input: ${procedure.way}. Reads: ${points}.`),
    stops(procedure),
  ].filter(Boolean);
}
