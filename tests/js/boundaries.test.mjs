// Clearance and probability beside outlines of all shapes; shares of cells.

import assert from "node:assert/strict";
import { test } from "node:test";

import { computeCellShare } from "../../scout/page/cell_share.js";
import { findNearestEdge, isWithin, makeBoundary } from "../../scout/page/clearance.js";
import { containedP } from "../../scout/page/containment.js";
import { joinParts } from "../../scout/page/joint.js";
import { unpackRing } from "../../scout/page/outlines.js";
import { near, packRing, readVectors } from "./vectors.mjs";

const UNITS = 1e8; // an outline's, to a degree
const { boundaries, together } = readVectors("boundaries");

test("outlines unpack to the very numbers that were packed", () => {
  for (const { shape, rings, outline } of boundaries) {
    outline.forEach((part, k) => part.forEach((text, n) => {
      const { lon, lat, loose } = unpackRing(text, 1);
      assert.deepEqual([...lon].map((x, i) => [x, lat[i]]), rings[k][n], shape);
      assert.ok(loose.every((sign) => sign === 0), shape);
    }));
  }
});

test("clearance and the probability of standing inside", () => {
  for (const { shape, outline, radius, sigma, seen } of boundaries) {
    const boundary = makeBoundary(outline, UNITS);
    for (const { place, clearance, p } of seen) {
      const { distance } = findNearestEdge(boundary, ...place);
      const got = isWithin(boundary, ...place) ? distance : -distance;
      assert.ok(near(got, clearance, 1e-9), `${shape} at ${place}`);
      assert.ok(near(containedP(boundary, ...place, got, radius, sigma), p, 1e-9), `${shape} at ${place}`);
    }
  }
});

test("the confidence in cells and parks at once", () => {
  let changed = 0;
  for (const { outlines, place, radius, sigmaFix, cells, parks, confidence } of together) {
    const known = parks.map((park, k) => ({ ...park, boundary: makeBoundary(outlines[k], UNITS) }));
    assert.ok(near(joinParts(cells, known, ...place, radius, sigmaFix), confidence, 1e-6), `${place}`);
    changed += Math.abs(parks.reduce((p, park) => p * park.p, cells.p) - confidence) > 0.01;
  }
  assert.ok(changed > 20);
});

const box = (west, south, east, north) => [[west, south], [east, south], [east, north], [west, north]];
const cell = { west: 10, south: 50, width: 2, height: 1 };

test("the share of a cell, by hand", () => {
  const shares = [
    [[box(9, 49, 13, 52)], 1],
    [[box(13, 49, 14, 52)], 0],
    [[box(9, 49, 11, 52)], 0.5],
    [[box(10.5, 50.25, 11.5, 50.75)], 0.25],
    [[box(9, 49, 13, 52), box(10.5, 50.25, 11.5, 50.75)], 0.75],
    [[[[10, 50], [12, 50], [10, 51]]], 0.5],
    // The same ground, told from the other turn of the globe.
    [[box(369, 49, 371, 52)], 0.5],
  ];
  for (const [rings, share] of shares) {
    const got = computeCellShare(makeBoundary([rings.map((ring) => packRing(ring, UNITS))], UNITS), cell, 0);
    assert.ok(near(got.share, share, 1e-9), JSON.stringify(rings));
    assert.equal(got.open, 0);
  }
});
