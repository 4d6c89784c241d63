// The arithmetic of one reading, by the server's rules (plant/level/signals.py, calibration/metrology,
// plant/templatetags/quantities.py). The server computes everything again on arrival; the tests hold
// both to the same digits.

import { holds } from "./limits.js";

export const SIGNALS = {
  "4-20mA": { low: 4, high: 20, unit: "mA" },
  "0-20mA": { low: 0, high: 20, unit: "mA" },
  "1-5V": { low: 1, high: 5, unit: "V" },
  "0-10V": { low: 0, high: 10, unit: "V" },
};
const MINUS = "\u2212";
const FAILURES = ["failure low", "failure high"];

// What was typed: { text } when it is a number in digits, { wrong } in words otherwise, {} when empty.
export function typed(raw) {
  const text = raw.trim().replaceAll(MINUS, "-");
  if (text === "") return {};
  if (/^[+-]?[0-9]*,[0-9]+$/.test(text)) {
    return { wrong: `Write ${text.replace(",", ".")} with a point.` };
  }
  if (!/^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)$/.test(text)) {
    return { wrong: "This is not a plain number; write it in digits, such as 11.934." };
  }
  return { text };
}

// Everything the page says about one reading. Numbers come as typed, in the point's unit and the
// signal's unit; null where nothing was typed. An indication decides where there is one.
export function judge({ applied, observed, indication, noLevel }, against) {
  if (applied === null) return judgeWithoutLevel({ observed, indication, noLevel }, against.signal);
  const signal = SIGNALS[against.signal];
  const lower = Number(against.lower);
  const upper = Number(against.upper);
  const expected = expectedAt(
    Number(applied),
    observed === null ? null : Number(observed),
    lower,
    upper,
    signal,
  );
  const judged = {
    expected: decimals(fixed(expected, 5), 3),
    band: "",
    error: null,
    errorText: "",
    verdict: "",
  };
  judged.isBeyond = expected !== signalAt(Number(applied), lower, upper, signal);
  if (indication !== null) {
    judged.error = (100 * minus(indication, applied)) / Math.abs(upper - lower);
  } else if (observed !== null) {
    judged.error = (100 * (Number(observed) - expected)) / (signal.high - signal.low);
  } else {
    return judged;
  }
  judged.band = observed === null ? "measuring" : band(Number(observed), against.signal);
  const inside = holds(judged.error, against.limits);
  judged.verdict = inside && !FAILURES.includes(judged.band) ? "pass" : "fail";
  judged.errorText = percent(judged.error, against.tolerance);
  return judged;
}

// Where no level is known a failure is one all the same; of anything else nothing is said.
function judgeWithoutLevel({ observed, indication, noLevel }, signal) {
  const none = { expected: "", error: null, errorText: "", band: "", verdict: "" };
  if (!noLevel || (observed === null && indication === null)) return none;
  const seen = observed === null ? "measuring" : band(Number(observed), signal);
  return { ...none, band: seen, verdict: FAILURES.includes(seen) ? "fail" : "not judged" };
}

export function percentAt(value, lower, upper) {
  return 100 * ((value - lower) / (upper - lower));
}

function signalAt(value, lower, upper, signal) {
  return signal.low + (signal.high - signal.low) * ((value - lower) / (upper - lower));
}

// As signalAt; far beyond the range all that measuring currents tell there is right (3.8 to 4 and 20 to 20.5 mA).
function expectedAt(value, observed, lower, upper, signal) {
  const line = signalAt(value, lower, upper, signal);
  const span = signal.high - signal.low;
  const least = Math.max(signal.low - (0.2 / 16) * span, 0);
  const most = signal.high + (0.5 / 16) * span;
  if (line < least) return observed === null ? signal.low : Math.min(Math.max(observed, least), signal.low);
  if (line > most) return observed === null ? signal.high : Math.min(Math.max(observed, signal.high), most);
  return line;
}

// NE 43 bands: a current says something about the instrument itself. Only signals with a live zero have them.
export function band(observed, signal) {
  if (signal !== "4-20mA" && signal !== "1-5V") return "measuring";
  const current = signal === "1-5V" ? (observed * 1000) / 250 : observed;
  if (current <= 3.6) return "failure low";
  if (current < 3.8) return "suspect low";
  if (current < 4) return "under range";
  if (current <= 20) return "measuring";
  if (current <= 20.5) return "over range";
  if (current < 21) return "suspect high";
  return "failure high";
}

// An error in % of span, signed, one digit more where the tolerance is finer than 0.5 %.
export function percent(error, tolerance) {
  const text = fixed(error, tolerance < 0.5 ? 3 : 2);
  const isNothing = !/[1-9]/.test(text);
  if (text.startsWith("-")) return isNothing ? text.slice(1) : MINUS + text.slice(1);
  return isNothing ? text : `+${text}`;
}

// x with a fixed count of digits; an exact half goes to the even digit, where toFixed would go up.
export function fixed(x, digits) {
  // Exactly half a last digit lies between two: then, and only then, x · 2^(digits+1) is odd and whole.
  if (Math.abs(x * 2 ** (digits + 1)) % 2 !== 1) return x.toFixed(digits);
  const scale = 10 ** digits;
  const below = Math.floor(Math.abs(x) * scale);
  return ((Math.sign(x) * (below % 2 === 0 ? below : below + 1)) / scale).toFixed(digits);
}

// A decimal text with this many digits: noughts where there are fewer, cut where there are more, an exact half to the
// even digit. On the text, not on a float.
export function decimals(text, digits) {
  const { units, scale } = scaled(text);
  const cut = 10n ** BigInt(Math.max(scale - digits, 0));
  const size = (units < 0n ? -units : units) * 10n ** BigInt(Math.max(digits - scale, 0));
  let whole = size / cut;
  const twice = 2n * (size % cut);
  if (twice > cut || (twice === cut && whole % 2n === 1n)) whole += 1n;
  const figures = whole.toString().padStart(digits + 1, "0");
  const sign = units < 0n && whole !== 0n ? MINUS : "";
  return digits === 0 ? sign + figures : `${sign}${figures.slice(0, -digits)}.${figures.slice(-digits)}`;
}

// a − b without the dust of binary fractions: 4.305 − 4.3 is 0.005.
function minus(a, b) {
  const [first, second] = [scaled(a), scaled(b)];
  const scale = Math.max(first.scale, second.scale);
  const units =
    first.units * 10n ** BigInt(scale - first.scale) - second.units * 10n ** BigInt(scale - second.scale);
  return Number(`${units}e-${scale}`);
}

function scaled(text) {
  const [whole, part = ""] = text.replace(/^[+-]/, "").split(".");
  const units = BigInt(whole + part);
  return { units: text.startsWith("-") ? -units : units, scale: part.length };
}
