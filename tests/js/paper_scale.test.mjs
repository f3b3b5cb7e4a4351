// The scale of a map on paper.

import assert from "node:assert/strict";
import { test } from "node:test";

import { computeZoomOfScale, findPaperScale } from "../../scout/page/paper_scale.js";

test("the scale is round, and the first that holds all of it", () => {
  // 96 pixels are an inch, 25.4 mm (CSS): a metre to a pixel is 1 to 3779.5.
  for (const [metres, scale] of [[0.1, 5000], [1, 5000], [2, 10000], [3, 15000], [9, 40000], [21, 100000], [600, 2500000]]) {
    assert.equal(findPaperScale(metres), scale);
  }
});

test("a scale that fits exactly is taken", () => {
  assert.equal(findPaperScale((25000 * 0.0254) / 96), 25000);
});

test("the zoom has the scale on a map of pixels of 256 at the equator", () => {
  // Zoom 0 has the equator, 40,075,017 m, on 256 pixels, 67.73 mm.
  const whole = 40075016.7 / 0.0677333;
  assert.ok(Math.abs(computeZoomOfScale(whole, 0)) < 1e-4);
  assert.ok(Math.abs(computeZoomOfScale(whole / 1024, 60) - 9) < 1e-4);
});
