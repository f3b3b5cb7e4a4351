// How surely several conditions hold together, where one receiver error moves them all and each boundary, or
// each set of parks that share one, errs by a shift of its own: as the program does it, point by point.

import { clamp, normal } from "./confidence.js";
import { lookAround } from "./clearance.js";
import { REACH_SIGMAS, reachOf } from "./containment.js";

const POINT_COUNT = 1024;
const STEP = 0.7; // of the grid, in sigmas of the boundary's error
const PARTS = 2; // of a square of the grid, along each side
const TAPS = 5; // to either side
const SHARP = 0.2; // of the receiver's sigma: a boundary that errs less is taken as straight over its error
const OFF = 0.005; // where that is so far off for a park, and the grid not too fine, it is not
const FINEST = 0.05; // of the receiver's sigma: a grid for a smaller error has too many squares
const SAME_VERTEX_M = 0.1; // vertices nearer to each other are one
const TINY = 1e-9;
const SURE = 0.9995; // a condition held this surely is multiplied
const LEAST = 0.0005; // where one is held less surely, so is all
const MIDDLE = { "north-east": [1, 1], "north-west": [-1, 1], "south-west": [-1, -1], "south-east": [1, -1] };

// A circular normal error of unit sigma, along the golden spiral.
const points = Array.from({ length: POINT_COUNT }, (_, k) => {
  const away = Math.sqrt(-2 * Math.log(1 - (k + 0.5) / POINT_COUNT));
  const turn = k * Math.PI * (3 - Math.sqrt(5));
  return [away * Math.cos(turn), away * Math.sin(turn)];
});
const FURTHEST = Math.sqrt(-2 * Math.log(0.5 / POINT_COUNT));

const kernel = makeKernel();

function makeKernel() {
  const weights = Array.from({ length: 2 * TAPS + 1 }, (_, k) =>
    Math.exp((-0.5 * ((k - TAPS) * STEP) ** 2) / (1 - STEP ** 2 / 12)),
  );
  const sum = sumOf(weights);
  return weights.map((weight) => weight / sum);
}

function sumOf(values) {
  return values.reduce((sum, value) => sum + value, 0);
}

// The confidence in cells, { claim, x, y, p }, and parks, each { boundary, clearance, p, sigma }.
export function joinParts(cells, parks, lon, lat, radius, sigmaFix) {
  const product = parks.reduce((p, park) => p * park.p, cells.p);
  const unsure = parks.filter((park) => park.p < SURE);
  const open = cells.p < SURE;
  const least = Math.min(cells.p, ...parks.map((park) => park.p));
  if (unsure.length + open < 2 || least <= LEAST) return product;
  const held = open ? cells.p : 1;
  const near = unsure.map((park) => ({ ...park, ...lookFrom(park, lon, lat, radius, sigmaFix) }));
  const joint = joinConditions(open ? cells : { claim: "nothing", p: 1 }, near, radius, sigmaFix);
  // Bounds of Frechet: not surer than any, and at worst each fails where no other does.
  const worst = Math.max(unsure.reduce((p, park) => p - (1 - park.p), held), 0);
  const most = Math.min(held, ...unsure.map((park) => park.p));
  return (product * clamp(joint, worst, most)) / unsure.reduce((p, park) => p * park.p, held);
}

// The edges near the station's centre, and whether it lies inside them.
function lookFrom({ boundary, clearance, sigma }, lon, lat, radius, sigmaFix) {
  return lookAround(boundary, lon, lat, clearance, reachOf(radius, Math.hypot(sigmaFix, sigma)));
}

function joinConditions(cells, parks, radius, sigmaFix) {
  const held = points.map(([east, north]) => (touches(cells, sigmaFix * east, sigmaFix * north, radius) ? 1 : 0));
  let scale = divide(cells.p, sumOf(held) / POINT_COUNT);
  for (const group of findGroups(parks)) {
    const { share, own, known } = findGroupShares(group, radius, sigmaFix);
    scale *= divide(known, own);
    for (let k = 0; k < POINT_COUNT; k += 1) held[k] *= share[k];
  }
  return (sumOf(held) / POINT_COUNT) * scale;
}

// What findShares says of a group; how sure that makes the least sure of them, and how sure it is.
function findGroupShares(group, radius, sigmaFix) {
  const { sigma } = group[0];
  // Beside one straight edge that is no approximation; the same for each and for all, to be comparable.
  const straight = group.every((park) => park.edges.length <= 1) || sigma <= TINY;
  let plain = straight || sigma < SHARP * sigmaFix;
  let each = findEach(group, radius, sigmaFix, plain);
  const isOff = each.some(({ own, known }) => Math.abs(own - known) > OFF);
  if (isOff && plain && !straight && sigma >= FINEST * sigmaFix) {
    plain = false;
    each = findEach(group, radius, sigmaFix, plain);
  }
  const least = each.reduce((best, one) => (one.own < best.own ? one : best));
  return { ...least, share: group.length > 1 ? findShares(group, radius, sigmaFix, plain) : least.share };
}

function findEach(group, radius, sigmaFix, plain) {
  return group.map((park) => {
    const share = findShares([park], radius, sigmaFix, plain);
    return { share, own: sumOf(share) / POINT_COUNT, known: park.p };
  });
}

function divide(known, own) {
  return own > TINY ? known / own : 0;
}

function touches({ claim, x, y }, east, north, radius) {
  if (claim === "nothing") return true;
  if (claim === "one") {
    return (x < 0 ? -east : east) < radius + Math.abs(x) && (y < 0 ? -north : north) < radius + Math.abs(y);
  }
  const [atX, atY] = [x + east, y + north];
  if (claim === "meridian") return Math.abs(atX) < radius;
  if (claim === "parallel") return Math.abs(atY) < radius;
  if (atX * atX + atY * atY < radius * radius) return true;
  if (claim === "four") return false;
  const [inX, inY] = [MIDDLE[claim][0] * atX, MIDDLE[claim][1] * atY];
  return inX > 0 && inX < radius && inY > 0 && inY < radius;
}

// The parks by the boundary error they share.
function findGroups(parks) {
  const head = parks.map((_, k) => k);
  for (let k = 0; k < parks.length; k += 1) {
    for (let j = 0; j < k; j += 1) {
      if (head[j] === head[k] || parks[j].sigma !== parks[k].sigma || !shareAnEdge(parks[k], parks[j])) continue;
      const [least, most] = [Math.min(head[j], head[k]), Math.max(head[j], head[k])];
      for (let i = 0; i <= k; i += 1) if (head[i] === most) head[i] = least;
    }
  }
  const heads = head.filter((first, k) => first === k);
  return heads.map((first) => parks.filter((_, k) => head[k] === first));
}

function shareAnEdge(one, other) {
  const same = (x0, y0, x1, y1) => (x0 - x1) ** 2 + (y0 - y1) ** 2 < SAME_VERTEX_M ** 2;
  return one.edges.some(([x0, y0, x1, y1]) => {
    if (!((x1 - x0) ** 2 + (y1 - y0) ** 2 > 4 * SAME_VERTEX_M ** 2)) return false;
    return other.edges.some(
      ([a0, b0, a1, b1]) =>
        (same(x0, y0, a0, b0) && same(x1, y1, a1, b1)) || (same(x0, y0, a1, b1) && same(x1, y1, a0, b0)),
    );
  });
}

// Share of a boundary error at which the disc is inside all of some parks, at each point of the receiver's.
function findShares(group, radius, sigmaFix, plain) {
  const { sigma } = group[0];
  if (plain) {
    const spread = Math.max(sigma, TINY);
    return points.map(([east, north]) => normal((measureAll(group, sigmaFix * east, sigmaFix * north) - radius) / spread));
  }
  const step = STEP * sigma;
  const inner = Math.floor((FURTHEST * sigmaFix) / step) + 2;
  const left = 2 * inner + 1;
  const grid = blur(averageSquares(group, step, inner + TAPS, radius, sigmaFix), left);
  return points.map(([east, north]) => {
    const [x, y] = [(sigmaFix * east) / step + inner, (sigmaFix * north) / step + inner];
    const [i, j] = [Math.floor(x), Math.floor(y)];
    const [across, up] = [weighCubic(x - i), weighCubic(y - j)];
    const rows = up.map((weight, r) => {
      const from = (j + r - 1) * left + i - 1;
      return weight * sumOf(across.map((w, k) => w * grid[from + k]));
    });
    return clamp(sumOf(rows), 0, 1);
  });
}

// Share of each square, row after row from the south-west, whence the disc is inside.
function averageSquares(group, step, outer, radius, sigmaFix) {
  const far = REACH_SIGMAS ** 2 * (group[0].sigma ** 2 + sigmaFix ** 2);
  const found = [];
  for (let j = -outer; j <= outer; j += 1) {
    for (let i = -outer; i <= outer; i += 1) {
      const [x, y] = [i * step, j * step];
      found.push(x * x + y * y <= far ? averageSquare(group, x, y, step, radius) : 0);
    }
  }
  return found;
}

function averageSquare(group, x, y, step, radius) {
  const room = measureAll(group, x, y) - radius;
  if (!(Math.abs(room) < step)) return room > 0 ? 1 : 0;
  let total = 0;
  for (let q = 0; q < PARTS; q += 1) {
    for (let p = 0; p < PARTS; p += 1) {
      const [east, north] = [((p + 0.5) / PARTS - 0.5) * step, ((q + 0.5) / PARTS - 0.5) * step];
      total += clamp((measureAll(group, x + east, y + north) - radius) / (step / PARTS) + 0.5, 0, 1);
    }
  }
  return total / PARTS ** 2;
}

// The squares blurred by the boundary's error, without those along the rim.
function blur(squares, left) {
  const wide = left + 2 * TAPS;
  const rows = [];
  for (let j = 0; j < wide; j += 1) {
    for (let i = 0; i < left; i += 1) rows.push(sumOf(kernel.map((weight, k) => weight * squares[j * wide + i + k])));
  }
  const found = [];
  for (let j = 0; j < left; j += 1) {
    for (let i = 0; i < left; i += 1) found.push(sumOf(kernel.map((weight, k) => weight * rows[(j + k) * left + i])));
  }
  return found;
}

// Lagrange's weights of the places -1, 0, 1 and 2 at t.
function weighCubic(t) {
  return [
    (-t * (t - 1) * (t - 2)) / 6,
    ((t + 1) * (t - 1) * (t - 2)) / 2,
    (-(t + 1) * t * (t - 2)) / 2,
    ((t + 1) * t * (t - 1)) / 6,
  ];
}

// Signed distance to the nearest edge of any park, positive inside all; where the boundary they share lies
// between two of them, no shift of it helps.
function measureAll(group, x, y) {
  const clear = group.map((park) => measureOne(park, x, y));
  const [least, most] = [Math.min(...clear), Math.max(...clear)];
  return least < 0 && most > 0 && Math.abs(least + most) < 2 * SAME_VERTEX_M ? -Infinity : least;
}

function measureOne({ edges, inside: centre }, x, y) {
  let [best, inside] = [Infinity, centre];
  for (const [x0, y0, x1, y1] of edges) {
    const [ax, ay, bx, by, dx, dy] = [x0 - x, y0 - y, x1 - x, y1 - y, x1 - x0, y1 - y0];
    const along = clamp(-(ax * dx + ay * dy) * (1 / Math.max(dx * dx + dy * dy, 1e-12)), 0, 1);
    best = Math.min(best, (ax + along * dx) ** 2 + (ay + along * dy) ** 2);
    // Crossed on the straight way back to the station's centre.
    if (x * ay - y * ax > 0 === x * by - y * bx > 0) continue;
    if (ax * by - ay * bx > 0 !== x0 * y1 - y0 * x1 > 0) inside = !inside;
  }
  return inside ? Math.sqrt(best) : -Math.sqrt(best);
}
