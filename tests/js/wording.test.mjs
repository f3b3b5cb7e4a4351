// Numbers and places in words, over the vectors that Python's wording is held to as well.

import assert from "node:assert/strict";
import { test } from "node:test";

import {
  LENGTH_FORMS,
  formatBearing,
  formatClearance,
  formatCount,
  formatDecimal,
  formatDuration,
  formatFineLength,
  formatGeoLink,
  formatHeight,
  formatLength,
  formatMinutes,
  formatOffPaths,
  formatPercent,
  formatSentence,
  formatSlope,
  formatStatedLength,
  formatVerdict,
  setLengthUnits,
} from "../../scout/page/wording.js";
import { readVectors } from "./vectors.mjs";

const words = readVectors("words");
const QUANTITIES = {
  ...LENGTH_FORMS,
  height: formatHeight,
  clearance: formatClearance,
  bearing: formatBearing,
  slope: formatSlope,
  minutes: formatDuration,
  share: formatPercent,
};
const WORDED = {
  shares: ({ share }) => formatPercent(share),
  settings: ({ metres }) => formatStatedLength(metres),
  heights: ({ metres }) => formatHeight(metres),
  clearances: ({ metres }) => formatClearance(metres),
  sentences: ({ parts }) => formatSentence(parts),
  bearings: ({ degrees }) => formatBearing(degrees),
  slopes: ({ degrees }) => formatSlope(degrees),
  offPaths: ({ off, length }) => formatOffPaths(off, length),
  minutes: ({ minutes }) => formatDuration(minutes),
  unknown: ({ what, value }) => QUANTITIES[what](Number(value)),
  verdicts: ({ word, ifTrue }) => formatVerdict(word, ifTrue),
  counts: ({ count }) => formatCount(count, "park"),
};
const IN_BOTH_UNITS = ["lengths", "settings", "heights", "clearances", "sentences"];

for (const [group, word] of Object.entries(WORDED)) {
  test(group, () => {
    assert.ok(words[group].length >= 3);
    for (const row of words[group]) {
      setLengthUnits(row.units);
      assert.equal(word(row), row.text);
    }
  });
}

test("lengths", () => {
  for (const { units, metres, plain, fine } of words.lengths) {
    setLengthUnits(units);
    assert.deepEqual([formatLength(metres), formatFineLength(metres)], [plain, fine]);
  }
});

test("places", () => {
  for (const { lon, lat, decimal, minutes, link } of words.places) {
    assert.deepEqual([formatDecimal(lon, lat), formatMinutes(lon, lat), formatGeoLink(lon, lat)], [decimal, minutes, link]);
  }
});

test("a text without lengths is itself, and units that nobody knows are metres", () => {
  setLengthUnits("furlongs");
  assert.equal(formatSentence("no road within 3 km"), "no road within 3 km");
  assert.equal(formatLength(412.3), "412 m");
});

test("no group of the vectors is left out, and what has units has both", () => {
  assert.deepEqual(Object.keys(words).sort(), ["about", "lengths", "places", ...Object.keys(WORDED)].sort());
  for (const [group, rows] of Object.entries(words)) {
    if (group === "about") continue;
    const units = IN_BOTH_UNITS.includes(group) ? ["imperial", "metric"] : [undefined];
    assert.deepEqual([...new Set(rows.map((row) => row.units))].sort(), units, group);
  }
});
