// In the plant: the pages of the guided job on this device. Which screen is drawn stands in the address (#/…), so
// that back, reload and an empty battery all come back to the same place.

import { el, plate } from "./dom.js";
import { begin, contentOf, enter, firstBefore, isDone, screensOf } from "./work.js";
import { NotKept, openStore } from "./store.js";
import { sha256Of } from "./seal.js";
import { afterPaint, keeper } from "./keeping.js";
import { ownerOf, refresh, startSending } from "./outbox.js";
import { cannot, plainly } from "./plain.js";
import { keepShell, takeNewest } from "./shell.js";
import { ways, whereabouts, workHeader } from "./screens/frame.js";
import { factsScreen, jobCard } from "./screens/facts.js";
import { stepScreen } from "./screens/step.js";
import { standardsScreen } from "./screens/standards.js";
import { readingScreen } from "./screens/reading.js";
import { resultScreen, untouchedScreen } from "./screens/result.js";
import { adjustScreen } from "./screens/adjust.js";
import { overviewScreen, summaryScreen } from "./screens/summary.js";
import { listScreen } from "./screens/list.js";
import { jobScreen } from "./screens/job.js";
import { signScreen } from "./screens/sign.js";
import { handedScreen } from "./screens/handed.js";

const SCREENS = {
  step: stepScreen,
  standards: standardsScreen,
  reading: readingScreen,
  result: resultScreen,
  untouched: untouchedScreen,
  adjust: adjustScreen,
};
const root = document.getElementById("field");
const toldOnce = el("p.note.warn", { hidden: true, role: "status" });

const app = {
  store: null,
  pack: null,
  works: [],
  others: 0,
  person: null,
  work: null,
  sought: "",
  isFirm: true,
  isSignedOut: false,
  unsent: null,
  now: () => new Date(),
  to: (hash) => (location.hash === hash ? draw() : (location.hash = hash)),
  reload,
  fetchPack,
  beginJob: (job, procedure) =>
    beginJob(job, procedure).catch((error) => keeping.refused("The job is not begun.", error)),
  openAgain: (work) =>
    openAgain(work).catch((error) => keeping.refused("The work is not open again.", error)),
};
let keeping = null;
let drawn = null; // what stands on the page: its screen's way of taking keys, and what to stop when it goes

start();

async function start() {
  const trouble = cannot();
  if (trouble) return plainly("This page cannot keep your work here", trouble);
  try {
    [app.store] = await Promise.all([openStore(), takeNewest()]);
  } catch (error) {
    return plainly(
      "This device does not keep data for this page",
      `The browser refused its storage (${error.message}). Leave private browsing, or free ` +
        "some space; until then use the full site.",
    );
  }
  keeping = keeper(app.store);
  app.store.onKept = (submission, date) => app.work?.submission === submission && keeping.kept(date);
  app.store.onGone = () => location.reload();
  const who = await ownerOf(app.store);
  app.isSignedOut = !who.offline && !who.person;
  const said = who.person && !app.store.me ? await fetchPack() : "";
  await reload();
  if (!app.store.me) return signInFirst(said);
  window.addEventListener("hashchange", () => draw());
  document.addEventListener("keydown", toKeypad);
  for (const change of ["online", "offline"])
    window.addEventListener(change, () => app.work === null && draw());
  await draw(true);
  return afterPaint(() => afterOpening(who));
}

// What need not be there for the first screen.
function afterOpening(who) {
  if (who.person && isOld(app.pack)) fetchPack();
  app.store
    .persist()
    .catch(() => false)
    .then((is) => {
      app.isFirm = is;
    }); // a browser may ask the person first
  keepShell().then((why) => {
    app.shell = why;
    if (why && !app.work) draw();
  });
  app.store.prune().catch(() => null);
  startSending(app.store, async (done) => {
    app.unsent = done.left ? done : null;
    app.isSignedOut = done.left ? Boolean(done.signIn) : app.isSignedOut;
    await reload();
    const { screen } = route();
    if (["", "done", "send"].includes(screen)) draw(true);
  });
}

const FRESH = 10 * 60 * 1000;

function isOld(pack) {
  return !pack || app.now() - new Date(pack.made_at) > FRESH;
}

function signInFirst(said) {
  plainly(
    "Sign in first",
    `${said ? `${said} ` : ""}There is no job pack for you on this device yet. Sign in ` +
      "while you are connected; after that it works offline.",
  );
  root
    .querySelector("a")
    .replaceWith(
      el("a.button", { href: `/sign-in/?next=${encodeURIComponent(location.pathname)}` }, "Sign in"),
    );
}

// ---- data ----
async function reload() {
  const { store } = app;
  app.person = store.me;
  [app.pack, app.works, app.others] = await Promise.all([store.pack(), store.works(), store.othersSealed()]);
}

// A new pack; what to say about it.
async function fetchPack() {
  try {
    const answer = await refresh(app.store);
    if (answer?.ok === false) return answer.said;
    app.isSignedOut = false;
    await reload();
    if (drawn && !app.work) draw();
    return "";
  } catch (error) {
    return error instanceof NotKept
      ? `The pack is not kept: ${error.message}`
      : "No connection. What was downloaded before is still here.";
  }
}

async function beginJob(job, procedure) {
  const work = begin(job, procedure, app.pack, app.now());
  await app.store.keep(work);
  await reload();
  // The facts were just read; they stay one step back.
  app.to(`#/work/${work.submission}/${screensOf(work)[1].id}`);
}

async function openAgain(work) {
  const { content, sha256, ...rest } = work;
  await app.store.keep({ ...rest, state: "open" });
  await reload();
  app.to(`#/work/${work.submission}/summary`);
}

// Frozen: from here on the text is what is signed and sent, to the last byte.
async function makeReady(work) {
  const { job, procedure } = work.facts;
  const device = { label: deviceLabel(), agent: navigator.userAgent.slice(0, 200) };
  const content = contentOf(work, job, procedure, app.pack, app.now(), device);
  const sha256 = await sha256Of(new TextEncoder().encode(content));
  keeping.forget();
  try {
    await app.store.keep({ ...work, state: "ready", content, sha256 });
  } catch (error) {
    keeping.soon(work);
    return keeping.refused("The work is not made ready.", error);
  }
  await reload();
  return app.to("#/send");
}

function deviceLabel() {
  const about = navigator.userAgentData?.platform || navigator.platform || "device";
  return `${about}, ${screen.width} × ${screen.height}`;
}

// ---- where one is ----
function route() {
  const [, name = "", id = "", screen = ""] = location.hash.split("/");
  return { screen: name, id, part: screen };
}

// isFresh: the works have just been read.
async function draw(isFresh = false) {
  keeping.keepTyped();
  drawn?.stops.forEach((stop) => stop());
  const { screen, id, part } = route();
  const held = { stops: [], keys: null };
  drawn = held;
  if (screen === "work") {
    const work = app.work?.submission === id ? app.work : (keeping.held(id) ?? (await app.store.work(id)));
    if (drawn !== held) return;
    if (work?.state === "open" && !(await holds(id))) return drawPage(elsewhere(work), held);
    if (drawn !== held) return;
    if (work?.state === "open") return drawWork(work, part, held);
    app.work = null;
    if (work) return app.to(work.state === "ready" ? "#/send" : `#/done/${id}`);
    return drawPage(listScreen(app), held);
  }
  app.work = null;
  letGo();
  if (screen === "" && app.store.me && !isFresh) app.works = await app.store.works();
  if (drawn !== held) return;
  drawPage(pageOf(screen, id), held);
}

// One tab at a time works on one work, so that the last key of one does not undo the other's.
let holding = null;

async function holds(id, tries = 4) {
  if (holding?.id === id) return true;
  letGo();
  const isMine = await new Promise((resolve) => {
    const held = (lock) =>
      lock ? new Promise((release) => resolve(Boolean((holding = { id, release })))) : resolve(false);
    navigator.locks.request(`field-work ${id}`, { ifAvailable: true }, held).catch(() => resolve(true));
  });
  if (isMine || tries === 0) return isMine;
  await new Promise((again) => setTimeout(again, 250)); // a page just being reloaded lets go in a moment
  return holds(id, tries - 1);
}

function letGo() {
  holding?.release();
  holding = null;
}

function elsewhere(work) {
  const again = el("button.button.on", { type: "button", onclick: () => draw() }, "Try again");
  return {
    title: "Open in another tab",
    plate: work.facts.job.register.tag,
    body: [
      el(
        "p",
        {},
        "This work is open in another tab of this browser. Go on there, or close that tab and try again.",
      ),
    ],
    ways: el("div.ways", {}, el("a.button.quiet.back", { href: "#/" }, "My jobs"), again),
  };
}

function pageOf(screen, id) {
  const job = screen === "job" && app.pack?.jobs.find((other) => String(other.id) === id);
  if (job) return jobScreen(app, job);
  if (screen === "send") return signScreen(app);
  const work = screen === "done" && app.works.find((other) => other.submission === id);
  return work ? handedScreen(app, work) : listScreen(app);
}

function drawPage({ title, plate: tag, body, ways: onward }, held) {
  const head = tag
    ? el(
        "header.head",
        {},
        el("div.row.apart", {}, el("a.home", { href: "#/", "aria-label": "My jobs" }, plate(tag))),
      )
    : null;
  put(title, head, body, null, onward, held);
}

function drawWork(work, part, held) {
  app.work = work;
  const ctx = contextOf(work, part, held);
  if (part === "steps")
    return put("All steps", workHeader(ctx), overviewScreen(ctx).body, null, overviewScreen(ctx).ways, held);
  const first = firstBefore(ctx.screen, work);
  if (first) {
    say(first.why);
    return app.to(`#/work/${work.submission}/${first.screen.id}`);
  }
  if (work.place !== ctx.screen.id) ctx.enter({ act: "at", screen: ctx.screen.id }, false);
  const made = { ways: ways(ctx), ...screenOf(ctx) };
  held.keys = made.keys ?? null;
  put(ctx.screen.title, workHeader(ctx), [toldOnce, made.body], made.pad, made.ways, held, whereabouts(ctx));
  made.keys?.mark();
  return undefined;
}

function screenOf(ctx) {
  if (ctx.screen.id === "facts") return factsScreen(ctx);
  if (ctx.screen.id === "summary") return summaryScreen(ctx);
  return SCREENS[ctx.screen.kind](ctx);
}

// What a screen may use. enter() keeps the work as soon as it is shown; it draws anew unless asked not to.
function contextOf(work, part, held) {
  const screens = screensOf(work);
  const ctx = {
    app,
    work,
    screens,
    keptMark: keeping.mark,
    job: work.facts.job,
    procedure: work.facts.procedure,
    screen:
      screens.find((screen) => screen.id === part) ??
      screens.find((screen) => screen.id === work.place) ??
      screens[0],
    isDone: (screen) => isDone(screen, ctx.work),
    enter(what, redraw = true) {
      ctx.work = app.work = enter(ctx.work, what, app.now());
      keeping.soon(ctx.work);
      if (redraw) draw();
    },
    go: (screen) => app.to(`#/work/${ctx.work.submission}/${screen}`),
    // The course may have changed by what was entered: as left comes in when something was adjusted.
    next() {
      const now = screensOf(ctx.work);
      const at = now.findIndex((screen) => screen.id === ctx.screen.id);
      ctx.go(now[Math.min(at + 1, now.length - 1)].id);
    },
    home: () => app.to("#/"),
    makeReady: () => makeReady(ctx.work),
    leaving: (stop) => held.stops.push(stop),
  };
  ctx.onward = ctx.next;
  return ctx;
}

function say(text) {
  toldOnce.textContent = text;
  toldOnce.hidden = !text;
  toldOnce.dataset.fresh = "yes";
}

// ---- the page ----
let lastPlace = "";

function put(title, head, body, pad, onward, held, beside = null) {
  const focused = document.activeElement?.id;
  const heading = el("h1", { tabindex: -1 }, title);
  const dock = pad || onward ? el(`div.dock${pad ? ".with-pad" : ""}`, {}, pad, onward) : null;
  root.className = `job-page${pad ? " has-pad" : ""}`;
  document.body.classList.toggle("in-work", Boolean(app.work));
  const card = app.work ? jobCard(app.work.facts.job) : null;
  root.replaceChildren(
    ...[
      head,
      el(
        "div.leaf",
        {},
        keeping.alarm,
        beside ? el("div.headline", {}, heading, beside) : heading,
        ...[body].flat(4).filter(Boolean),
      ),
      card,
      dock,
    ].filter(Boolean),
  );
  document.title = `${title}${app.work ? `, ${app.work.facts.job.register.tag}` : ""} · Spanbook`;
  const isSame = lastPlace === location.hash;
  if (!isSame) keeping.hush();
  lastPlace = location.hash;
  if (toldOnce.dataset.fresh) delete toldOnce.dataset.fresh;
  else if (!isSame) (say(""), delete toldOnce.dataset.fresh);
  if (isSame && focused && document.getElementById(focused)) document.getElementById(focused).focus();
  else {
    window.scrollTo(0, 0);
    heading.focus({ preventScroll: true });
  }
}

// Digits typed while no field has the focus go where the keypad would put them.
function toKeypad(event) {
  if (event.key === "Enter" && event.target.matches?.(".asked input:not(.figure)"))
    return root.querySelector(".ways .on")?.click();
  if (!drawn?.keys || event.ctrlKey || event.metaKey || event.altKey) return;
  if (document.activeElement?.matches("input, textarea, select, button, a, summary")) return;
  if (!/^[0-9.-]$/.test(event.key)) return;
  drawn.keys.field()?.focus();
}
