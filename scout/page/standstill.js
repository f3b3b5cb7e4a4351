// A recording made while standing still becomes one position with its 95 % circle. scout/recording/standstill.py says
// why and does the same; one file of numbers tests both. A browser tells a place, a time and one radius of each
// fix: neither HDOP nor satellites nor how the fix was made, so all fixes count alike.

import { RADIAN, degreeLengths, inverse, wrapLongitude } from "./geodesy.js";
import { integral, normal, sigmaOf } from "./confidence.js";
import { boundIndependent, computeMixtureRadius, estimateMeanError, findUsualVariance } from "./wander.js";

const FLOOR_M = 4.9; // published for one fix under open sky (GPS.gov), taken as 95 %
const FAR = 6; // median distances, beyond which a fix is far off
const FAR_LEAST_M = 5;
const HELD_M = 1e-3; // a scatter below this is none
const SAME_M = 1e-4;
const STAY_WITHIN = 2.15; // 95 % radii of a fix
const STAY_WITHIN_LEAST_M = 10;
const STAY_LEAST_S = 60;
const STAY_LEAST_SHARE = 0.8;
const AT_REST_M = 45; // 95 % of single fixes of a receiver at rest lie within
const SPELL_S = 15;
const MOST_STAY_SPELLS = 240;
const GAP_S = 300;
const INSIDE = 0.9; // of the spells of a stay

function findMedian(values) {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length / 2;
  return (sorted[Math.ceil(half) - 1] + sorted[Math.floor(half)]) / 2;
}

function average(values) {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

function spanOf(values) {
  return Math.max(...values) - Math.min(...values);
}

// One position of fixes { time, lon, lat, error }: seconds, degrees, and the 95 % radius that the device states, NaN
// where it states none. Or { refusal }: a reason in words, with what to do. There is one fix at least.
export function settleFixes(fixes) {
  const sorted = [...fixes].sort((a, b) => a.time - b.time);
  const standing = findStanding(sorted);
  if (standing.refusal) return standing;
  const { used: stay, moved } = standing;
  const { frame, points } = centreFixes(stay);
  const middle = findGeometricMedian(points);
  const away = points.map((point) => measure(point, middle));
  const limit = Math.max(FAR * findMedian(away), FAR_LEAST_M);
  const keep = (list) => list.filter((_, k) => away[k] <= limit);
  const [used, kept] = [keep(stay), keep(points)];
  const spread = fitSigmas(kept);
  const scatter = computeRadius95(spread.major, spread.minor);
  if (scatter > AT_REST_M) {
    return { refusal: `no receiver at rest scatters so: 95 % of the fixes lie within ${Math.round(scatter)} m` };
  }
  const { mixture, independent } = estimateRandomError(used.map(({ time }) => time), kept, scatter);
  const floor = raiseFloor(used);
  return {
    ...moveFrom(frame, [0, 1].map((axis) => average(kept.map((point) => point[axis])))),
    error: computeMixtureRadius(mixture, sigmaOf(floor)),
    floor,
    random: computeMixtureRadius(mixture),
    scatter,
    independent,
    count: fixes.length,
    used: used.length,
    dropped: stay.length - used.length,
    durationS: stay[stay.length - 1].time - stay[0].time,
    moved,
  };
}

// How far apart fixes of one place may lie, by the 95 % radius of one.
export function computeStayWithin(error) {
  return Math.max(STAY_WITHIN_LEAST_M, STAY_WITHIN * error);
}

function raiseFloor(fixes) {
  const stated = fixes.map(({ error }) => error).filter(Number.isFinite);
  return stated.length ? Math.max(FLOOR_M, average(stated)) : FLOOR_M;
}

// The fixes of the longest standstill, and whether that is not all of the recording.
function findStanding(fixes) {
  const { points } = centreFixes(fixes);
  const times = fixes.map(({ time }) => time);
  const within = computeStayWithin(raiseFloor(fixes));
  if (!(spanOf(times) > 0)) {
    const wide = Math.hypot(...[0, 1].map((axis) => spanOf(points.map((point) => point[axis]))));
    return wide > HELD_M ? { refusal: "its fixes have no times that differ" } : { used: fixes, moved: false };
  }
  const { inside, whole } = findLongestStay(times, points, within);
  if (whole) return { used: fixes, moved: false };
  const used = fixes.filter((_, k) => inside[k]);
  const lasted = used[used.length - 1].time - used[0].time;
  if (used.length / fixes.length < STAY_LEAST_SHARE && lasted < STAY_LEAST_S) {
    return { refusal: `the device moved: at most ${Math.round(lasted)} s in a row stay within ${Math.round(within)} m` };
  }
  return { used, moved: true };
}

// A frame about the median place, on the sphere, where no meridian is special, and metres in it.
function centreFixes(fixes) {
  const xyz = fixes.map(({ lon, lat }) => {
    const [x, y] = [lon * RADIAN, lat * RADIAN];
    return [Math.cos(y) * Math.cos(x), Math.cos(y) * Math.sin(x), Math.sin(y)];
  });
  const [x, y, z] = [0, 1, 2].map((axis) => findMedian(xyz.map((point) => point[axis])));
  const frame = { lon: Math.atan2(y, x) / RADIAN, lat: Math.atan2(z, Math.hypot(x, y)) / RADIAN };
  return { frame, points: fixes.map((fix) => projectFrom(frame, fix)) };
}

// East and north of the frame's centre, along geodesics.
function projectFrom(frame, { lon, lat }) {
  const { distance, bearing } = inverse(frame.lon, frame.lat, lon, lat);
  if (!(distance > 0)) return [0, 0];
  return [distance * Math.sin(bearing * RADIAN), distance * Math.cos(bearing * RADIAN)];
}

// And back, by the lengths of a degree, set right until nothing is left.
function moveFrom(frame, [east, north]) {
  const { perLon, perLat } = degreeLengths(frame.lat);
  const place = { ...frame };
  for (let round = 0; round < 5; round += 1) {
    const [x, y] = projectFrom(frame, place);
    place.lon += (east - x) / perLon;
    place.lat += (north - y) / perLat;
  }
  return { lon: wrapLongitude(place.lon), lat: place.lat };
}

function measure([x, y], [cx, cy]) {
  return Math.hypot(x - cx, y - cy);
}

// Weiszfeld's iteration with the step of Vardi and Zhang off the points themselves.
function findGeometricMedian(points) {
  let centre = [0, 1].map((axis) => findMedian(points.map((point) => point[axis])));
  for (let round = 0; round < 500; round += 1) {
    let [held, weights, pull] = [0, 0, [0, 0]];
    for (const point of points) {
      const distance = measure(point, centre);
      if (distance < SAME_M) {
        held += 1;
        continue;
      }
      weights += 1 / distance;
      pull = pull.map((sum, axis) => sum + (point[axis] - centre[axis]) / distance);
    }
    const strength = Math.hypot(...pull);
    if (strength <= held) break;
    const step = pull.map((part) => ((1 - held / strength) * part) / weights);
    centre = centre.map((part, axis) => part + step[axis]);
    if (Math.hypot(...step) < 1e-5) break;
  }
  return centre;
}

// Sigmas along the axes of the covariance ellipse of single fixes; and per axis, their mean variance.
function fitSigmas(points) {
  if (points.length < 2) return { major: NaN, minor: NaN, single: NaN };
  const [east, north] = [0, 1].map((axis) => average(points.map((point) => point[axis])));
  const share = (term) => points.reduce((sum, [x, y]) => sum + term(x - east, y - north), 0) / (points.length - 1);
  const [xx, yy, xy] = [share((x) => x * x), share((_, y) => y * y), share((x, y) => x * y)];
  const half = Math.hypot((xx - yy) / 2, xy);
  const single = (xx + yy) / 2;
  return { major: Math.sqrt(single + half), minor: Math.sqrt(Math.max(single - half, 0)), single };
}

// The radius of the circle that holds 95 % of a centred normal with these two sigmas.
function computeRadius95(major, minor) {
  if (!(major > 0)) return major;
  const ratio = Math.max(minor / major, 1e-9);
  const held = (r) =>
    integral(-Math.PI / 2, Math.PI / 2, (theta) => {
      const along = Math.exp(-0.5 * (r * Math.sin(theta)) ** 2) / Math.sqrt(2 * Math.PI);
      return along * (2 * normal((r * Math.cos(theta)) / ratio) - 1) * r * Math.cos(theta);
    });
  let [low, high] = [1.95, 2.45];
  for (let round = 0; round < 40; round += 1) {
    const middle = (low + high) / 2;
    if (held(middle) < 0.95) low = middle;
    else high = middle;
  }
  return (major * (low + high)) / 2;
}

// What the scatter leaves in the mean, and how many independent fixes would most likely leave as much.
function estimateRandomError(times, points, scatter) {
  if (!(scatter > HELD_M)) return { mixture: estimateMeanError([0], [[0, 0]]), independent: 1 };
  const most = boundIndependent(points.length, times[times.length - 1] - times[0]);
  const { single } = fitSigmas(points);
  const held = estimateMeanError(times, points).map(({ odds, variance }) => ({ odds, variance: Math.max(variance, single / most) }));
  // The mixture is of circles; an elongated scatter reaches further than the circle of its variance.
  const longer = (scatter * sigmaOf(1)) ** 2 / single;
  return {
    mixture: held.map(({ odds, variance }) => ({ odds, variance: variance * longer })),
    independent: Math.min(Math.max(single / findUsualVariance(held), 1), most),
  };
}

// The longest spell, without long silences, that stays within a radius of one of its own places.
function findLongestStay(times, points, within) {
  const spells = makeStaySpells(times, points);
  const middle = [0, 1].map((axis) => findMedian(spells.map(({ place }) => place[axis])));
  const order = [...spells.keys()].sort((a, b) => measure(spells[a].place, middle) - measure(spells[b].place, middle));
  const lasting = ([first, last]) => spells[last].end - spells[first].start;
  let best = [0, 0];
  for (const centre of order) {
    const run = findLongestRun(spells, spells.map(({ place }) => measure(place, spells[centre].place) <= within));
    if (lasting(run) > lasting(best)) best = run;
    if (best[0] === 0 && best[1] === spells.length - 1) break;
  }
  const inside = spells.flatMap(({ count }, k) => Array(count).fill(k >= best[0] && k <= best[1]));
  return { inside, whole: best[0] === 0 && best[1] === spells.length - 1 };
}

// Spells of some seconds: start, end, median place, and which unbroken piece of the recording they belong to.
function makeStaySpells(times, points) {
  const span = times[times.length - 1] - times[0];
  const length = Math.max(SPELL_S, span / MOST_STAY_SPELLS);
  const usual = findMedian(times.slice(1).map((time, k) => time - times[k]));
  const spells = [];
  let piece = 0;
  times.forEach((time, k) => {
    if (k && time - times[k - 1] > Math.max(GAP_S, 10 * usual)) piece += 1;
    const number = Math.floor((time - times[0]) / length);
    const last = spells[spells.length - 1];
    if (last?.number === number && last.piece === piece) last.members.push(k);
    else spells.push({ number, piece, members: [k] });
  });
  return spells.map(({ piece: part, members }) => ({
    piece: part,
    count: members.length,
    start: times[members[0]],
    end: times[members[members.length - 1]],
    place: [0, 1].map((axis) => findMedian(members.map((k) => points[k][axis]))),
  }));
}

// First and last spell of the longest run in one piece, inside at both ends and for most of it.
function findLongestRun(spells, inside) {
  const score = [0];
  inside.forEach((here, k) => score.push(score[k] + (here ? 1 : 0) - INSIDE));
  const ends = [...inside.keys()].filter((k) => inside[k]);
  let [best, longest] = [[0, 0], -1];
  for (const first of ends) {
    for (const last of ends) {
      if (last < first || spells[last].piece !== spells[first].piece) continue;
      const lasted = spells[last].end - spells[first].start;
      if (lasted > longest && score[last + 1] - score[first] >= -1e-9) [best, longest] = [[first, last], lasted];
    }
  }
  return best;
}
