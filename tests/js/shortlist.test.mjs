// Shortlists join without a conflict, and a file that is none is refused in words.

import assert from "node:assert/strict";
import { test } from "node:test";

import {
  LONGEST_NOTE,
  ShortlistError,
  cleanText,
  findPickers,
  joinShortlists,
  makePlaceKey,
  makeShortlist,
  makeTimeAfter,
  packShortlist,
  readShortlist,
  renamePerson,
  setEntry,
} from "../../scout/page/shortlist.js";

const PLACES = ["45.000000, -20.000000", "-1.500000, 3.000000"];
const PEOPLE = ["Ann", "Bo", "__proto__"];
const TIMES = ["2026-03-01T08:00:00.000Z", "2026-03-02T08:00:00.000Z"];

// The same draws every time: a linear congruence (Numerical Recipes, section 7.1).
function makeDraw(seed) {
  let state = seed;
  return (list) => {
    state = (1664525 * state + 1013904223) % 2 ** 32;
    return list[Math.floor((state / 2 ** 32) * list.length)];
  };
}

function drawList(draw) {
  const list = makeShortlist();
  for (let k = draw([0, 1, 2, 3, 5, 8]); k > 0; k -= 1) {
    setEntry(list, draw(PLACES), draw(PEOPLE), { picked: draw([true, false]), note: draw(["", "a", "b"]), at: draw(TIMES) });
  }
  return list;
}

function rowsOf(list) {
  return [...list]
    .flatMap(([key, entries]) => [...entries].map(([who, { picked, note, at }]) => [key, who, picked, note, at].join("|")))
    .sort();
}

test("the order in which lists are joined is all one, and so is a file between", () => {
  const draw = makeDraw(5);
  for (let round = 0; round < 300; round += 1) {
    const [a, b, c] = [drawList(draw), drawList(draw), drawList(draw)];
    const all = rowsOf(joinShortlists(a, b, c));
    assert.deepEqual(rowsOf(joinShortlists(joinShortlists(c, a), b)), all);
    assert.deepEqual(rowsOf(joinShortlists(b, joinShortlists(c, a, a))), all);
    assert.deepEqual(rowsOf(readShortlist(JSON.stringify(packShortlist(joinShortlists(a, b, c), "t")))), all);
  }
});

test("of one person's two entries on a spot the later one holds", () => {
  const list = makeShortlist();
  setEntry(list, PLACES[0], "Ann", { picked: false, note: "late", at: TIMES[1] });
  setEntry(list, PLACES[0], "Ann", { picked: true, note: "early", at: TIMES[0] });
  assert.deepEqual(findPickers(list, PLACES[0]), []);
  setEntry(list, PLACES[0], "Bo", { picked: true, note: "", at: TIMES[0] });
  assert.deepEqual(findPickers(list, PLACES[0]).map(([who]) => who), ["Bo"]);
  assert.deepEqual(rowsOf(renamePerson(list, "Bo", "Cy")).map((row) => row.split("|")[1]), ["Ann", "Cy"]);
});

test("a time comes after every other of its entry, even where a clock was wrong", () => {
  const now = new Date(TIMES[0]);
  assert.equal(makeTimeAfter(undefined, now), TIMES[0]);
  assert.equal(makeTimeAfter({ at: TIMES[1] }, now), "2026-03-02T08:00:00.001Z");
});

test("names and notes lose controls and what is too long", () => {
  assert.equal(cleanText(" a\u0000\n\u2028b ", 10), "a b");
  assert.equal(cleanText("\u{1F4FB}".repeat(9), 3), "\u{1F4FB}".repeat(3));
});

test("what is no shortlist is refused in words", () => {
  const pick = { lat: 45, lon: -20, who: "Ann", note: "", picked: true, at: TIMES[0] };
  const file = { format: "scout-shortlist", version: 1, map: "t", picks: [pick] };
  const text = (changed) => JSON.stringify({ ...file, ...changed });
  const bad = (changed) => text({ picks: [pick, { ...pick, ...changed }] });
  const refused = [
    ["{", "it is not JSON"],
    ["null", "it is not a shortlist of such a map"],
    [text({ format: "other" }), "it is not a shortlist of such a map"],
    [text({ version: 2 }), "it was saved by a newer version"],
    [text({ picks: {} }), "it holds no picks"],
    [text({ picks: Array(20001).fill(pick) }), "it holds over 20000 picks"],
    [text({ picks: [null] }), "pick 1: it is no pick"],
    [bad({ lat: 91 }), "pick 2: it names no place"],
    [bad({ lon: "20" }), "pick 2: it names no place"],
    [bad({ who: " \n" }), "pick 2: it does not say who picked"],
    [bad({ note: 5 }), "pick 2: its note or its tick is not one"],
    [bad({ picked: 1 }), "pick 2: its note or its tick is not one"],
    [bad({ at: "soon" }), "pick 2: its time is not one"],
    [bad({ at: "2201-01-01T00:00:00Z" }), "pick 2: its time is not one"],
  ];
  for (const [given, message] of refused) {
    assert.throws(() => readShortlist(given), (error) => error instanceof ShortlistError && error.message === message, message);
  }
  const [entries] = readShortlist(bad({ note: "x".repeat(600), who: "Bo" })).values();
  assert.equal(entries.get("Bo").note.length, LONGEST_NOTE);
  assert.equal(makePlaceKey(45, -20), PLACES[0]);
});
