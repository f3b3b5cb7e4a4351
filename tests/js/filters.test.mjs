// Which spots are hidden and why, and the orders of the list.

import assert from "node:assert/strict";
import { test } from "node:test";

import { putFindings } from "./vectors.mjs";

putFindings({
  unitsPerDegree: 1e6,
  level: 2,
  stationRadius: 5,
  mapEdge: 85,
  parks: [{ id: "Q-1", name: "Tërn Marsh" }, { id: "Q-2", name: "" }],
  named: [["Q-3", "alder Head"]],
  spots: [
    { rank: 1, look: "firm", kind: "corner", at: [0, 45e6], locators: ["IN05"], parks: [0, 2], worth: [4, 2, 8], clearances: [30, 12], confidence: 0.99, walk: { state: "walked", out: 40, startName: "Moör Gate" }, home: 9, missing: [1, 0, 2] },
    { rank: 2, look: "firm", kind: "overlap", at: [361e6, 45e6], locators: ["IN05"], parks: [2], worth: [1, 2, 2], clearances: [900], plenty: true, confidence: 0.97, walk: { state: "out of reach" }, home: 2 },
    { rank: 3, look: "doubtful", kind: "line", at: [0, 45e6], locators: ["HN95"], parks: [1], worth: [2, 1, 2], clearances: [4], confidence: 0.7, walk: { state: "walked", out: 12 }, home: 5 },
    { rank: 4, look: "near", kind: "near-miss", at: [0, 86e6], locators: ["HN95"], near: { park: 0, away: [70, 90] }, worth: [4, 0, 0], confidence: 0 },
    { rank: 5, look: "firm", kind: "line", at: [0, 45e6], locators: ["HN95"], parks: [2], worth: [2, 1, 2], clearances: [1500], plenty: true, confidence: 0.96 },
  ],
});
const { getSpot, spots } = await import("../../scout/page/spots.js");
const { ORDERS, findHidingReason } = await import("../../scout/page/filter_rules.js");

const ALL = { looks: new Set(["firm", "doubtful", "near"]), grids: 1, parks: 1, kind: "", walk: null, picked: null, missing: false, words: [] };

function reasons(wanted) {
  return spots.map((spot) => findHidingReason(spot, { ...ALL, ...wanted }));
}

test("each field hides what it says, and names itself", () => {
  assert.deepEqual(reasons({}), [null, null, null, null, null]);
  assert.deepEqual(reasons({ looks: new Set(["firm"]) }), [null, null, "verdict", "verdict", null]);
  assert.deepEqual(reasons({ kind: "line" }), ["kind", "kind", null, "kind", null]);
  // A near miss has no grids and parks to count yet.
  assert.deepEqual(reasons({ grids: 2 }), [null, "grids", null, null, null]);
  assert.deepEqual(reasons({ parks: 2 }), [null, null, "parks", null, "parks"]);
  assert.deepEqual(reasons({ walk: 30 }), ["walk", "walk", null, "walk", "walk"]);
  assert.deepEqual(reasons({ picked: (spot) => spot.rank === 2 }), ["shortlist", null, "shortlist", "shortlist", "shortlist"]);
  assert.deepEqual(reasons({ missing: true }), [null, ...Array(4).fill("what is done")]);
  assert.deepEqual(reasons({ words: ["tern", "in05"] }), [null, "text", "text", "text", "text"]);
  assert.deepEqual(reasons({ words: ["q-1"] }), [null, "text", "text", null, "text"]);
  assert.deepEqual(reasons({ looks: new Set(), kind: "line" }), Array(5).fill("verdict"));
});

test("words find where the car stays, and spots by locators finer than listed", () => {
  assert.deepEqual(reasons({ words: ["moor", "gate"] }), [null, ...Array(4).fill("text")]);
  // The first lies on the corner of four subsquares (JN05aa begins at 0 E 45 N): its station touches each of them.
  for (const cell of ["jn05aa", "in95xa", "jn04ax", "in94xx", "jn05aa00"]) {
    assert.deepEqual(reasons({ words: [cell] }), [null, "text", null, "text", null], cell);
  }
  assert.deepEqual(reasons({ words: ["jn05ba"] }), Array(5).fill("text"));
  assert.deepEqual(reasons({ words: ["jn15aa"] }), Array(5).fill("text"));
  // 361 E is 1 E, also west of the edge of a cell.
  assert.deepEqual(reasons({ words: ["jn05ma"] }), ["text", null, "text", "text", "text"]);
  assert.deepEqual(reasons({ words: ["jn05a"] }), Array(5).fill("text"));
});

test("a place that lies in no park is hidden only where parks are asked for", () => {
  const place = { ...getSpot(3), kind: "place", held: 0, grids: 0, near: undefined };
  assert.equal(findHidingReason(place, ALL), null);
  assert.equal(findHidingReason(place, { ...ALL, parks: 2 }), "parks");
  assert.equal(findHidingReason(place, { ...ALL, grids: 2 }), "grids");
});

test("in every order what is in reach comes first, near misses next, what is out of reach last", () => {
  const order = (name) => [...spots].sort((a, b) => ORDERS[name](a, b) || a.rank - b.rank).map((spot) => spot.rank);
  assert.deepEqual(order("rank"), [1, 2, 3, 4, 5]);
  assert.deepEqual(order("walk"), [3, 1, 5, 4, 2]);
  assert.deepEqual(order("home"), [3, 1, 5, 4, 2]);
  assert.deepEqual(order("clearance"), [5, 1, 3, 4, 2]);
  assert.deepEqual(order("confidence"), [1, 5, 3, 4, 2]);
  assert.deepEqual(order("name"), [2, 5, 3, 1, 4]);
  assert.deepEqual(Object.keys(ORDERS).sort(), ["clearance", "confidence", "home", "name", "rank", "walk"]);
});

test("spots are unpacked", () => {
  assert.equal(getSpot(1).clearance, 12);
  assert.equal(getSpot(2).lon, 1);
  assert.equal(getSpot(4).clearance, -70);
  assert.deepEqual(spots.map((spot) => spot.drawn), [true, true, true, false, true]);
  assert.equal(getSpot(6), undefined);
});
