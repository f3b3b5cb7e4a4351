// Which cells a station reaches into beside a corner of the lattice, at 20 W 45 N.

import assert from "node:assert/strict";
import { test } from "node:test";

import { degreeLengths } from "../../scout/page/geodesy.js";
import { latticeAt, linesAt, touchedAt } from "../../scout/page/touched_cells.js";
import { near } from "./vectors.mjs";

const STATION = { radius: 5, fixError: 4.9 };
const { perLon, perLat } = degreeLengths(45);

function touch(east, north) {
  const [lon, lat] = [-20 + east / perLon, 45 + north / perLat];
  return touchedAt(lon, lat, latticeAt(lon, lat, 2), 2, STATION);
}

test("the cells that a disc of 5 m reaches, north row first and west to east", () => {
  const [nw, ne, sw, se] = ["HN95", "IN05", "HN94", "IN04"];
  const cases = [
    [[0, 0], [nw, ne, sw, se]],
    [[3, 3.9], [nw, ne, sw, se]],
    [[3, 4.1], [nw, ne, se]], // 5.08 m from the corner
    [[-3, 4.1], [nw, ne, sw]],
    [[-3, -4.1], [nw, sw, se]],
    [[3, -4.1], [ne, sw, se]],
    [[4.9, 40], [nw, ne]],
    [[-4.9, -40], [sw, se]],
    [[5.1, 40], [ne]],
    [[40, 4.9], [ne, se]],
    [[-40, -4.9], [nw, sw]],
    [[40, -5.1], [se]],
  ];
  for (const [at, locators] of cases) assert.deepEqual(touch(...at).locators, locators, `${at}`);
});

test("it is surest where it stands deepest", () => {
  for (const side of [[1, 0], [0, 1], [1, 1], [-1, 0]]) {
    const chances = [8, 20, 200].map((metres) => touch(40 * side[0] + metres * side[0], 60 + metres * side[1]).p);
    assert.ok(chances.every((p, k) => p >= (chances[k - 1] ?? 0) && p <= 1), `${side}`);
  }
  assert.ok(touch(0, 0).p > touch(2, 2).p);
  assert.ok(near(touch(300, 300).p, 1, 1e-12));
});

test("the nearest lines, a pole being none", () => {
  const lines = linesAt(-19.9, 45.2, latticeAt(-19.9, 45.2, 2), 2);
  assert.deepEqual(lines.map(({ kind }) => kind), ["meridian", "parallel", "corner"]);
  assert.deepEqual([lines[0].lon, lines[1].lat], [-20, 45]);
  // Poleward of the place's parallel, where the perpendicular meets the meridian.
  assert.ok(lines[0].lat > 45.2 && lines[0].lat < 45.2001);
  assert.ok(lines[0].distance <= lines[2].distance);
  const polar = linesAt(0.4, 89.9, latticeAt(0.4, 89.9, 2), 2);
  assert.equal(polar[1].lat, 89);
});
