// My jobs today, by area and tank: what is to do, how far each has come, and what is still on this device.

import { button, clock, dayText, el, note, plate, plural, state } from "../dom.js";
import { canScan, scan } from "../camera.js";
import { screensOf } from "../work.js";

const DAY = 24 * 3600 * 1000;

export function listScreen(app) {
  const places = el("div.jobs", {});
  const box = el("input", {
    id: "find",
    type: "search",
    autocomplete: "off",
    placeholder: "Tag or serial",
    value: app.sought ?? "",
    oninput: () => {
      app.sought = box.value;
      fill(app, places);
    },
  });
  fill(app, places);
  const camera = scanner(app, box);
  return {
    title: "In the plant",
    body: [
      el("p.sub", {}, fetchedWords(app)),
      waitingNote(app),
      el(
        "div.find",
        {},
        el("div.field", {}, el("label", { for: "find" }, "Find a job"), box),
        camera.opener,
        camera.view,
      ),
      places,
      el("div.buttons", {}, fetchButton(app), el("a.button.quiet", { href: "/jobs/" }, "Full site")),
    ],
  };
}

function fetchedWords(app) {
  if (!app.pack) return "No job pack is on this device yet.";
  const at = new Date(app.pack.made_at);
  const when = at.toDateString() === app.now().toDateString() ? "today" : dayText(localDay(at));
  return `${app.pack.person.name}. ${plural(app.pack.jobs.length, "job")}, fetched ${when} at ${clock(at)}.`;
}

// The day on this device's own clock; asking Intl for it takes a slow phone a tenth of a second.
function localDay(at) {
  return `${at.getFullYear()}-${at.getMonth() + 1}-${at.getDate()}`;
}

// What is on the device only, and what to do about it.
function waitingNote(app) {
  const count = (name) => app.works.filter((work) => work.state === name).length;
  const [ready, signed, open] = ["ready", "signed", "open"].map(count);
  const parts = [];
  if (ready)
    parts.push(
      el(
        "div.note.warn.row.apart",
        {},
        el(
          "span",
          {},
          el("strong", {}, plural(ready, "record")),
          " ready to be signed. Only this device has ",
          ready === 1 ? "it." : "them.",
        ),
        el("a.button.small", { href: "#/send" }, "Sign and send"),
      ),
    );
  if (signed)
    parts.push(
      note(
        "",
        el("strong", {}, plural(signed, "record")),
        ` signed, on the way to the site${navigator.onLine ? "" : " when there is a connection"}.`,
      ),
    );
  if (open) parts.push(el("p.soft", {}, `${plural(open, "record")} begun, kept on this device only.`));
  if (app.isSignedOut)
    parts.push(
      note(
        "warn",
        el("strong", {}, "Your sign-in has ended. "),
        "What is on this device " +
          `stays${signed ? ", and signed records are sent automatically once you sign in again" : ""}. ` +
          "",
        el("a", { href: "/sign-in/?next=/field/" }, "Sign in"),
      ),
    );
  else if (app.unsent?.said && navigator.onLine) parts.push(note("warn", app.unsent.said));
  if (app.shell) parts.push(note("warn", app.shell));
  const broken = app.store.broken?.length ?? 0;
  if (broken)
    parts.push(
      note(
        "bad",
        `${plural(broken, "record")} on this device cannot be opened. Do not clear the ` +
          "browser's data; ask an administrator.",
      ),
    );
  if (app.store.isPackBroken)
    parts.push(
      note("warn", "The pack on this device cannot be opened. Fetch it again while you are connected."),
    );
  if (!app.isFirm && ready + signed + open)
    parts.push(
      el(
        "p.soft",
        {},
        "This browser may delete saved data if the device runs out of storage: sign and send soon.",
      ),
    );
  if (app.others)
    parts.push(
      note(
        "",
        `${plural(app.others, "record")} of another person ${app.others === 1 ? "is" : "are"} ` +
          "sealed on this device; only they can open and send " +
          `${app.others === 1 ? "it" : "them"}.`,
      ),
    );
  return parts;
}

function fill(app, places) {
  const sought = (app.sought ?? "").trim().toLowerCase();
  const lines = linesOf(app).filter(
    ({ job }) =>
      !sought ||
      [job.register.tag, job.register.serial, job.transmitter?.serial ?? "", job.register.tank_name].some(
        (text) => text.toLowerCase().includes(sought),
      ),
  );
  if (lines.length === 0) {
    places.replaceChildren(
      el(
        "div.empty",
        {},
        el(
          "p",
          {},
          sought ? `No job on this device matches “${app.sought.trim()}”.` : "No jobs on this device.",
        ),
        el(
          "p",
          {},
          sought
            ? "Clear the search, or fetch the pack again when you are online."
            : "Fetch the pack while you are connected; it brings your jobs, the procedures and the standards.",
        ),
      ),
    );
    return;
  }
  places.replaceChildren(
    ...grouped(lines).map(([area, tanks]) =>
      el(
        "section.area",
        {},
        el("h2", {}, area),
        tanks.map(([tank, jobs]) =>
          el(
            "div.tank",
            {},
            el("h3", {}, tank),
            el(
              "ul.plain",
              {},
              jobs.map((line) => lineOf(line)),
            ),
          ),
        ),
      ),
    ),
  );
}

// Each job of the pack with the newest work on it, and works whose job has left the pack.
function linesOf(app) {
  const newest = new Map();
  for (const work of app.works) if (!newest.has(work.job)) newest.set(work.job, work);
  const jobs = app.pack?.jobs ?? [];
  const isOld = (work) => work.state === "sent" && app.now() - new Date(work.begun_at) > DAY;
  const gone = [...newest.values()]
    .filter((work) => !jobs.some((job) => job.id === work.job) && !isOld(work))
    .map((work) => ({ job: work.facts.job, work }));
  // A job that came back is to be done again: the work sent before is no longer what counts.
  const counts = (job, work) =>
    work &&
    job.state === "returned" &&
    ["sent", "set aside"].includes(work.state) &&
    work.facts.pack_made_at < app.pack.made_at
      ? null
      : work;
  return [...jobs.map((job) => ({ job, work: counts(job, newest.get(job.id) ?? null) })), ...gone];
}

function grouped(lines) {
  const areas = new Map();
  for (const line of lines) {
    const area = line.job.point.area || line.job.site_name;
    const tank = line.job.register.tank_name;
    if (!areas.has(area)) areas.set(area, new Map());
    if (!areas.get(area).has(tank)) areas.get(area).set(tank, []);
    areas.get(area).get(tank).push(line);
  }
  return [...areas].map(([area, tanks]) => [area, [...tanks]]);
}

function lineOf({ job, work }) {
  const href =
    work?.state === "open"
      ? `#/work/${work.submission}/${work.place}`
      : work
        ? work.state === "ready"
          ? "#/send"
          : `#/done/${work.submission}`
        : `#/job/${job.id}`;
  const due = job.planned_on ? `planned ${dayText(job.planned_on)}` : `due ${dayText(job.due_on)}`;
  return el(
    "li",
    {},
    el(
      "a.jobline",
      { href },
      plate(job.register.tag),
      el(
        "span.what",
        {},
        el(
          "span",
          {},
          job.transmitter ? `${job.transmitter.principle}, ${job.transmitter.serial}` : "no transmitter",
        ),
        el("span.soft", {}, due, job.mine ? "" : ", not assigned"),
      ),
      workState(work, job),
    ),
  );
}

function workState(work, job) {
  if (!work) return job.state === "returned" ? state("back", "returned") : state("plan", "not begun");
  if (work.state === "open") {
    const screens = screensOf(work);
    const at = screens.findIndex((screen) => screen.id === work.place) + 1;
    return state("hand", `step ${Math.max(at, 1)} of ${screens.length}`);
  }
  return {
    ready: () => state("soon", "ready to sign"),
    signed: () => state("sent", "signed"),
    sent: () => state("done", "sent"),
    "set aside": () => state("doubt", "set aside"),
  }[work.state]();
}

function fetchButton(app) {
  const said = el("span.soft", { role: "status" });
  const act = button(
    "Fetch the pack again",
    async () => {
      act.disabled = true;
      said.textContent = "Fetching…";
      said.textContent = await app.fetchPack();
      act.disabled = false;
    },
    { kind: ".quiet" },
  );
  return [act, said];
}

// The label's square code, where the browser can read one; typing a tag is the other way, always there.
function scanner(app, box) {
  if (!canScan()) return { opener: null, view: null };
  const video = el("video", { playsinline: true, muted: true });
  const said = el("p", { role: "status" });
  let stop = null;
  const view = el(
    "div.scanner",
    { hidden: true },
    video,
    said,
    button("Stop", () => stop?.abort(), { kind: ".quiet" }),
  );
  const opener = button(
    "Scan a label",
    async () => {
      stop = new AbortController();
      view.hidden = false;
      said.textContent = "Hold the label in front of the camera.";
      try {
        const text = await scan(video, stop.signal);
        if (text !== null) found(app, box, text, said);
        if (text === null || app.sought === box.value) view.hidden = text === null;
      } catch {
        said.textContent = "The camera cannot be used here. Type a part of the tag instead.";
      }
    },
    { kind: ".quiet" },
  );
  return { opener, view };
}

function found(app, box, text, said) {
  const [, ofTag = ""] = text.match(/\/q\/[^/]+\/([^/]+)\/?$/) ?? []; // as labels are printed: …/q/<site>/<tag>/
  const tag = decodeURIComponent(ofTag) || text;
  const job = app.pack?.jobs.find(({ point, register }) => register.tag === tag || text.endsWith(point.url));
  if (job) return app.to(`#/job/${job.id}`);
  said.textContent = "No job on this device matches this label. Fetch the pack again, or search by tag.";
  return box.focus();
}
