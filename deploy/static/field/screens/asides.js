// What every step may carry: its text and the site's own wording, a note, photos, and the reason for leaving it out.

import { button, el, note } from "../dom.js";
import { shrunk, thumbnail } from "../camera.js";
import { mayLeaveOut } from "../work.js";

// The step's text as the procedure has it, then what the site adds for its devices, then when to stop.
export function stepText(ctx, step, { isShort = false } = {}) {
  if (!step) return [];
  const text = el("p.steptext", {}, step.text);
  const added = step.wordings
    .filter((wording) => fits(wording, ctx.job))
    .map((wording) => note("", el("strong", {}, "This site: "), wording.text));
  const stop = step.stop ? note("stop", el("strong", {}, "Stop and call for help: "), step.stop) : null;
  if (!isShort) return [text, added, stop];
  return el("details.whole", {}, el("summary", {}, "The step in full"), text, added, stop);
}

function fits(wording, job) {
  if (wording.site && wording.site !== job.site) return false;
  const device = `${job.transmitter?.maker ?? ""} ${job.transmitter?.model ?? ""}`.toLowerCase();
  return (
    !wording.devices || wording.devices.split(",").some((name) => device.includes(name.trim().toLowerCase()))
  );
}

export function asides(ctx, { leaveOut = null } = {}) {
  const step = ctx.screen.step?.number ?? 0;
  const parts = [noteAside(ctx, step), photoAside(ctx, step)];
  if (leaveOut) parts.push(leaveOut);
  else if (ctx.screen.kind === "step" && mayLeaveOut(ctx.work, step)) parts.push(stepLeftOut(ctx, step));
  return el("div.asides", {}, parts);
}

function noteAside(ctx, step) {
  const text = step ? (ctx.work.steps[step]?.note ?? "") : ctx.work.note;
  const field = el("textarea", {
    id: "note",
    rows: 3,
    value: text,
    oninput: () => ctx.enter({ act: "note", step, text: field.value }, false),
  });
  return el(
    "details",
    { open: Boolean(text) },
    el("summary", {}, text ? "Note" : "Add a note"),
    el("div.field", {}, el("label", { for: "note" }, "Note on this step"), field),
  );
}

function photoAside(ctx, step) {
  const photos = ctx.work.photos.filter((photo) => photo.step === step);
  const said = el("p.hint", { role: "status" });
  const input = el("input.hide", {
    type: "file",
    accept: "image/*",
    capture: "environment",
    id: "photo",
    onchange: () => take(ctx, step, input, said),
  });
  const shown = el(
    "ul.shots.plain",
    {},
    photos.map((photo, n) => photoOf(ctx, photo, n)),
  );
  return el(
    "details",
    { open: photos.length > 0 },
    el("summary", {}, photos.length ? `Photos (${photos.length})` : "Take a photo"),
    el(
      "div.field",
      {},
      input,
      el("label.button.quiet.small", { for: "photo" }, "Camera or picture"),
      said,
      shown,
    ),
  );
}

function photoOf(ctx, photo, n) {
  const place = el("span.thumb", {});
  ctx.app.store
    .photo(ctx.work.submission, photo.sha256)
    .then((blob) => blob && thumbnail(blob))
    .then((canvas) => canvas && place.append(canvas))
    .catch(() => place.append("not readable"));
  return el(
    "li",
    {},
    place,
    el("span.soft", {}, `${Math.round(photo.bytes / 1024)} kB`),
    el(
      "button.link",
      {
        type: "button",
        onclick: () => ctx.enter({ act: "drop photo", sha256: photo.sha256 }),
        "aria-label": `Remove photo ${n + 1}`,
      },
      "Remove",
    ),
  );
}

async function take(ctx, step, input, said) {
  const [file] = input.files;
  if (!file) return;
  said.textContent = "Keeping the photo…";
  try {
    const blob = await shrunk(file);
    const sha256 = await ctx.app.store.addPhoto(ctx.work.submission, blob);
    ctx.enter({
      act: "photo",
      photo: { sha256, step, taken_at: ctx.app.now().toISOString(), type: blob.type, bytes: blob.size },
    });
  } catch (trouble) {
    said.textContent = `This picture could not be kept: ${trouble.message}. Take it again, or choose another one.`;
  }
}

function stepLeftOut(ctx, step) {
  const why = ctx.work.steps[step]?.skipped_why ?? "";
  if (why) {
    return el(
      "div.note.warn",
      {},
      el("strong", {}, "Left out: "),
      why,
      " ",
      el(
        "button.link",
        { type: "button", onclick: () => ctx.enter({ act: "take back", step }) },
        "Do this step after all",
      ),
    );
  }
  return reasonAside("Leave this step out", "Reason for leaving it out", (text) => {
    ctx.enter({ act: "leave out", step, why: text }, false);
    ctx.next();
  });
}

// A closed line that opens into a reason and the buttons that need it: [[text, (reason) => …], …].
export function reasonAside(summary, label, onward, more = []) {
  const field = el("textarea", { id: "why", rows: 2, maxlength: 300, "aria-describedby": "why-said" });
  const said = el("p.errors", { id: "why-said", role: "alert" });
  const go = (act) => () => {
    if (!field.value.trim()) {
      said.textContent = "Write the reason first.";
      field.focus();
    } else act(field.value);
  };
  return el(
    "details.leaveout",
    {},
    el("summary", {}, summary),
    el(
      "div.field",
      {},
      el("label", { for: "why" }, label),
      field,
      said,
      el(
        "div.buttons",
        {},
        button("Leave out", go(onward), { kind: ".quiet.small" }),
        more.map(([text, act]) => button(text, go(act), { kind: ".quiet.small" })),
      ),
    ),
  );
}
