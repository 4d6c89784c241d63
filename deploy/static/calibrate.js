// The calibration form while it is being filled in: expected value, error and verdict beside each reading, as-found
// first, standards by day, and a look at the session before sending. Without this script the server does it all.

import { draw } from "./livestrip.js";
import { judge, percent, percentAt, typed } from "./readings.js";

const form = document.getElementById("calibration");
const against = JSON.parse(document.getElementById("numbers").textContent);
const tables = Object.fromEntries(
  [...form.querySelectorAll("table[data-stage]")].map((table) => [table.dataset.stage, table]),
);
const later = form.querySelector("[data-after-found]");
const reason = form.elements.namedItem("no_as_found_reason");
const day = form.elements.namedItem("done_on");

form.addEventListener("input", (event) => {
  refresh();
  const part = event.target;
  if (part.dataset.part) say(part, typed(part.value).wrong);
  if (part.closest("[data-adjustment]")) form.querySelector("[data-left]").open = true;
});
form.addEventListener("change", advise);
day.addEventListener("input", offerStandards);
form.addEventListener("submit", send);
refresh();
advise();
offerStandards();

function refresh() {
  const judgements = {};
  for (const [stage, table] of Object.entries(tables)) judgements[stage] = rowsOf(table).map(tell);
  const isComplete = rowsOf(tables.found).every(isDone) && judgements.found.some((row) => row.verdict);
  const opens = isComplete || reason.value.trim() !== "";
  later.disabled = !opens;
  form.querySelector("[data-waits]").hidden = opens;
  const live = form.querySelector("[data-live]");
  const [found, left] = [errorsOf(judgements.found), errorsOf(judgements.left)];
  live.hidden = found.length + left.length === 0;
  draw(live.querySelector("svg"), { found, left }, against.limits);
}

function rowsOf(table) {
  return [...table.querySelectorAll("[data-row]")];
}

function part(row, name) {
  return typed(row.querySelector(`[data-part=${name}]`).value);
}

// Read, or left out on purpose.
function isDone(row) {
  const [applied, observed, indication] = ["applied", "observed", "indication"].map((name) =>
    part(row, name),
  );
  return (!applied.text && !applied.wrong) || Boolean(applied.text && (observed.text || indication.text));
}

function tell(row) {
  const given = Object.fromEntries(
    ["applied", "observed", "indication"].map((name) => [name, part(row, name).text ?? null]),
  );
  const judged = judge({ ...given, noLevel: reasonOf(row) }, against);
  const place = (name) => row.querySelector(`[data-judged=${name}]`);
  place("expected").textContent = judged.expected;
  place("error").textContent = judged.errorText;
  place("error").parentElement.classList.toggle("out", judged.verdict === "fail");
  if (given.applied !== null) {
    const share = percentAt(Number(given.applied), Number(against.lower), Number(against.upper));
    place("percent").textContent = `${share
      .toFixed(0)
      .replace(/^-(?=0$)/, "")
      .replace("-", "\u2212")} %`;
  }
  if (place("verdict").dataset.shown !== judged.verdict) {
    place("verdict").replaceChildren(...copy(judged.verdict && `verdict-${judged.verdict.replace(" ", "-")}`));
    place("verdict").dataset.shown = judged.verdict;
  }
  place("band").textContent = judged.band && judged.band !== "measuring" ? `NE 43: ${judged.band}` : "";
  return judged;
}

// A reading in a failure band tells of the instrument, not of its error.
function errorsOf(rows) {
  return rows.filter((row) => row.verdict && !row.band.startsWith("failure")).map((row) => row.error);
}

// Why no level is known, which only a reading as it stands has a field for.
function reasonOf(row) {
  const name = row.querySelector("[data-part=applied]").name.replace(/applied$/, "no_level_reason");
  return form.elements.namedItem(name)?.value.trim() ?? "";
}

function copy(id) {
  return id ? [...document.getElementById(id).content.cloneNode(true).childNodes] : [];
}

// Beside the field, as the server would say it.
function say(field, wrong) {
  const box = field.closest(".field");
  box.querySelector(".errorlist")?.remove();
  box.classList.toggle("wrong", Boolean(wrong));
  field.toggleAttribute("aria-invalid", Boolean(wrong));
  field.removeAttribute("aria-describedby");
  if (!wrong) return;
  const list = document.createElement("ul");
  list.className = "errorlist";
  list.id = `${field.id}_error`;
  list.append(...copy("error-mark"));
  list.querySelector("li > span").textContent = wrong;
  box.append(list);
  field.setAttribute("aria-describedby", list.id);
}

// After a whole entry, not at every key: this line is read aloud.
function advise() {
  const rows = rowsOf(tables.found);
  const errors = errorsOf(rows.map(tell));
  const line = form.querySelector("[data-advice]");
  if (errors.length === 0) {
    line.textContent = "";
    return;
  }
  const largest = errors.reduce((a, b) => (Math.abs(b) > Math.abs(a) ? b : a));
  const read =
    `${errors.length} of ${rows.length} read, largest error ` +
    `${percent(largest, against.tolerance)} % of span`;
  const limit = `the adjust limit \u00b1${against.adjustLimit.toFixed(2)} %`;
  line.textContent =
    Math.abs(largest) > against.adjustLimit
      ? `${read}: beyond ${limit}.`
      : `${read}: within ${limit}, leave it alone.`;
}

function offerStandards() {
  let offered = 0;
  for (const label of form.querySelectorAll("[data-covers]")) {
    const box = label.querySelector("input");
    const covers = label.dataset.covers.split(" ").some((span) => {
      const [first, last] = span.split("/");
      return first <= day.value && day.value <= last;
    });
    label.hidden = !covers && !box.checked;
    box.disabled = label.hidden;
    offered += covers;
  }
  form.querySelector("[data-none]").hidden = offered > 0;
}

// A session may have ended since the form was opened. Asked first, so that nothing typed is sent into the void.
async function send(event) {
  if (event.submitter?.name === "check") {
    later.disabled = false; // a look stores nothing: it goes its plain way, with what stands below too
    return;
  }
  event.preventDefault();
  const trouble = form.querySelector("[data-trouble]");
  const button = form.querySelector("button.button");
  button.disabled = true;
  const token = await freshToken();
  button.disabled = false;
  if (token.text) {
    form.elements.namedItem("csrfmiddlewaretoken").value = token.text;
    later.disabled = false; // what is disabled would not be sent, and so not be shown again
    form.submit();
    return;
  }
  trouble.textContent = token.trouble;
  if (token.link) {
    const link = Object.assign(document.createElement("a"), {
      href: token.link,
      target: "_blank",
      textContent: "Sign in in a new tab",
    });
    trouble.append(" ", link, ", then send again here.");
  }
  trouble.hidden = false;
}

async function freshToken() {
  let answer;
  try {
    answer = await fetch(location.href, { credentials: "same-origin", cache: "no-store" });
  } catch {
    return {
      trouble: "No connection. Everything you entered is still here; send it again when you are connected.",
    };
  }
  if (new URL(answer.url).pathname.startsWith("/sign-in/")) {
    return {
      trouble: "You have been signed out. Everything you entered is still here.",
      link: "/sign-in/",
    };
  }
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const input = page.querySelector("input[name=csrfmiddlewaretoken]");
  return input
    ? { text: input.value }
    : {
        trouble: `The site answered ${answer.status}. Everything you entered is still here; try again in a moment.`,
      };
}
