// How tall a tree is: line by line what layers/height_by_angle.py does, held to it by
// tests/shared_cases/height_by_angle.json. What says no height comes back as {fault}.
"use strict";

export const PHONE_SE_DEG = 1, PROTRACTOR_SE_DEG = 2;
const TAPE_SE_M = 0.2, COVERED_SE_CM = 1, REACH_SE_CM = 2;
const rad = (deg) => (deg * Math.PI) / 180;

export function heightByAngle({ distance_m: far, top_deg: top, foot_deg: foot, slope_deg: slope = 0, angle_se_deg: turn = PHONE_SE_DEG, tape_se_m: se = TAPE_SE_M }) {
  if (![top, foot, slope].every((angle) => Math.abs(angle) < 85) || !(far > 0) || !(top > foot)) return { fault: "outside" };
  const level = Math.cos(rad(slope)), rise = level * (Math.tan(rad(top)) - Math.tan(rad(foot)));
  const byAngle = far * level * Math.hypot(Math.cos(rad(top)) ** -2, Math.cos(rad(foot)) ** -2);
  return { height_m: far * rise, se_m: Math.hypot(rise * se, byAngle * rad(turn)) };
}

export function heightByStick({ distance_m: far, covered_cm: covered, reach_cm: reach, tape_se_m: se = TAPE_SE_M, covered_se_cm: by_covered = COVERED_SE_CM, reach_se_cm: by_reach = REACH_SE_CM }) {
  if (!(far > 0 && covered > 0 && reach > 0)) return { fault: "outside" };
  const height = (far * covered) / reach;
  return { height_m: height, se_m: height * Math.hypot(se / far, by_covered / covered, by_reach / reach) };
}
