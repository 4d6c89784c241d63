// The span strip of the readings typed so far; the same paths as calibration/templatetags/pictures.py draws.

const SVG = "http://www.w3.org/2000/svg";
const CENTRE = 104;
const HALF_BAND = 44;
const FURTHEST = 1.5; // tolerances; beyond this the mark stops at the edge
const FEW = 3; // readings; of more the least, the most and the worst are drawn
const [MIDDLE, UPPER, LOWER] = [12, 8, 17];
const SIZES = { found: [4.2, 5], left: [2.7, 3.5] };

export function draw(strip, { found, left }, tolerance) {
  const isSplit = found.length > 0 && left.length > 0 && String(found) !== String(left);
  const [upper, lower] = isSplit ? [UPPER, LOWER] : [MIDDLE, MIDDLE];
  strip.querySelector("[data-marks]").replaceChildren(
    ...lane(found, tolerance, "found", upper),
    ...lane(left, tolerance, "left", lower),
  );
}

function lane(errors, tolerance, kind, y) {
  if (errors.length <= FEW) return errors.map((error) => mark(error, tolerance, kind, y));
  const [low, high] = [Math.min(...errors), Math.max(...errors)].map((end) => place(end, tolerance).toFixed(1));
  const foot = (y - 3).toFixed(1);
  const reach = path(`reach ${kind}`, `M${low} ${y.toFixed(1)}H${high}M${low} ${foot}v6M${high} ${foot}v6`);
  return [reach, mark(worstOf(errors), tolerance, kind, y)];
}

function worstOf(errors) {
  const [least, most] = [Math.min(...errors), Math.max(...errors)];
  return -least > most ? least : most;
}

function place(error, tolerance) {
  return CENTRE + Math.max(-FURTHEST, Math.min(FURTHEST, error / tolerance)) * HALF_BAND;
}

function mark(error, tolerance, kind, y) {
  const x = place(error, tolerance);
  const [radius, half] = SIZES[kind];
  if (Math.abs(error) > tolerance) {
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
