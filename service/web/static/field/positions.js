// Where a tree stands and how well that is known: line by line what layers/position_fixing.py and
// layers/pacing.py do, held to them by tests/shared_cases/position_fixing.json. Points are [x, y, accuracy] in
// metres of the ground; what cannot be found comes back as {fault}.
"use strict";

const TAPE_SE_M = 0.2, COMPASS_SE_DEG = 15, RIGHT_ANGLE_SE_DEG = 5, FINGER_M = 0.007, UNDER_CROWNS_M = 5;
const NARROWEST_DEG = 10, LEAST_PACE_SHARE = 0.02;
export const CALIBRATED_OVER_M = 20, FEWEST_WALKS = 3;
const rad = (deg) => (deg * Math.PI) / 180;
const axisSe = (point) => point[2] / Math.SQRT2;

// causes: [deviation, how far it moves x, and y].
function fix(x, y, causes) {
  let xx = 0, xy = 0, yy = 0;
  for (const [s, by_x, by_y] of causes) {
    xx += (s * by_x) ** 2;
    xy += s * s * by_x * by_y;
    yy += (s * by_y) ** 2;
  }
  return { x_m: x, y_m: y, var_x_m2: xx, cov_xy_m2: xy, var_y_m2: yy, accuracy_m: Math.sqrt(xx + yy) };
}

const roundFix = (x, y, accuracy) => fix(x, y, [[accuracy / Math.SQRT2, 1, 0], [accuracy / Math.SQRT2, 0, 1]]);

// Length of the way from a to b, and the unit vectors along it and to its left.
function lineOf(a, b) {
  const d = Math.hypot(b[0] - a[0], b[1] - a[1]);
  const e = [(b[0] - a[0]) / d, (b[1] - a[1]) / d];
  return { d, e, left: [-e[1], e[0]] };
}

export function twoTapes({ a, b, from_a_m: fromA, from_b_m: fromB, tape_se_m: se = TAPE_SE_M }) {
  if (!(fromA > 0 && fromB > 0)) return { fault: "outside" };
  const { d, e, left: n } = lineOf(a, b);
  if (d === 0) return { fault: "same point" };
  const along = (fromA ** 2 - fromB ** 2 + d ** 2) / (2 * d);
  const offSquared = fromA ** 2 - along ** 2;
  if (offSquared < 0) return { fault: fromA + fromB < d ? "too short" : "too long" };
  const off = Math.sqrt(offSquared);
  if (off * d < Math.sin(rad(NARROWEST_DEG)) * fromA * fromB) return { fault: "too narrow" };
  const at = (sign) => {
    const x = a[0] + along * e[0] + sign * off * n[0], y = a[1] + along * e[1] + sign * off * n[1];
    const u = [(x - a[0]) / fromA, (y - a[1]) / fromA], v = [(x - b[0]) / fromB, (y - b[1]) / fromB];
    const det = u[0] * v[1] - u[1] * v[0];
    return fix(x, y, [
      [Math.hypot(se, axisSe(a)), v[1] / det, -v[0] / det],
      [Math.hypot(se, axisSe(b)), -u[1] / det, u[0] / det],
    ]);
  };
  return { left: at(1), right: at(-1) };
}

// causes: [deviation, how far it moves the point along the line, and off it].
function aside(a, b, along, off, side, angleDeg, causes) {
  const { d, e, left } = lineOf(a, b);
  if (d === 0) return { fault: "same point" };
  const n = side === "left" ? left : [-left[0], -left[1]];
  const dx = along * e[0] + off * n[0], dy = along * e[1] + off * n[1];
  const byB = [[-dy * left[0] / d, -dy * left[1] / d], [dx * left[0] / d, dx * left[1] / d]];
  return fix(a[0] + dx, a[1] + dy, [
    ...causes.map(([s, t, o]) => [s, t * e[0] + o * n[0], t * e[1] + o * n[1]]),
    [rad(angleDeg), off * e[0], off * e[1]],
    [axisSe(a), 1 - byB[0][0], -byB[1][0]], [axisSe(a), -byB[0][1], 1 - byB[1][1]],
    [axisSe(b), byB[0][0], byB[1][0]], [axisSe(b), byB[0][1], byB[1][1]],
  ]);
}

export function alongAndOff({ a, b, along_m: along, off_m: off, side, tape_se_m: se = TAPE_SE_M, right_angle_se_deg: angle = RIGHT_ANGLE_SE_DEG }) {
  return aside(a, b, along, off, side, angle, [[se, 1, 0], [se, 0, 1]]);
}

// A team's pace from how many it counted over a known way; null where there are too few walks.
export function paceOf(counts, walked = CALIBRATED_OVER_M) {
  const m = counts.length;
  if (m < FEWEST_WALKS || counts.some((count) => !(count > 0))) return null;
  const mean = counts.reduce((sum, count) => sum + count, 0) / m;
  const sd = Math.sqrt(counts.reduce((sum, count) => sum + (count - mean) ** 2, 0) / (m - 1));
  const share = Math.max(sd / mean, LEAST_PACE_SHARE);
  const length = walked / mean;
  return { length, se: (length * share) / Math.sqrt(m), sd: length * share * Math.sqrt(mean) };
}

export function alongAndOffInPaces({ a, b, along, off, side, counts, walked_m: walked = CALIBRATED_OVER_M, right_angle_se_deg: angle = RIGHT_ANGLE_SE_DEG }) {
  const pace = paceOf(counts, walked);
  if (!pace) return { fault: "nothing" };
  const own = (paces) => Math.hypot(Math.sqrt(paces) * pace.sd, pace.length / Math.sqrt(12));
  return aside(a, b, along * pace.length, off * pace.length, side, angle, [[pace.se, along, off], [own(along), 1, 0], [own(off), 0, 1]]);
}

export function bearingAndDistance({ a, bearing_deg: bearing, distance_m: r, declination_deg: declination = null, bearing_se_deg: turn = COMPASS_SE_DEG, tape_se_m: se = TAPE_SE_M }) {
  if (!(bearing >= 0 && bearing <= 360)) return { fault: "outside" };
  const angle = rad(bearing + (declination ?? 0)), s = Math.sin(angle), c = Math.cos(angle);
  return fix(a[0] + r * s, a[1] + r * c, [[rad(turn), r * c, -r * s], [se, s, c], [axisSe(a), 1, 0], [axisSe(a), 0, 1]]);
}

export function averaged({ fixes, least_m: least = UNDER_CROWNS_M }) {
  const usable = fixes.filter((one) => one[2] > 0);
  if (!usable.length) return { fault: "nothing" };
  const weights = usable.map((one) => one[2] ** -2), sum = weights.reduce((all, w) => all + w, 0);
  const mean = (of) => usable.reduce((all, one, n) => all + weights[n] * of(one), 0) / sum;
  const x = mean((one) => one[0]), y = mean((one) => one[1]);
  const scatter = Math.sqrt(mean((one) => (one[0] - x) ** 2 + (one[1] - y) ** 2));
  return roundFix(x, y, Math.max(Math.sqrt(usable.length / sum), scatter, least));
}

export const tapped = ({ x_m: x, y_m: y, scale, plan_accuracy_m: plan = 0 }) => roundFix(x, y, Math.hypot(FINGER_M * scale, plan));

// The scale of a plan on the screen, 500 for 1:500, from the metres of one CSS pixel (1/96 inch).
export const scaleOf = (metresOfPixel) => metresOfPixel / (0.0254 / 96);
