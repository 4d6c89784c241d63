// Zero and span end from two known levels, where the tank can be neither emptied nor filled: what
// calibration/metrology/two_levels.py computes, on the device. The tests hold both to the same digits.

// Customs (common practice, no source): the slope may be adjusted where the levels lie this share of the span apart and
// independent errors grow by no more than LIFT_TO_ADJUST at both ends; up to LIFT_TO_JUDGE an end may get a verdict.
const APART_TO_ADJUST = 0.4;
const LIFT_TO_ADJUST = 2;
const LIFT_TO_JUDGE = 3;
// A third level checks the line where it lies at least this share of the span from both.
const THIRD_APART = 0.1;

// The line through two levels and the outputs seen there. levels, lower, upper in one unit; signal: {low, high}.
export function twoLevels(levels, outputs, { lower, upper, signal }) {
  const [first, second] = levels;
  if (first === second || lower === upper)
    throw new RangeError("two different levels and a range are needed");
  const span = signal.high - signal.low;
  const weightsAt = (level) => {
    const weight = (second - level) / (second - first);
    return [weight, 1 - weight];
  };
  const outputAt = (level) => weightsAt(level).reduce((sum, weight, at) => sum + weight * outputs[at], 0);
  const liftAt = (level) => Math.hypot(...weightsAt(level));
  const [zero, spanEnd] = [outputAt(lower), outputAt(upper)];
  const [liftAtZero, liftAtSpanEnd] = [liftAt(lower), liftAt(upper)];
  const apart = Math.abs(second - first) / Math.abs(upper - lower);
  const lift = Math.max(liftAtZero, liftAtSpanEnd);
  return {
    slope: (outputs[1] - outputs[0]) / (second - first),
    zero,
    spanEnd,
    liftAtZero,
    liftAtSpanEnd,
    apart,
    weightsAt,
    outputAt,
    liftAt,
    zeroError: (100 * (zero - signal.low)) / span,
    spanEndError: (100 * (spanEnd - signal.high)) / span,
    mayJudge: lift <= LIFT_TO_JUDGE,
    mayAdjustSlope: apart >= APART_TO_ADJUST - 1e-9 && lift <= LIFT_TO_ADJUST,
    // The output that must be set where the line now gives `output`, so that both ends come right. A third
    // reading checks the line: how far it lies off, % of span, and whether it is within the range and far
    // enough from both.
    offAt: (level, output) => (100 * (output - outputAt(level))) / span,
    isThird: (level) =>
      Math.abs((level - lower) / (upper - lower) - 0.5) < 0.5 + 1e-9 &&
      Math.min(...levels.map((one) => Math.abs(one - level))) >= THIRD_APART * Math.abs(upper - lower) - 1e-9,
    afterAdjusting: (output) => signal.low + (span * (output - zero)) / (spanEnd - zero),
  };
}
