// How surely a disc lies inside a boundary of any shape, its centre known with a circular error: the normal
// integrated along rays from the stated centre, exactly along each ray, as the program does it.

import { clamp } from "./confidence.js";
import { lookAround } from "./clearance.js";

const RAY_COUNT = 160;
export const REACH_SIGMAS = 4.5; // 4e-5 of the error lies beyond

export function reachOf(radius, sigma) {
  return radius + REACH_SIGMAS * Math.max(sigma, 1e-6);
}

export function containedP(boundary, lon, lat, clearance, radius, sigma) {
  const s = Math.max(sigma, 1e-6);
  const reachM = reachOf(radius, s);
  if (Math.abs(clearance) >= reachM) return clearance > radius ? 1 : 0;
  const { edges, inside } = lookAround(boundary, lon, lat, clearance, reachM);
  let sum = 0;
  for (let ray = 0; ray < RAY_COUNT; ray += 1) {
    const angle = ((ray + 0.5) * 2 * Math.PI) / RAY_COUNT;
    sum += freeMass(blockedAlong(edges, Math.cos(angle), Math.sin(angle), radius), inside, s);
  }
  return clamp(sum / RAY_COUNT, 0, 1);
}

// Mass of the error on the parts of a ray where the disc is inside and clear of every edge.
function freeMass(blocked, inside, sigma) {
  const tail = (t) => Math.exp(-0.5 * (t / sigma) ** 2);
  let [mass, furthest, free] = [0, 0, inside];
  for (const { enter, leave, crosses } of blocked) {
    if (free) mass += Math.max(tail(furthest) - tail(Math.max(enter, furthest)), 0);
    furthest = Math.max(furthest, leave);
    if (crosses) free = !free;
  }
  return free ? mass + tail(furthest) : mass;
}

// Parts of a ray within the radius of an edge, in the order in which the ray enters them.
function blockedAlong(edges, ux, uy, radius) {
  const found = [];
  for (const edge of edges) {
    const part = blockedBy(edge, ux, uy, radius);
    if (part.enter < part.leave && part.leave > 0) found.push({ ...part, enter: Math.max(part.enter, 0) });
  }
  return found.sort((a, b) => a.enter - b.enter);
}

// One interval: the ground within the radius of an edge is convex.
function blockedBy([x0, y0, x1, y1], ux, uy, radius) {
  const [across0, across1] = [ux * y0 - uy * x0, ux * y1 - uy * x1];
  const [along0, along1] = [ux * x0 + uy * y0, ux * x1 + uy * y1];
  const part = { enter: Infinity, leave: -Infinity, crosses: false };
  const widen = (low, high) => {
    part.enter = Math.min(part.enter, low);
    part.leave = Math.max(part.leave, high);
  };
  for (const [across, along] of [[across0, along0], [across1, along1]]) {
    const half2 = radius * radius - across * across;
    if (half2 >= 0) widen(along - Math.sqrt(half2), along + Math.sqrt(half2));
  }
  // The band beside the edge: |distance to its line| under the radius, foot between its ends.
  const [dx, dy] = [x1 - x0, y1 - y0];
  const size = Math.hypot(dx, dy);
  if (size > 0) {
    const band = between((ux * dy - uy * dx) / size, -(x0 * dy - y0 * dx) / size, -radius, radius);
    const ends = between((ux * dx + uy * dy) / size, -(x0 * dx + y0 * dy) / size, 0, size);
    const [low, high] = [Math.max(band[0], ends[0]), Math.min(band[1], ends[1])];
    if (low < high) widen(low, high);
  }
  // Ahead, by the side of the edge that the start lies on: the same answer for all rays.
  part.crosses = across0 > 0 !== across1 > 0 && x0 * y1 - y0 * x1 > 0 === across1 > 0;
  return part;
}

// Where low < rate t + at < high; empty or everything where the rate is nil.
function between(rate, at, low, high) {
  if (Math.abs(rate) < 1e-12) return low < at && at < high ? [-Infinity, Infinity] : [Infinity, -Infinity];
  const [a, b] = [(low - at) / rate, (high - at) / rate];
  return [Math.min(a, b), Math.max(a, b)];
}
