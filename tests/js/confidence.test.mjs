// The error budget over the vectors; verdicts at the very limits.

import assert from "node:assert/strict";
import { test } from "node:test";

import {
  cornerP,
  error95From68,
  lineP,
  normal,
  sigmaOf,
  threeCellsP,
  wordFor,
} from "../../scout/page/confidence.js";
import { near, readVectors } from "./vectors.mjs";

const { touching, words, sigma } = readVectors("confidence");

test("probabilities of touching a line, four cells and three", () => {
  for (const { radius, sigma: s, dx, dy, line, four, three } of touching) {
    const row = JSON.stringify({ radius, s, dx, dy });
    assert.ok(near(lineP(dx, radius, s), line, 1e-9), row);
    assert.ok(near(cornerP(Math.hypot(dx, dy), radius, s), four, 1e-9), row);
    assert.ok(near(threeCellsP(dx, dy, radius, s), three, 1e-9), row);
  }
});

test("the word for a probability", () => {
  for (const { p, word } of words) assert.equal(wordFor(p), word);
});

test("radii of 95 % and of 68 %", () => {
  for (const { error, sigma: s } of sigma) assert.ok(near(sigmaOf(error), s, 1e-12));
  // A circular normal: 1 - exp(-r^2 / 2 sigma^2) of it lies within r.
  const spread = sigmaOf(error95From68(10));
  assert.ok(near(1 - Math.exp(-(10 ** 2) / (2 * spread ** 2)), 0.68, 1e-4));
});

test("the normal distribution", () => {
  // Abramowitz and Stegun, table 26.1.
  for (const [x, p] of [[0, 0.5], [1, 0.84134474606854], [2, 0.9772498680518], [3, 0.99865010196837]]) {
    assert.ok(near(normal(x), p, 1e-13));
    assert.ok(near(normal(-x), 1 - p, 1e-13));
  }
});
