// Lengths of a degree, the series about a place and geodesics, over the vectors that PROJ stands behind.

import assert from "node:assert/strict";
import { test } from "node:test";

import {
  degreeLengths,
  inverse,
  roundHalfEven,
  seriesAt,
  seriesForward,
  wrapLongitude,
} from "../../scout/page/geodesy.js";
import { near, readVectors } from "./vectors.mjs";

const { lengths, series, lines } = readVectors("geodesy");

test("lengths of a degree", () => {
  for (const { lat, per } of lengths) {
    const { perLon, perLat } = degreeLengths(lat);
    assert.ok(near(perLon, per[0], 1e-9) && near(perLat, per[1], 1e-9), `at ${lat}`);
  }
});

test("the series about a place", () => {
  for (const { lat, dlon, dlat, at } of series) {
    const [x, y] = seriesForward(seriesAt(lat), dlon, dlat);
    assert.ok(near(x, at[0], 1e-9) && near(y, at[1], 1e-9), `at ${lat}`);
  }
});

test("geodesics from centimetres to the width of a field", () => {
  for (const { from, to, distance, bearing } of lines) {
    const got = inverse(...from, ...to);
    assert.ok(near(got.distance, distance, 1e-5), `${from} to ${to}`);
    // Bearings of lines a few millimetres long rest on the last bits of their ends.
    const turned = Math.abs(wrapLongitude(got.bearing - bearing)) * (Math.PI / 180);
    assert.ok(turned * distance < 1e-5, `${from} to ${to}`);
  }
});

test("halves go to the even number, longitudes to -180 up to 180", () => {
  assert.deepEqual([0.5, 1.5, 2.5, -0.5, -1.5, 2.4999, 2.5001].map(roundHalfEven), [0, 2, 2, 0, -2, 2, 3]);
  assert.deepEqual([180, -180, 540, 190, -190, 0].map(wrapLongitude), [-180, -180, -180, -170, 170, 0]);
});
