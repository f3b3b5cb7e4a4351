// What a station touches where it stands: the nearest lines of the lattice, the cells its disc reaches into
// and how surely.

import { RADIAN, degreeLengths, inverse, roundHalfEven, wrapLongitude } from "./geodesy.js";
import {
  cellsOf,
  columnAt,
  columnNumber,
  locatorOf,
  meridian,
  parallel,
  rowAt,
  rowNumber,
  wrapColumn,
} from "./locator.js";
import { LEAST_SIGMA_M, clamp, cornerP, lineP, normal, sigmaOf, threeCellsP } from "./confidence.js";

const [NW, NE, SW, SE] = [[-1, 0], [0, 0], [-1, -1], [0, -1]];
// Cells of a claim as steps from its numbers, read as on a map: north row first, west to east.
const CLAIMS = {
  one: [NE],
  meridian: [NW, NE],
  parallel: [NE, SE],
  four: [NW, NE, SW, SE],
  // Three cells, named by the middle one.
  "north-east": [NW, NE, SE],
  "north-west": [NW, NE, SW],
  "south-west": [NW, SW, SE],
  "south-east": [NE, SW, SE],
};

// The nearest meridian and parallel, and the offset from them in metres; a pole is no line.
export function latticeAt(lon, lat, level) {
  const cells = cellsOf(level);
  const x = columnNumber(lon, level);
  const y = rowNumber(lat, level);
  const column = roundHalfEven(x);
  const row = clamp(roundHalfEven(y), 1, cells - 1);
  const { perLon, perLat } = degreeLengths(lat);
  return {
    column: wrapColumn(column, level),
    row,
    dx: (((x - column) * 360) / cells) * perLon,
    dy: (((y - row) * 180) / cells) * perLat,
  };
}

function claimAt({ dx, dy }, radius) {
  const [overX, overY] = [Math.abs(dx) < radius, Math.abs(dy) < radius];
  if (overX && overY) {
    if (Math.hypot(dx, dy) < radius) return "four";
    return `${dy >= 0 ? "north" : "south"}-${dx >= 0 ? "east" : "west"}`;
  }
  if (overX) return "meridian";
  return overY ? "parallel" : "one";
}

function claimP(claim, { dx, dy }, lon, lat, level, radius, sigma) {
  switch (claim) {
    case "one":
      return oneCellP(lon, lat, level, radius, sigma);
    case "meridian":
      return lineP(dx, radius, sigma);
    case "parallel":
      return lineP(dy, radius, sigma);
    case "four":
      return cornerP(Math.hypot(dx, dy), radius, sigma);
    default:
      return threeCellsP(Math.abs(dx), Math.abs(dy), radius, sigma);
  }
}

// The disc reaches into the cell its stated centre lies in.
function oneCellP(lon, lat, level, radius, sigma) {
  const { x, y } = leadToLines(lon, lat, level);
  const s = Math.max(sigma, LEAST_SIGMA_M);
  return normal((radius + Math.abs(x)) / s) * normal((radius + Math.abs(y)) / s);
}

// Metres east and north to the nearest lines of the cell a place lies in.
function leadToLines(lon, lat, level) {
  const cells = cellsOf(level);
  const { perLon, perLat } = degreeLengths(lat);
  const lead = (number, metres) => {
    const [back, ahead] = [number - Math.floor(number), Math.ceil(number) - number];
    return (back < ahead ? -back : ahead) * (metres / cells);
  };
  return { x: lead(columnNumber(lon, level), perLon * 360), y: lead(rowNumber(lat, level), perLat * 180) };
}

// Locators the station touches, and the probability that it does; what is claimed, and the way in metres from
// the line or corner, or to the lines of the one cell.
export function touchedAt(lon, lat, lattice, level, { radius, fixError }) {
  const claim = claimAt(lattice, radius);
  const atX = claim !== "one" && claim !== "parallel";
  const atY = claim !== "one" && claim !== "meridian";
  const column = atX ? lattice.column : wrapColumn(columnAt(lon, level), level);
  const row = atY ? lattice.row : rowAt(lat, level);
  return {
    locators: CLAIMS[claim].map(([east, north]) => locatorOf(column + east, row + north, level)),
    p: claimP(claim, lattice, lon, lat, level, radius, sigmaOf(fixError)),
    claim,
    ...(claim === "one" ? leadToLines(lon, lat, level) : leadFromLines(lon, lat, atX, atY, lattice, level)),
  };
}

function leadFromLines(lon, lat, atX, atY, lattice, level) {
  const line = atX ? meridian(lattice.column, level) : lon;
  const across = atY ? parallel(lattice.row, level) : lat;
  const { perLon, perLat } = degreeLengths(across);
  return { x: wrapLongitude(lon - line) * perLon, y: (lat - across) * perLat };
}

// Nearest point of the nearest meridian, parallel and corner, with its distance and bearing.
export function linesAt(lon, lat, lattice, level) {
  const line = meridian(lattice.column, level);
  const across = parallel(lattice.row, level);
  // The foot of the perpendicular on a meridian lies poleward of the place's parallel.
  const away = (lon - line) * RADIAN;
  const foot = Math.atan2(Math.tan(lat * RADIAN), Math.cos(away)) / RADIAN;
  return [
    ["meridian", line, foot],
    ["parallel", lon, across],
    ["corner", line, across],
  ].map(([kind, x, y]) => ({ kind, lon: x, lat: y, ...inverse(lon, lat, x, y) }));
}
