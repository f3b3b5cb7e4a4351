// The horizon of a spot: angles unpacked, and runs of directions on the circle.

import assert from "node:assert/strict";
import { test } from "node:test";

import { findRuns, unpackAngles } from "../../scout/page/horizon_details.js";

test("angles are tenths of a degree over -10, two digits each", () => {
  assert.deepEqual(unpackAngles("002s3yuk"), [-10, 0, 4.2, 100]);
});

test("runs join over north, and all round is one", () => {
  const among = (...degrees) => (k) => degrees.includes(k);
  assert.deepEqual(findRuns(12, among(11, 0, 1, 5)), [[5, 5], [11, 1]]);
  assert.deepEqual(findRuns(12, among(3, 4)), [[3, 4]]);
  assert.deepEqual(findRuns(12, () => true), [[0, 11]]);
  assert.deepEqual(findRuns(12, () => false), []);
});
