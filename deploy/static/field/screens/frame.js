// What stands around every screen of a work: plate, kept mark, the scale of chapters, and the way on and back.

import { button, el, plate, svg } from "../dom.js";
import { chaptersOf } from "../work.js";

const WIDTH = 360;
const GAP = 4;

export function workHeader(ctx) {
  const chapters = chaptersOf(ctx.work);
  return el(
    "header.head",
    {},
    el(
      "div.row.apart",
      {},
      el("a.home", { href: "#/", "aria-label": "My jobs" }, plate(ctx.job.register.tag)),
      ctx.keptMark,
    ),
    scale(chapters),
  );
}

// Beside the heading: how far in this chapter, and the way to all of them.
export function whereabouts(ctx) {
  const here = chaptersOf(ctx.work).find((chapter) => chapter.isHere);
  const at = here && here.of > 1 ? `${here.at} of ${here.of}` : "";
  return el(
    "p.where",
    {},
    el("span", {}, at),
    el("a", { href: `#/work/${ctx.work.submission}/steps` }, "All steps"),
  );
}

// The chapters as divisions of a scale: what is done is filled, a pointer stands where one is.
function scale(chapters) {
  const width = (WIDTH - GAP * (chapters.length - 1)) / chapters.length;
  const parts = chapters.map((chapter, n) => {
    const x = n * (width + GAP);
    const pointer = x + (width * ((chapter.at ?? 1) - 0.5)) / chapter.of;
    return [
      svg("rect", {
        class: chapter.isHere ? "track here" : "track",
        x: x + 0.5,
        y: 7.5,
        width: width - 1,
        height: 6,
      }),
      chapter.done > 0 &&
        svg("rect", {
          class: "run",
          x: x + 0.5,
          y: 7.5,
          width: ((width - 1) * chapter.done) / chapter.of,
          height: 6,
        }),
      chapter.isHere && svg("path", { class: "pointer", d: `M${pointer - 4.5} 0h9l-4.5 6z` }),
    ];
  });
  return svg("svg", { class: "chapters", viewBox: `0 0 ${WIDTH} 14`, "aria-hidden": "true" }, parts);
}

// Back and on. on: { text, onclick, shut } ; shut says why it cannot go on yet and keeps the button reachable.
export function ways(ctx, on) {
  const at = ctx.screens.findIndex((screen) => screen.id === ctx.screen.id);
  const back = ctx.screens[at - 1];
  const onward = ctx.screens[at + 1];
  const text = on?.text ?? (onward ? `Next: ${nextName(onward, ctx.screen)}` : "");
  return el(
    "div.ways",
    {},
    button("Back", () => (back ? ctx.go(back.id) : ctx.home()), { kind: ".quiet.back" }),
    text &&
      button(text, on?.onclick ?? (() => ctx.go(onward.id)), {
        kind: ".on",
        "aria-describedby": on?.describedby ?? null,
      }),
  );
}

// Within a stage only what changes: "75 % rising".
function nextName(screen, from) {
  if (screen.kind === "result") return "the result";
  if (screen.stage && screen.stage === from.stage)
    return screen.title.replace(/^As (found|left), /, "").replace(/^(rising|falling), (.*)$/, "$2 $1");
  return screen.title.charAt(0).toLowerCase() + screen.title.slice(1);
}
