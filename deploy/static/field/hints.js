// Reading patterns that do not fit, and what to check for each, most likely first: plant/level/hints.py on the
// device. A hint is worded "check …" and is never a verdict. Patterns and causes are common practice, no
// source. Currents are of a 4-20 mA loop, mA; tolerance and errors in % of span. The tests hold both to the
// same words and digits.

import { band, fixed } from "../readings.js";

const CAPACITANCE = ["capacitance rod", "capacitance rope"];
const PRESSURE = ["hydrostatic", "differential pressure"];
const ECHO = ["radar", "guided wave", "ultrasonic"];
const MOVING = ["displacer", "magnetostrictive", "float"];

const WORTH = 0.5; // of the tolerance: what is worth a hint
const MOVED = 10; // % of span that must be applied before "no change" or "the wrong way" can be said
const FOLLOWS = 0.1; // an output that follows by less than this share does not follow
const FLAT = 0.1; // a flat top is flat to this, % of span
const SHRUNK = [0.4, 0.9]; // shares of the span that a lost tank reference leaves
const SETTLED = 0.005; // mA by which looks at a steady level may lie apart

// Each check with the principles it applies to; without any, to all.
const CHECKS = {
  P1: [
    ["check tag and channel: is this the transmitter that is read?"],
    ["check that the output is not left in simulation or manual"],
    ["check the probe's cable for a break", CAPACITANCE],
    ["check whether the float is stuck or has sunk", MOVING],
    ["check that the impulse valve is open", PRESSURE],
    ["check the echo curve: locked on a fixed echo?", ECHO],
  ],
  P2: [
    ["check whether reverse action (ullage) is set"],
    ["check that the high and low tappings are not swapped", PRESSURE],
    ["check that the zero and span points were not exchanged"],
  ],
  "P3 low": [
    ["check the device's own message"],
    ["check sensor and cable for a break"],
    ["check the voltage at the terminals: too low?"],
  ],
  "P3 high": [
    ["check the device's own message"],
    ["check the probe's insulation for a pinhole where the liquid conducts", CAPACITANCE],
    ["check head and terminal box for water"],
    ["check the probe for a short circuit", CAPACITANCE],
    ["check for a leak across the terminals"],
  ],
  P4: [
    ["check supply voltage and loop resistance: enough volts at the transmitter?"],
    ["check whether a meter or barrier was added to the loop"],
  ],
  P5: [
    ["check the probe for a film or build-up", CAPACITANCE],
    ["check diaphragm and wet leg", PRESSURE],
    ["check mounting height and datum: has one changed?"],
    ["check the meter's zero"],
  ],
  P6: [
    ["check the permittivity: product, temperature, water?", CAPACITANCE],
    ["check the entered density against today's", [...PRESSURE, ...MOVING]],
    ["check gas temperature and speed of sound", ["ultrasonic"]],
    ["check the entered tank height", ECHO],
    ["check the 250 Ω resistor"],
  ],
  P7: [
    ["check the bond from the transmitter's reference to the tank: broken, corroded, paint?"],
    ["check a non-conducting tank for its reference electrode: connected, and wet?"],
    ["check whether the reading moves when tank or cable is touched, or with rain"],
  ],
  P8: [
    ["check drain time: warm, wait, clean; do not hide it by a zero adjustment", [...CAPACITANCE, ...ECHO]],
    ["check for friction, dirt or a bent hanger", MOVING],
    ["check that the product was at rest before each reading"],
  ],
  P9: [
    ["check for a false echo, an agitator blade or the near zone", ECHO],
    ["check that the screen is earthed at one end only"],
    ["check for a shared negative wire and a bad bond"],
    ["check that damping is on"],
  ],
};

function hint(kind, pattern, principle = null) {
  const checks = CHECKS[kind].filter(
    ([, principles]) => !principles || principle === null || principles.includes(principle),
  );
  return { key: kind.split(" ")[0], pattern, checks: checks.map(([text]) => text) };
}

// Hints for one test: currents that a correct transmitter would show, and those seen; rising: approached from below.
export function hintsOf({
  expected,
  observed,
  rising = expected.map(() => true),
  tolerance,
  principle = null,
}) {
  const readings = expected.map((current, at) => ({ current, seen: observed[at], up: rising[at] }));
  const isFailed = ({ seen }) => band(seen, "4-20mA").startsWith("failure");
  const hints = alarms(
    readings.filter(isFailed).map(({ seen }) => seen),
    principle,
  );
  const good = readings
    .filter((reading) => !isFailed(reading))
    .map(({ current, seen, up }) => ({ x: share(current), y: share(seen), up }));
  if (good.length === 0 || Math.max(...good.map(({ x, y }) => Math.abs(y - x))) <= WORTH * tolerance)
    return hints;
  return [...hints, ...shapes(good, tolerance, principle)];
}

function share(current) {
  return (100 * (current - 4)) / 16;
}

// P3: currents in a failure band of NE 43 tell of a failure, not of an error.
function alarms(failing, principle) {
  const sides = [
    ["low", failing.filter((seen) => seen < 12)],
    ["high", failing.filter((seen) => seen > 12)],
  ];
  return sides
    .filter(([, some]) => some.length)
    .map(([side, some]) =>
      hint(
        `P3 ${side}`,
        `${some.length} of the readings in the ${side} failure band, such as ${fixed(some[0], 2)} mA`,
        principle,
      ),
    );
}

// P1, P2 and P4 explain everything by themselves; else zero, span and hysteresis, the largest first.
function shapes(good, tolerance, principle) {
  const worth = WORTH * tolerance;
  const [moved, followed] = [range(good.map(({ x }) => x)), range(good.map(({ y }) => y))];
  const slope = moved >= MOVED ? lineOf(good).slope : 1;
  if (moved >= MOVED && followed < FOLLOWS * moved)
    return [
      hint("P1", `applied ${fixed(moved, 0)} % of span, the output moved ${fixed(followed, 1)} %`, principle),
    ];
  if (slope < 0) return [hint("P2", "the output falls where it should rise", principle)];
  const ceiling = flatTop(good, worth);
  if (ceiling !== null)
    return [hint("P4", `true up to a point, then flat at ${fixed(ceiling, 2)} mA`, principle)];
  return [...straight(good, worth, principle), ...lag(good, worth, principle)];
}

// Offset at 0 % and slope, least squares.
function lineOf(good) {
  const [x, y] = [mean(good.map((one) => one.x)), mean(good.map((one) => one.y))];
  const slope = sum(good.map((one) => (one.x - x) * (one.y - y))) / sum(good.map((one) => (one.x - x) ** 2));
  return { offset: y - slope * x, slope };
}

// The current at which the top readings stand still, where at least two below them are right; else null.
function flatTop(good, worth) {
  const top = Math.max(...good.map(({ y }) => y)) - FLAT;
  const [flat, below] = [good.filter(({ y }) => y >= top), good.filter(({ y }) => y < top)];
  if (flat.length < 2 || new Set(below.map(({ x }) => x)).size < 2) return null;
  if (range(flat.map(({ x }) => x)) < MOVED || below.some(({ x, y }) => Math.abs(y - x) > worth)) return null;
  if (Math.min(...flat.map(({ x, y }) => y - x)) >= -worth) return null;
  if (Math.min(...flat.map(({ x }) => x)) < Math.max(...below.map(({ x }) => x))) return null;
  return 4 + (16 * mean(flat.map(({ y }) => y))) / 100;
}

// P5 for an offset, P6 for an error in proportion, P7 for a span that shrank like a lost tank reference.
function straight(good, worth, principle) {
  if (range(good.map(({ x }) => x)) < MOVED) {
    const offset = mean(good.map(({ x, y }) => y - x));
    return Math.abs(offset) > worth ? [offsetHint(offset, principle)] : [];
  }
  const { offset, slope } = lineOf(good);
  const growth = 100 * (slope - 1);
  if (SHRUNK[0] <= slope && slope <= SHRUNK[1] && (principle === null || CAPACITANCE.includes(principle))) {
    return [
      hint(
        "P7",
        `span shrunk to ${fixed(100 * slope, 0)} % of itself, as with a lost tank reference`,
        principle,
      ),
      growthHint(growth, principle),
    ];
  }
  const found = [
    [offset, offsetHint],
    [growth, growthHint],
  ].filter(([size]) => Math.abs(size) > worth);
  return found.sort(([a], [b]) => Math.abs(b) - Math.abs(a)).map(([size, make]) => make(size, principle));
}

function offsetHint(offset, principle) {
  return hint("P5", `the same offset everywhere, ${signed(offset)} % of span`, principle);
}

function growthHint(growth, principle) {
  return hint("P6", `an error that grows in proportion, ${signed(growth)} % of the reading`, principle);
}

// P8: up differs from down at one point.
function lag(good, worth, principle) {
  const points = new Map();
  for (const { x, y, up } of good) {
    const point = x.toFixed(6);
    if (!points.has(point)) points.set(point, { up: [], down: [] });
    points.get(point)[up ? "up" : "down"].push(y);
  }
  const gaps = [...points.values()]
    .filter(({ up, down }) => up.length && down.length)
    .map(({ up, down }) => mean(down) - mean(up));
  const largest = gaps.reduce((a, b) => (Math.abs(b) > Math.abs(a) ? b : a), 0);
  return Math.abs(largest) > worth
    ? [hint("P8", `falling differs from rising by ${signed(largest)} % of span`, principle)]
    : [];
}

// P9 from repeated looks at one steady level, mA: noise, or jumps between two values.
export function lookHints(looks, { settled = SETTLED, principle = null } = {}) {
  const apart = range(looks);
  if (looks.length < 3 || apart <= settled) return [];
  const middle = (Math.max(...looks) + Math.min(...looks)) / 2;
  const sides = [looks.filter((look) => look > middle), looks.filter((look) => look <= middle)];
  const kind = Math.max(...sides.map(range)) <= apart / 5 ? "jumps between two values" : "noise";
  return [hint("P9", `${kind}, ${fixed(apart, 3)} mA apart at a steady level`, principle)];
}

function signed(size) {
  const text = fixed(size, 2);
  return text.startsWith("-") ? text : `+${text}`;
}

function sum(values) {
  return values.reduce((a, b) => a + b, 0);
}

function mean(values) {
  return sum(values) / values.length;
}

function range(values) {
  return values.length ? Math.max(...values) - Math.min(...values) : 0;
}
