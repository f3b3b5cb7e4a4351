// Boundaries of the parks that this page knows, and distances to them, as the program measures them: the
// Cassini-Soldner series about the place, a geodesic to the foot found beyond 10 km and near the poles.

import { degreeLengths, inverse, roundHalfEven, seriesAt, seriesForward, wrapLongitude } from "./geodesy.js";
import { unpackRing } from "./outlines.js";
import { clamp } from "./confidence.js";

const LONGEST_EDGE_M = 1000; // an edge is straight in degrees; a longer chord strays from it
const STRAY_M = 0.1; // to either side of a chord: twice what the longest strays
const NUDGE = 1e-6; // of the way to a place whose side is known
const HALF = Math.SQRT1_2;
const EIGHT_WAYS = [
  [1, 0],
  [HALF, HALF],
  [0, 1],
  [-HALF, HALF],
  [-1, 0],
  [-HALF, -HALF],
  [0, -1],
  [HALF, -HALF],
];
const SERIES_M = 10000;
const SERIES_LAT = 80;

// Edges end to end: where each begins and ends, whether it is loose, of which ring it is; and whether a ring
// is an inholding's.
export function makeBoundary(outline, unitsPerDegree) {
  const edges = { lon0: [], lat0: [], lon1: [], lat1: [], loose: [], ring: [] };
  const holes = [];
  for (const rings of outline) {
    rings.forEach((text, number) => {
      addRing(edges, unpackRing(text, unitsPerDegree), holes.length);
      holes.push(number > 0);
    });
  }
  const made = Object.fromEntries(Object.entries(edges).map(([name, all]) => [name, Float64Array.from(all)]));
  const [west, east] = [least(made.lon0), -least(made.lon0.map((lon) => -lon))];
  const [south, north] = [least(made.lat0), -least(made.lat0.map((lat) => -lat))];
  return { ...made, holes, size: made.lon0.length, west, east, south, north, middle: (west + east) / 2 };
}

function least(values) {
  return values.reduce((low, value) => Math.min(low, value), Infinity);
}

function addRing(edges, { lon, lat, loose }, ring) {
  for (let k = 0; k < lon.length; k += 1) {
    const next = (k + 1) % lon.length;
    const [dlon, dlat] = [lon[next] - lon[k], lat[next] - lat[k]];
    const { perLon, perLat } = degreeLengths(lat[k]);
    const pieces = Math.max(Math.ceil(Math.hypot(dlon * perLon, dlat * perLat) / LONGEST_EDGE_M), 1);
    const at = (step) =>
      step === pieces
        ? [lon[next], lat[next]]
        : [lon[k] + (step / pieces) * dlon, lat[k] + (step / pieces) * dlat];
    for (let step = 0; step < pieces; step += 1) {
      const [[x0, y0], [x1, y1]] = [at(step), at(step + 1)];
      edges.lon0.push(x0);
      edges.lat0.push(y0);
      edges.lon1.push(x1);
      edges.lat1.push(y1);
      edges.loose.push(loose[k]);
      edges.ring.push(ring);
    }
  }
}

// Longitude on the side of the globe where the park's numbers are.
export function bringToSide(boundary, lon) {
  return lon + 360 * roundHalfEven((boundary.middle - lon) / 360);
}

// Whether a place lies inside: even-odd over all rings.
export function isWithin(boundary, lon, lat) {
  const x = bringToSide(boundary, lon);
  const { lon0, lat0, lon1, lat1 } = boundary;
  let inside = false;
  for (let k = 0; k < boundary.size; k += 1) {
    if (lat0[k] > lat === lat1[k] > lat) continue;
    if (x < ((lon1[k] - lon0[k]) * (lat - lat0[k])) / (lat1[k] - lat0[k]) + lon0[k]) inside = !inside;
  }
  return inside;
}

// All meridians meet at a pole: an edge along it is no boundary.
function isAlongPole(boundary, k) {
  return Math.abs(boundary.lat0[k]) >= 90 && boundary.lat0[k] === boundary.lat1[k];
}

// Calls with each edge's number, the share of the way along it at which it comes nearest to the place, the
// squared distance there, and its ends in metres east and north of the place.
function eachEdge(boundary, lon, lat, series, visit) {
  const x = bringToSide(boundary, lon);
  const { lon0, lat0, lon1, lat1 } = boundary;
  const { x1, x2, y1, y4 } = series;
  for (let k = 0; k < boundary.size; k += 1) {
    if (isAlongPole(boundary, k)) continue;
    // To second order: 0.1 m at 10 km, enough to pick an edge.
    const [west, south, east, north] = [lon0[k] - x, lat0[k] - lat, lon1[k] - x, lat1[k] - lat];
    const startX = west * (x1 + x2 * south);
    const startY = south * y1 + y4 * (west * west);
    const endX = east * (x1 + x2 * north);
    const endY = north * y1 + y4 * (east * east);
    const dx = endX - startX;
    const dy = endY - startY;
    const share = clamp(-(startX * dx + startY * dy) / Math.max(dx * dx + dy * dy, 1e-12), 0, 1);
    visit(k, share, (startX + share * dx) ** 2 + (startY + share * dy) ** 2, startX, startY, endX, endY);
  }
}

// Distance in metres to the nearest boundary point and that point; how near a loose edge comes, by itself.
export function findNearestEdge(boundary, lon, lat) {
  const series = seriesAt(lat);
  const best = { edge: -1, share: 0, squared: Infinity };
  const loose = { edge: -1, share: 0, squared: Infinity };
  eachEdge(boundary, lon, lat, series, (edge, share, squared) => {
    const kind = boundary.loose[edge] ? loose : best;
    if (squared < kind.squared) Object.assign(kind, { edge, share, squared });
  });
  const nearest = loose.squared < best.squared ? loose : best;
  return {
    ...findFoot(boundary, nearest.edge, nearest.share, lon, lat, series),
    atInholding: boundary.holes[boundary.ring[nearest.edge]],
    exactM: Math.sqrt(best.squared),
    looseM: Math.sqrt(loose.squared),
  };
}

// The nearest point of one edge, by two Gauss-Newton steps.
function findFoot(boundary, k, roughShare, lon, lat, series) {
  const x = bringToSide(boundary, lon);
  const [lon0, lat0] = [boundary.lon0[k] - x, boundary.lat0[k] - lat];
  const [dlon, dlat] = [boundary.lon1[k] - boundary.lon0[k], boundary.lat1[k] - boundary.lat0[k]];
  const [x0, y0] = seriesForward(series, lon0, lat0);
  const [x1, y1] = seriesForward(series, lon0 + dlon, lat0 + dlat);
  const [dx, dy] = [x1 - x0, y1 - y0];
  let share = roughShare;
  for (let round = 0; round < 2; round += 1) {
    const [px, py] = seriesForward(series, lon0 + share * dlon, lat0 + share * dlat);
    share = clamp(share - (px * dx + py * dy) / Math.max(dx * dx + dy * dy, 1e-12), 0, 1);
  }
  const edge = { lon: wrapLongitude(x + lon0 + share * dlon), lat: lat + lat0 + share * dlat };
  let distance = Math.hypot(...seriesForward(series, lon0 + share * dlon, lat0 + share * dlat));
  if (distance > SERIES_M || Math.abs(lat) > SERIES_LAT) {
    distance = inverse(lon, lat, edge.lon, edge.lat).distance;
  }
  return { distance, edge };
}

// The edges that come within reach of a place, and whether it lies inside them. They are chords: nearer to one
// than that strays, the place may lie on its other side. Another a metre off says so, where the clearance is
// greatest; the place goes a millionth of the way there, so that it lies on no edge.
export function lookAround(boundary, lon, lat, clearance, reachM) {
  const found = findEdgesWithin(boundary, lon, lat, reachM);
  if (Math.abs(clearance) >= STRAY_M) return { edges: found, inside: clearance > 0 };
  const { perLon, perLat } = degreeLengths(lat);
  const away = Math.min(reachM, 1);
  let [best, x, y] = [-1, 0, 0];
  for (const [east, north] of EIGHT_WAYS) {
    const { distance } = findNearestEdge(boundary, lon + (away * east) / perLon, lat + (away * north) / perLat);
    if (distance > best) [best, x, y] = [distance, away * east, away * north];
  }
  let inside = isWithin(boundary, lon + x / perLon, lat + y / perLat);
  const [dx, dy] = [NUDGE * x, NUDGE * y];
  const edges = found.map(([x0, y0, x1, y1]) => [x0 - dx, y0 - dy, x1 - dx, y1 - dy]);
  [x, y] = [x - dx, y - dy];
  for (const [x0, y0, x1, y1] of edges) {
    const [ax, ay, bx, by] = [x0 - x, y0 - y, x1 - x, y1 - y];
    if (x * ay - y * ax > 0 === x * by - y * bx > 0) continue;
    if (ax * by - ay * bx > 0 !== x0 * y1 - y0 * x1 > 0) inside = !inside;
  }
  return { edges, inside };
}

// Edges that come within reach of a place, each [x0, y0, x1, y1] in metres east and north of it.
function findEdgesWithin(boundary, lon, lat, reachM) {
  const found = [];
  eachEdge(boundary, lon, lat, seriesAt(lat), (_, __, squared, ...ends) => {
    if (Math.sqrt(squared) <= reachM) found.push(ends);
  });
  return found;
}
