// Between which an error is in tolerance, % of span: { down, up, sides }, by the rules of plant/level/tolerance.py.
// An open side of a one-sided tolerance lies a whole span from zero.

const WHOLE_SPAN = 100;

// Of the columns that a record copies of the register.
export function limitsOf({ tolerance, tolerance_down: below, tolerance_sides: sides, tolerance_percent: size }) {
  if (sides === "at most") return { down: WHOLE_SPAN, up: size, sides };
  if (sides === "at least") return { down: size, up: WHOLE_SPAN, sides };
  if (!below || Number(below) === Number(tolerance)) return { down: size, up: size, sides: "both" };
  const by = size / ((Number(tolerance) + Number(below)) / 2);
  return { down: Number(below) * by, up: Number(tolerance) * by, sides: "both" };
}

export function halfOf({ down, up }) {
  return (up + down) / 2;
}

export function centreOf({ down, up }) {
  return (up - down) / 2;
}

// Half the width, or the one limit that is set.
export function sizeOf(limits) {
  return { "at most": limits.up, "at least": limits.down }[limits.sides] ?? halfOf(limits);
}

// The limits that somebody set, signed, the lower first.
export function edgesOf({ down, up, sides }) {
  return { "at most": [up], "at least": [-down] }[sides] ?? [-down, up];
}

export function holds(error, limits) {
  return Math.abs(error - centreOf(limits)) <= halfOf(limits) + 1e-9;
}

// The error furthest beyond its own limit, or nearest to it; 0 of none.
export function furthest(errors, limits) {
  if (errors.length === 0) return 0;
  const [least, most] = [Math.min(...errors), Math.max(...errors)];
  const centre = centreOf(limits);
  return centre - least > most - centre ? least : most;
}
