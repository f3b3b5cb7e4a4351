// Texts of places, those that are read and those that are refused.

import assert from "node:assert/strict";
import { test } from "node:test";

import { readPlace } from "../../scout/page/read_place.js";
import { near, readVectors } from "./vectors.mjs";

const { read, refused } = readVectors("places");

test("what is read, and as which place", () => {
  for (const { text, lat, lon, cell } of read) {
    const got = readPlace(text);
    assert.equal(got.refusal, undefined, text);
    assert.ok(near(got.lat, lat, 1e-12) && near(got.lon, lon, 1e-12), text);
    assert.equal(got.cell?.locator, cell, text);
  }
});

test("what is refused, in one line with the remedy", () => {
  for (const { text, words } of refused) {
    const { refusal } = readPlace(text);
    assert.ok(refusal?.includes(words), `${text}: ${refusal}`);
    assert.ok(!refusal.includes("\n"), text);
  }
});
