// The span strip of the readings typed so far; the same paths as calibration/templatetags/pictures.py draws.

import { centreOf, edgesOf, furthest, halfOf, holds, sizeOf } from "./limits.js";

const SVG = "http://www.w3.org/2000/svg";
const CENTRE = 104;
const HALF_BAND = 44;
const ENDS = [34, 174]; // of the axis; an open side of the band reaches to them
const FURTHEST = 1.5; // tolerances; beyond this the mark stops at the edge
const FEW = 3; // readings; of more the least, the most and the worst are drawn
const [MIDDLE, UPPER, LOWER] = [12, 8, 17];
const SIZES = { found: [4.2, 5], left: [2.7, 3.5] };

// limits: between which an error is in tolerance, { down, up, sides }, as plant/level/tolerance.py has them.
export function draw(strip, { found, left }, limits) {
  drawBand(strip, limits);
  const isSplit = found.length > 0 && left.length > 0 && String(found) !== String(left);
  const [upper, lower] = isSplit ? [UPPER, LOWER] : [MIDDLE, MIDDLE];
  strip.querySelector("[data-marks]").replaceChildren(
    ...lane(found, limits, "found", upper),
    ...lane(left, limits, "left", lower),
  );
}

function drawBand(strip, limits) {
  const edges = edgesOf(limits).map((edge) => short(place(edge, limits)));
  const low = limits.sides === "at most" ? ENDS[0] : edges[0];
  const high = limits.sides === "at least" ? ENDS[1] : edges.at(-1);
  strip.querySelector(".tol").setAttribute("d", `M${low} 2H${high}V22H${low}z`);
  strip.querySelector(".edges").setAttribute("d", edges.map((edge) => `M${edge} 1V23`).join(""));
  strip.querySelector(".zero").setAttribute("d", `M${short(place(0, limits))} 1V23`);
}

function short(x) {
  return Number(x.toFixed(1));
}

function lane(errors, limits, kind, y) {
  if (errors.length <= FEW) return errors.map((error) => mark(error, limits, kind, y));
  const [low, high] = [Math.min(...errors), Math.max(...errors)].map((end) => place(end, limits).toFixed(1));
  const foot = (y - 3).toFixed(1);
  const reach = path(`reach ${kind}`, `M${low} ${y.toFixed(1)}H${high}M${low} ${foot}v6M${high} ${foot}v6`);
  return [reach, mark(furthest(errors, limits), limits, kind, y)];
}

function place(error, limits) {
  const share = limits.sides === "both" ? (error - centreOf(limits)) / halfOf(limits) : error / sizeOf(limits);
  return CENTRE + Math.max(-FURTHEST, Math.min(FURTHEST, share)) * HALF_BAND;
}

function mark(error, limits, kind, y) {
  const x = place(error, limits);
  const [radius, half] = SIZES[kind];
  if (!holds(error, limits)) {
    const start = `M${x.toFixed(1)} ${(y - half).toFixed(1)}`;
    return path(`${kind} out`, `${start}l${half} ${half}l-${half} ${half}l-${half} -${half}z`);
  }
  const arc = `a${radius} ${radius} 0 1 0`;
  const across = (2 * radius).toFixed(1);
  const start = `M${(x - radius).toFixed(1)} ${y.toFixed(1)}`;
  return path(kind, `${start}${arc} ${across} 0${arc} -${across} 0z`);
}

function path(name, d) {
  const drawn = document.createElementNS(SVG, "path");
  drawn.setAttribute("class", name);
  drawn.setAttribute("d", d);
  return drawn;
}
