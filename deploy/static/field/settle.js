// The settle timer: counts down on the screen from a moment kept in the work, so that a reload or an empty battery
// does not begin it again. It may be cut short by a tick, which is noted.

import { el, svg } from "./dom.js";
import { settlingLeft } from "./work.js";

const WIDTH = 300;

// of: () => what holds settling_at and cut. again, cut: what is done when it is started again or cut short.
export function settleTimer({ seconds, of, again, cut, now }) {
  const figure = el("span.left-over", { role: "timer", "aria-live": "off" });
  const run = svg("rect", { class: "run", x: 0, y: 0, width: 0, height: 6 });
  const bar = svg(
    "svg",
    { class: "settling", viewBox: `0 0 ${WIDTH} 6`, preserveAspectRatio: "none", "aria-hidden": "true" },
    svg("rect", { class: "track", x: 0, y: 0, width: WIDTH, height: 6 }),
    run,
  );
  const tick = el("input", { type: "checkbox", onchange: () => cut(tick.checked) });
  const early = el("label.tick.early", {}, tick, el("span", {}, "Read early (noted)"));
  const restart = el("button.link", { type: "button", onclick: again }, "Again");
  const said = el("span.hide", { role: "status" });
  const box = el("div.settle", {}, el("div.row.apart", {}, figure, early, restart), bar, said);
  let wasOver = null;
  const show = () => {
    const left = settlingLeft(of(), seconds, now());
    const isOver = left === 0;
    figure.textContent = isOver ? `Settled, ${spell(seconds)}` : `Settling ${spell(left)}`;
    run.setAttribute("width", (WIDTH * (seconds - left)) / seconds);
    box.classList.toggle("over", isOver);
    early.hidden = isOver && !of()?.cut;
    tick.checked = Boolean(of()?.cut);
    if (wasOver === false && isOver) said.textContent = "Settled.";
    wasOver = isOver;
  };
  show();
  const beat = setInterval(() => (box.isConnected || wasOver === null ? show() : clearInterval(beat)), 500);
  return {
    box,
    show,
    isOver: () => settlingLeft(of(), seconds, now()) === 0 || Boolean(of()?.cut),
    stop: () => clearInterval(beat),
  };
}

function spell(seconds) {
  if (seconds < 60) return `${seconds}\u00a0s`;
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}
