// What of the base geography a zoom shows.

import assert from "node:assert/strict";
import { test } from "node:test";

import {
  computeBaseStrength,
  computeMetresPerPixel,
  findLastRank,
  listTurns,
  projectToSquare,
} from "../../scout/page/thinning.js";

test("a pixel is as long as on a map of pixels of 256 at the equator", () => {
  // Zoom 0 has the equator on 256 pixels; 156543.03 m is the figure commonly published.
  assert.ok(Math.abs(computeMetresPerPixel(0, 0) - 156543.03) < 0.1);
  assert.ok(Math.abs(computeMetresPerPixel(3, 60) - 156543.03 / 16) < 0.1);
});

test("the base is whole from afar, fades, and is gone close up", () => {
  assert.equal(computeBaseStrength(300), 1);
  assert.equal(computeBaseStrength(5000), 1);
  assert.equal(computeBaseStrength(100), 0);
  assert.equal(computeBaseStrength(2), 0);
  assert.ok(computeBaseStrength(200) > computeBaseStrength(150));
});

test("closer views show more, never less", () => {
  for (const layer of ["towns", "rivers", "states", "lakes", "countries"]) {
    for (let zoom = 2; zoom < 21; zoom += 1) {
      assert.ok(findLastRank(layer, zoom) >= findLastRank(layer, zoom - 1), `${layer} at ${zoom}`);
    }
  }
  assert.equal(findLastRank("towns", 2), 0);
  assert.equal(findLastRank("states", 3), -1);
});

test("the square of the map has its middle at 0, 0 and its corners at the edge", () => {
  const edge = 85.051128;
  assert.deepEqual(projectToSquare(0, 0, edge), [0.5, 0.5]);
  const [west, north] = projectToSquare(-180, 90, edge);
  const [east, south] = projectToSquare(180, -90, edge);
  assert.ok(west === 0 && east === 1);
  assert.ok(Math.abs(north) < 1e-7 && Math.abs(south - 1) < 1e-7);
});

test("what is in sight is drawn at every turn of the world it is seen at", () => {
  assert.deepEqual(listTurns(0.1, 0.2, 0, 1), [0]);
  assert.deepEqual(listTurns(0.1, 0.2, -0.5, 1.5), [0, 1]);
  assert.deepEqual(listTurns(0.9, 1, -0.05, 0.3), [-1]);
  assert.deepEqual(listTurns(0.1, 0.2, 0.5, 0.9), []);
});
