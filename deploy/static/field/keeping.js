// Keeping what is typed: once the screen has shown it; where the device refuses, that is shown at once and tried again
// until the device has it.

import { clock, el } from "./dom.js";

const AGAIN = 3000;
const AT_MOST = 100; // ms: a page that is not seen is not painted either

// What may wait until the screen has been painted, so that a key shows at once.
export function afterPaint(act) {
  let isDone = false;
  const once = () => {
    if (!isDone) act();
    isDone = true;
  };
  requestAnimationFrame(() => setTimeout(once));
  setTimeout(once, AT_MOST);
}

// mark: what stands on every screen of a work; alarm: the words where it could not be kept.
export function keeper(store) {
  const mark = el("span.kept", {});
  const alarm = el("div.note.bad.alarm", { role: "alert", hidden: true });
  let typed = null; // the work as last entered, until the screen has been painted
  let lost = null; // the work that the device refused; only this page has it
  let since = null;

  const show = (name, text) => {
    mark.className = name;
    if (mark.textContent !== text) mark.textContent = text;
  };
  const kept = (date) => !lost && !typed && show("kept is", `kept on this device ${clock(date)}`);
  const refused = (work, error) => {
    if (typed?.submission === work.submission) return; // a later state is on its way
    since ??= new Date();
    lost = work;
    show("kept lost", "not kept");
    const tag = work.facts?.job.register.tag ?? "this work";
    tell(
      `What was entered for ${tag} since ${clock(since)} is not kept on this device.`,
      `${error.message} Leave this page open: saving is retried automatically.`,
    );
    setTimeout(() => lost === work && now(work), AGAIN);
  };
  const tell = (what, more) => {
    alarm.replaceChildren(el("strong", {}, what), ` ${more}`);
    alarm.hidden = false;
  };
  const settled = (work) => {
    if (lost?.submission !== work.submission) return;
    lost = since = null;
    alarm.hidden = true;
    kept(new Date());
  };
  const now = (work) =>
    store.keep(work).then(
      () => settled(work),
      (error) => refused(work, error),
    );
  const keepTyped = () => {
    const work = typed;
    typed = null;
    if (work) now(work);
  };
  window.addEventListener("beforeunload", (event) => lost && event.preventDefault());

  return {
    mark,
    alarm,
    kept,
    keepTyped,
    soon(work) {
      if (!typed) afterPaint(keepTyped);
      typed = work;
      show("kept", "keeping…");
    },
    // Before it is kept in another state: what waits, or is tried again, must not come after that.
    forget() {
      typed = lost = since = null;
    },
    // A work that only this page has; null where the device has it.
    held: (submission) => [typed, lost].find((work) => work?.submission === submission) ?? null,
    refused: (what, error) => tell(what, error.message),
    hush() {
      if (!lost) alarm.hidden = true;
    },
  };
}
