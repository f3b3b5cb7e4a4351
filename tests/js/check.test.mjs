// One place judged: grids touched, parks near, the verdict and what holds it down.

import assert from "node:assert/strict";
import { test } from "node:test";

import { near, packRing, putFindings, readVectors } from "./vectors.mjs";

const { boundaries } = readVectors("boundaries");
// A box 6 km wide and 5 km high; its south side lies on the parallel of 41 S, a line of the lattice.
const { outline } = boundaries.find(({ shape }) => shape === "long edge");
putFindings({
  level: 2,
  stationRadius: 5,
  fixError: 4.9,
  tolerance: 2,
  outlineUnitsPerDegree: 1e8,
  parks: [
    { id: "Q-1", name: "Quiet Cove", error: 0, coarse: ["Its outline looks generalised."], outline },
    { id: "Q-2", name: "Tern Marsh", error: 0, outline: [[packRing([[10.3, 50.2], [10.4, 50.2], [10.4, 50.3], [10.3, 50.3]], 1e8, 1)]] },
  ],
});
const { UNSURE, judge } = await import("../../scout/page/check.js");
const { normal, sigmaOf } = await import("../../scout/page/confidence.js");
const { readPlace } = await import("../../scout/page/read_place.js");
const METRE = 1 / 111054; // of latitude, at 41 S

const judgeNorth = (metres, more = {}) => judge({ lon: -89.2, lat: -41 + metres * METRE, ...more });

test("deep inside a park and a cell a claim is firm", () => {
  const { verdict, parks, driver } = judgeNorth(2000);
  assert.deepEqual([verdict.word, verdict.locators, verdict.parks.map((park) => park.id)], ["firm", ["EE59"], ["Q-1"]]);
  assert.ok(near(parks[0].clearance, 2000, 1));
  assert.equal(Math.round(parks[0].edgeDeg), 180);
  assert.equal(driver.kind, "receiver");
});

test("a claim in a park whose outline looks generalised holds if that is true, and the word stays", () => {
  const { verdict, parks } = judgeNorth(2000);
  assert.deepEqual([verdict.word, verdict.ifTrue, parks[0].coarse.length], ["firm", true, 1]);
  assert.equal(judgeNorth(-2000).verdict.ifTrue, false);
});

test("on a boundary that is a lattice line both are held to the error budget", () => {
  const { verdict, parks, driver } = judgeNorth(4.5);
  assert.deepEqual(verdict.locators, ["EE59", "EE58"]);
  // A straight boundary: the normal beyond the radius. The sag of a chord of 1,000 m moves it by 0.02 m.
  const sigma = sigmaOf(4.9);
  assert.ok(near(parks[0].p, normal((4.5 - 5) / sigma), 0.005));
  assert.ok(near(verdict.gridsP, normal((5 - 4.5) / sigma) - normal((-5 - 4.5) / sigma), 1e-3));
  // One receiver error: what brings the station inside takes it off the line.
  assert.ok(verdict.gridsP * parks[0].p > 0.2 && verdict.confidence < 0.01);
  assert.deepEqual([verdict.word, verdict.parks, driver.kind], ["not counted", [], "shallow"]);
});

test("what holds a verdict down is named", () => {
  assert.equal(judgeNorth(-44).driver.kind, "outside");
  assert.equal(judgeNorth(-2000).driver.kind, "none near");
  // Within reach of the line, and surer inside than in both cells.
  assert.equal(judgeNorth(4.9, { fixError: 0.5 }).driver.kind, "shallow");
  assert.equal(judgeNorth(6.2).driver.kind, "boundary");
});

test("no claim is surer with a worse receiver", () => {
  let before = 1;
  for (const fixError of [0.5, 2, 4.9, 10, 20]) {
    const { confidence } = judgeNorth(12, { fixError }).verdict;
    assert.ok(confidence <= before + 1e-12);
    before = confidence;
  }
  assert.ok(before < 0.9);
});

test("a locator is a whole cell, and one larger than the level's names no grid", () => {
  const { verdict, parks } = judge(readPlace("EE59jb"));
  assert.deepEqual(verdict.locators, ["EE59"]);
  assert.ok(parks.every((park) => park.share >= 0 && park.share <= 1));
  assert.deepEqual(judge(readPlace("EE")).verdict.locators, []);
});

test("a loose edge within reach leaves it open", () => {
  const inside = (metres) => judge({ lon: 10.35, lat: 50.2 + metres / 111230 });
  assert.equal(inside(4).verdict.word, UNSURE);
  assert.equal(inside(4).driver.kind, "outline");
  assert.equal(inside(500).verdict.word, "firm");
});
