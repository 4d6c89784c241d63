// Handed back: what became of the work, who approves it, what to print, and when the point is due next.

import { dayText, el, facts, note, state } from "../dom.js";
import { stoodFailed } from "../failure.js";
import { percentText } from "../judged.js";
import { verdict } from "./facts.js";

export function handedScreen(app, work) {
  const { answer } = work;
  const body =
    work.state === "set aside"
      ? setAside(answer)
      : work.state === "sent"
        ? stored(work, answer)
        : waiting(app, work);
  return {
    title:
      { sent: "Handed back", "set aside": "Set aside", signed: "Signed, not yet sent" }[work.state] ??
      "Not signed yet",
    plate: work.facts.job.register.tag,
    body,
    ways: el("div.ways", {}, el("a.button.on", { href: "#/" }, "My jobs")),
  };
}

function stored(work, answer) {
  const { job } = work.facts;
  const next = answer.next ?? {};
  const stood = stoodFailed(work);
  return [
    ...(answer.troubles ?? []).map((trouble) => note("warn", trouble.said)),
    el("div.stamped", {}, el("span.stamp", {}, `Stored as record ${answer.record}`)),
    el(
      "section.sheet",
      {},
      el("h2", {}, "What was found and left"),
      stood && note("bad", state("bad", `${stood.head}:`), ` ${stood.details}.`),
      facts([
        ["As found", judged(answer.found, job, "missing")],
        ["As left", judged(answer.left, job, "as found")],
        ["Decision", answer.rule],
        ["Adjustment", next.adjust_said],
      ]),
    ),
    el(
      "section.sheet",
      {},
      el("h2", {}, "What happens next"),
      el(
        "ol.next",
        {},
        el(
          "li",
          {},
          next.approvers?.length
            ? ["It waits for ", el("strong", {}, next.approvers.join(" or ")), " to approve it."]
            : "It waits for an approver.",
        ),
        next.finding &&
          el(
            "li",
            {},
            state("bad", stood?.head ?? "Out of tolerance as found"),
            ": a finding is opened when it is approved; tell the shift today.",
          ),
        el("li", {}, dueText(next)),
        next.label_url &&
          el(
            "li",
            {},
            el("a", { href: next.label_url }, "Print the label"),
            " and put it on the transmitter.",
          ),
        answer.url &&
          el("li", {}, el("a", { href: answer.url }, `Record ${answer.record}`), " as it was stored."),
      ),
    ),
    answer.photos_missing?.length > 0 &&
      note(
        "warn",
        `${answer.photos_missing.length} of the photos are still on this device; they follow by themselves.`,
      ),
  ];
}

function dueText(next) {
  if (!next.due_on) return "The next due date is set when it is approved.";
  const day = el("strong", {}, dayText(next.due_on));
  if (next.moves_due === false) return ["It stays due ", day, ": this record moves no due date."];
  return ["Next due ", day, next.interval ? `, ${next.interval}` : "", ", once it is approved."];
}

function judged(part, job, otherwise) {
  if (!part?.verdict) return otherwise;
  return [
    verdict(part.verdict),
    part.largest === null || part.largest === undefined
      ? ""
      : `, worst error ${percentText(part.largest, job)} % of span`,
  ];
}

function setAside(answer) {
  return [
    note(
      "warn",
      el("strong", {}, "Nothing is lost. "),
      "Your record is stored at the site exactly as you signed it. It differs from the " +
        "plant's register, so a planner or an approver compares the two and settles it.",
    ),
    el(
      "section.sheet",
      {},
      el("h2", {}, "Why"),
      el(
        "ul.plain.lacking",
        {},
        (answer.troubles ?? []).map((trouble) => el("li", {}, trouble.said)),
      ),
    ),
    answer.url && el("p", {}, el("a", { href: answer.url }, "Both versions side by side")),
    el("p.soft", {}, "Nothing more to do. Ask the planner before you calibrate this point again."),
  ];
}

function waiting(app, work) {
  const words =
    work.state === "signed"
      ? "It is signed and is sent automatically once there is a connection; you can close this page."
      : "It is saved on this device and waits for your signature.";
  return [
    note("", words),
    work.state === "ready" && el("a.button", { href: "#/send" }, "Sign and send"),
    !navigator.onLine && el("p", {}, state("off", "no connection")),
    work.trouble && note("warn", work.trouble),
  ];
}
