// Numbers and places in words, over the vectors that Python's wording is held to as well.

import assert from "node:assert/strict";
import { test } from "node:test";

import {
  formatBearing,
  formatClearance,
  formatCount,
  formatDecimal,
  formatDistance,
  formatDuration,
  formatGeoLink,
  formatLength,
  formatMinutes,
  formatPercent,
} from "../../scout/page/wording.js";
import { readVectors } from "./vectors.mjs";

const words = readVectors("words");
const WORDED = {
  shares: ({ share }) => formatPercent(share),
  lengths: ({ metres }) => formatLength(metres),
  clearances: ({ metres }) => formatClearance(metres),
  bearings: ({ degrees }) => formatBearing(degrees),
  counts: ({ count }) => formatCount(count, "park"),
  durations: ({ minutes }) => formatDuration(minutes),
  distances: ({ kilometres }) => formatDistance(kilometres),
};

for (const [group, word] of Object.entries(WORDED)) {
  test(group, () => {
    assert.ok(words[group].length >= 3);
    for (const row of words[group]) assert.equal(word(row), row.text);
  });
}

test("places", () => {
  for (const { lon, lat, decimal, minutes, link } of words.places) {
    assert.deepEqual([formatDecimal(lon, lat), formatMinutes(lon, lat), formatGeoLink(lon, lat)], [decimal, minutes, link]);
  }
});

test("no group of the vectors is left out", () => {
  assert.deepEqual(Object.keys(words).sort(), ["about", "places", ...Object.keys(WORDED)].sort());
});
