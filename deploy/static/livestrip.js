// The span strip of the readings typed so far; same shapes and places as calibration/templatetags/pictures.py.

const SVG = "http://www.w3.org/2000/svg";
const CENTRE = 104;
const HALF_BAND = 44;
const FURTHEST = 1.5; // tolerances; beyond this the mark stops at the edge

export function draw(strip, { found, left }, tolerance) {
  const marks = strip.querySelector("[data-marks]");
  marks.replaceChildren(
    ...found.map((error) => mark(error, tolerance, "found")),
    ...left.map((error) => mark(error, tolerance, "left")),
  );
}

function mark(error, tolerance, kind) {
  const run = Math.max(-FURTHEST, Math.min(FURTHEST, error / tolerance));
  const x = CENTRE + run * HALF_BAND;
  const isOut = Math.abs(error) > tolerance;
  const size = kind === "found" ? 4.2 : 2.7;
  const shape = document.createElementNS(SVG, isOut ? "path" : "circle");
  shape.setAttribute("class", isOut ? `${kind} out` : kind);
  if (isOut) {
    const half = size + 0.8;
    shape.setAttribute("d", `M${x} ${12 - half}l${half} ${half}l${-half} ${half}l${-half} ${-half}z`);
  } else {
    shape.setAttribute("cx", x);
    shape.setAttribute("cy", 12);
    shape.setAttribute("r", size);
  }
  return shape;
}
