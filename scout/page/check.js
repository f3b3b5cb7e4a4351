// One place judged as the command judges it: grids touched, parks near, what holds the confidence down. Only
// the parks of these findings are known here, and loose outlines are not trusted beyond their tolerance.

import { findings } from "./findings.js";
import { degreeLengths, inverse, wrapLongitude } from "./geodesy.js";
import { DOUBTFUL, sigmaOf, wordFor } from "./confidence.js";
import { latticeAt, linesAt, touchedAt } from "./touched_cells.js";
import { bringToSide, findNearestEdge, isWithin, makeBoundary } from "./clearance.js";
import { containedP, reachOf } from "./containment.js";
import { joinParts } from "./joint.js";
import { computeCellShare } from "./cell_share.js";

export const NEAR_M = 1000; // parks further outside are ignored
export const UNSURE = "too close to tell";

let knownParks = null;

// Made when first asked for: most readers of a page never check a place.
function getKnownParks() {
  knownParks ??= findings.parks.map(({ id, name, error, coarse, outline }) => {
    return { id, name, error, coarse, boundary: makeBoundary(outline, findings.outlineUnitsPerDegree) };
  });
  return knownParks;
}

// A place is { lon, lat }, with a cell when a locator named it, and fixError when a device states its own.
export function judge(place) {
  const [lon, lat] = [wrapLongitude(place.lon), place.lat];
  const station = { radius: findings.stationRadius, fixError: place.fixError ?? findings.fixError };
  const lattice = latticeAt(lon, lat, findings.level);
  const touched = place.cell
    ? claimCell(place.cell, findings.level)
    : touchedAt(lon, lat, lattice, findings.level, station);
  const near = findParksNear(lon, lat, place.cell, station);
  const verdict = makeVerdict(touched, near, (counted) => {
    if (place.cell) return counted.reduce((product, park) => product * park.p, touched.p);
    const parks = counted.map((park) => ({ ...park, ...getKnownParks()[park.number] }));
    const sigmas = parks.map((park) => ({ ...park, sigma: sigmaOf(park.error) }));
    return joinParts(touched, sigmas, lon, lat, station.radius, sigmaOf(station.fixError));
  });
  return {
    lon,
    lat,
    station,
    cell: place.cell,
    verdict,
    parks: near,
    lines: linesAt(lon, lat, lattice, findings.level),
    driver: findDriver(verdict, near),
  };
}

// The grid a cell lies in; a cell larger than the level's names none.
function claimCell(cell, level) {
  if (cell.level < level) return { locators: [], p: 0 };
  return { locators: [cell.locator.slice(0, 2 * level)], p: 1 };
}

// Every known park near, the surest first.
function findParksNear(lon, lat, cell, station) {
  const found = [];
  const reachM = computeSight(cell, lat);
  getKnownParks().forEach((park, number) => {
    if (!isInSight(park.boundary, lon, lat, reachM)) return;
    const seen = judgePark(park, lon, lat, cell, station);
    // Of a cell, what it does not touch counts as near only where its centre is.
    if (seen.clearance >= -NEAR_M || seen.share > 0) found.push({ number, id: park.id, name: park.name, coarse: park.coarse, ...seen });
  });
  return found.sort((a, b) => b.p - a.p || b.clearance - a.clearance);
}

// How far away parks are named: from a cell's centre, half its diagonal further.
function computeSight(cell, lat) {
  if (!cell) return NEAR_M;
  const { perLon, perLat } = degreeLengths(lat);
  return NEAR_M + (Math.hypot(cell.width * perLon, cell.height * perLat) / 2) * 1.02;
}

function isInSight(boundary, lon, lat, reachM) {
  const { perLon } = degreeLengths(Math.min(Math.abs(lat) + reachM / 110574, 89.9));
  const [dx, dy] = [(1.01 * reachM) / perLon, (1.01 * reachM) / 110574];
  const x = bringToSide(boundary, lon);
  const overX = x >= boundary.west - dx && x <= boundary.east + dx;
  return overX && lat >= boundary.south - dy && lat <= boundary.north + dy;
}

function judgePark({ boundary, error }, lon, lat, cell, station) {
  const nearest = findNearestEdge(boundary, lon, lat);
  const clearance = isWithin(boundary, lon, lat) ? nearest.distance : -nearest.distance;
  const spread = Math.hypot(sigmaOf(station.fixError), sigmaOf(error));
  const tolerance = findings.tolerance;
  const reachM = reachOf(station.radius, spread) + tolerance;
  const at = inverse(lon, lat, nearest.edge.lon, nearest.edge.lat);
  const seen = {
    clearance,
    edge: nearest.edge,
    edgeM: at.distance,
    edgeDeg: at.bearing,
    atInholding: nearest.atInholding,
    // By how much the clearance may be off, where the nearest edge may be a loose one.
    strayM: nearest.looseM - tolerance < nearest.exactM ? tolerance : 0,
    share: null,
  };
  if (cell) return { ...seen, ...judgeCell(boundary, cell) };
  const p = containedP(boundary, lon, lat, clearance, station.radius, spread);
  return { ...seen, p, word: nearest.looseM < reachM ? UNSURE : wordFor(p) };
}

function judgeCell(boundary, cell) {
  const { share, open } = computeCellShare(boundary, cell, findings.tolerance);
  const same = wordFor(share - open) === wordFor(share + open);
  return { share, p: share, word: same ? wordFor(share) : UNSURE };
}

// The grids touched, the parks that count there and how sure that is; no word where an outline is too coarse.
function makeVerdict(touched, near, judgeTogether) {
  const counted = near.filter((park) => park.p >= DOUBTFUL);
  const confidence = near.length ? judgeTogether(counted.length ? counted : near.slice(0, 1)) : 0;
  const word = counted.length ? wordFor(confidence) : "not counted";
  return {
    locators: touched.locators,
    parks: counted,
    gridsP: touched.p,
    confidence,
    ifTrue: counted.some((park) => park.coarse),
    word: near.some((park) => park.word === UNSURE) ? UNSURE : word,
  };
}

// What holds the confidence down.
function findDriver(verdict, near) {
  const unsure = near.find((park) => park.word === UNSURE);
  if (unsure) return { kind: "outline", park: unsure };
  if (!near.length) return { kind: "none near" };
  if (!verdict.parks.length) return { kind: near[0].clearance < 0 ? "outside" : "shallow", park: near[0] };
  const least = verdict.parks.reduce((low, park) => (park.p < low.p ? park : low));
  if (verdict.gridsP > least.p) return { kind: "boundary", park: least };
  return { kind: verdict.locators.length > 1 ? "grids" : "receiver" };
}
