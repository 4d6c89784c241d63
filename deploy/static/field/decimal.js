// Exact arithmetic on numbers as they were typed, and how they are shown (plant/templatetags/quantities.py).
// Digits stay digits: no binary fraction comes between what was read and what is sent.

import { edgesOf, sizeOf } from "../limits.js";
import { decimals, fixed, percent, typed } from "../readings.js";

export const MINUS = "\u2212";
const DIGITS = { m: 3, mm: 0, cm: 1, in: 2, ft: 3, m3: 2, L: 0, mA: 3, V: 3 };
const SYMBOLS = { m3: "m\u00b3", degC: "\u00b0C" };
const MOST_DIGITS = 5; // the server's columns keep five

// The mean of typed numbers, to one digit more than was typed; an exact half goes to the even digit.
export function mean(texts) {
  if (texts.length === 0) return null;
  if (texts.length === 1) return texts[0];
  const parts = texts.map(split);
  const typed = Math.max(...parts.map((part) => part.scale));
  const scale = Math.min(typed + 1, MOST_DIGITS);
  const common = Math.max(typed, scale);
  const sum = parts.reduce((total, part) => total + part.units * 10n ** BigInt(common - part.scale), 0n);
  const count = BigInt(texts.length) * 10n ** BigInt(common - scale);
  return plain(divided(sum, count), scale);
}

// lower + percent % of (upper - lower), exactly, as text with at least the unit's digits.
export function shareOf(lower, upper, percent, unit) {
  const [low, high, share] = [split(lower), split(upper), split(String(percent))];
  const scale = Math.max(low.scale, high.scale);
  const [from, to] = [low, high].map((part) => part.units * 10n ** BigInt(scale - part.scale));
  const whole = 10n ** BigInt(share.scale + 2);
  const units = from * whole + (to - from) * share.units;
  return trimmed(units, scale + share.scale + 2, DIGITS[unit] ?? 2);
}

// A number from arithmetic as text with this many digits, ASCII minus: what is sent, not what is shown.
export function asText(number, digits = MOST_DIGITS) {
  const text = fixed(number, digits);
  return /[1-9]/.test(text) ? text : text.replace("-", "");
}

// The digits as they were typed, without a sign or noughts that say nothing: "03.40" is 3.4.
export function digits(text) {
  const [whole, part = ""] = text.replace(/^\+/, "").split(".");
  const kept = part.replace(/0+$/, "");
  const front = whole.replace(/^(-?)0+(?=\d)/, "$1") || "0";
  return kept ? `${front}.${kept}` : front;
}

// A typed or computed value with the digits its unit deserves, without the unit; never fewer than were typed.
export function quantity(value, unit) {
  if (value === null || value === undefined || value === "") return "\u2013";
  const digits = DIGITS[unit] ?? 2;
  const text = typeof value === "number" ? asText(value, Math.max(digits, 1)) : value;
  const typed = split(text.includes(".") ? text.replace(/0+$/, "") : text).scale;
  return decimals(text, Math.max(digits, Math.min(typed, digits + 1)));
}

export function symbol(unit) {
  return SYMBOLS[unit] ?? unit;
}

export function measure(value, unit) {
  return `${quantity(value, unit)}\u00a0${symbol(unit)}`;
}

// A limit: ±0.50 %, one digit more under half a percent.
export function plusMinus(percent) {
  return `\u00b1${fixed(percent, percent < 0.5 ? 3 : 2)}\u00a0%`;
}

// "±0.50 %", "+0.50 / −1.00 %", "at most +0.50 %", "at least −1.00 %": as plant/points/tolerance_texts.py has it.
export function limitsText(limits) {
  const edges = edgesOf(limits);
  if (edges.length === 2 && limits.up === limits.down) return plusMinus(limits.up);
  const texts = edges.map((edge) => percent(edge, sizeOf(limits))).reverse();
  const before = edges.length === 2 ? "" : `${limits.sides} `;
  return `${before}${texts.join(" / ")}\u00a0%`;
}

// What is wrong with a typed number, in words, "" when nothing is: the server keeps so many digits and no more.
export function wrongNumber(raw, digits = MOST_DIGITS) {
  const { text, wrong } = typed(raw ?? "");
  if (wrong || text === undefined) return wrong ?? "";
  const { units, scale } = split(text);
  if (scale > digits)
    return digits === 1 ? "One digit after the point at most." : `At most ${digits} digits after the point.`;
  return (units < 0n ? -units : units) >= 10n ** BigInt(scale + 5) ? "This number is too large." : "";
}

function split(text) {
  const [whole, part = ""] = String(text).replace(MINUS, "-").replace(/^\+/, "").split(".");
  const isBelow = whole.startsWith("-");
  const units = BigInt(whole.replace("-", "") + part || "0");
  return { units: isBelow ? -units : units, scale: part.length };
}

// Whole division, an exact half to the even side.
function divided(units, count) {
  const size = units < 0n ? -units : units;
  let whole = size / count;
  const twice = 2n * (size % count);
  if (twice > count || (twice === count && whole % 2n === 1n)) whole += 1n;
  return units < 0n ? -whole : whole;
}

function plain(units, scale) {
  const figures = (units < 0n ? -units : units).toString().padStart(scale + 1, "0");
  const sign = units < 0n ? "-" : "";
  return scale === 0 ? sign + figures : `${sign}${figures.slice(0, -scale)}.${figures.slice(-scale)}`;
}

function trimmed(units, scale, least) {
  const kept = Math.min(scale, MOST_DIGITS);
  let [value, digits] = [divided(units, 10n ** BigInt(scale - kept)), kept];
  while (digits > least && value % 10n === 0n) [value, digits] = [value / 10n, digits - 1];
  return plain(value, digits);
}
