// Where the device is, in the metres of the ground; only where the address is secure and the device says so.
"use strict";

// The metres of the ground of a place in degrees; null where the ground has no place on earth.
export function metresOf(frame, lon, lat) {
  if (frame?.kind !== "earth") return null;
  return { x: (lon - frame.lon0) * frame.m_per_lon, y: (lat - frame.lat0) * frame.m_per_lat };
}

export const metres = (a, b) => Math.hypot(b.x - a.x, b.y - a.y);

// Which way b lies from a: degrees from north, clockwise.
export const bearing = (a, b) => (Math.atan2(b.x - a.x, b.y - a.y) * 180 / Math.PI + 360) % 360;

const WAYS = ["n", "ne", "e", "se", "s", "sw", "w", "nw"];

export const wayOf = (degrees) => WAYS[Math.round(degrees / 45) % 8];

const OLD_MS = 60000, FAR_M = 2000, WAIT_MS = 200;
let isFollowed = false;

// A device that is kilometres away has not come yet, or does not know where it is.
const isNear = ([x0, y0, x1, y1], { x, y }) => x > x0 - FAR_M && x < x1 + FAR_M && y > y0 - FAR_M && y < y1 + FAR_M;

// Keeps state.here and state.heading up to date; tells by the event "here".
export function follow(state) {
  if (!isSecureContext || !navigator.geolocation || isFollowed) return;
  isFollowed = true;
  const place = ({ coords: { longitude, latitude, accuracy } }) => {
    const at = metresOf(state.pack.frame, longitude, latitude);
    state.here = at && isNear(state.pack.map.box, at) && { ...at, lon_deg: longitude, lat_deg: latitude, accuracy_m: accuracy, at: Date.now() };
    dispatchEvent(new Event("here"));
  };
  let latest = null; // a device that stands still may say where it is once, before the ground is known
  const placeWhenKnown = () => { if (!state.pack) { setTimeout(placeWhenKnown, WAIT_MS); return; } place(latest); };
  navigator.geolocation.watchPosition((found) => { const isWaiting = latest && !state.pack; latest = found; if (!isWaiting) placeWhenKnown(); }, () => { state.here = null; }, { enableHighAccuracy: true, maximumAge: 5000 });
  addEventListener("deviceorientationabsolute", (turned) => {
    state.heading = turned.alpha === null ? null : (360 - turned.alpha) % 360;
  });
}

// The place of now; null where it is older than a minute.
export const hereNow = (state) => (state.here && Date.now() - state.here.at < OLD_MS ? state.here : null);
