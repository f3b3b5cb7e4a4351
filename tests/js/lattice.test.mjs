// Locators of cells, and cells of locators, over the vectors of the codec.

import assert from "node:assert/strict";
import { test } from "node:test";

import {
  columnAt,
  locatorOf,
  meridian,
  parallel,
  readCell,
  rowAt,
} from "../../scout/page/locator.js";
import { readVectors } from "./vectors.mjs";

const { points, lattice } = readVectors("locators");
const WHOLE = { 1: 18, 2: 180, 3: 4320, 4: 43200, 5: 1036800 }; // cells round the globe, by level

test("a point lies in the cell that public sources name", () => {
  for (const { lon, lat, locator } of points) assert.equal(locatorOf(columnAt(lon, 4), rowAt(lat, 4), 4), locator);
});

test("numbers of a cell give its locator, and the locator gives the cell", () => {
  for (const { column, row, level, locator } of lattice) {
    assert.equal(locatorOf(column, row, level), locator);
    const cell = readCell(locator);
    assert.deepEqual([cell.locator, cell.level], [locator, level]);
    // A whole number of cells from the edge of the globe, as exactly as degrees can say it.
    const whole = WHOLE[level];
    assert.equal(columnAt(cell.west, level), ((column % whole) + whole) % whole);
    assert.equal(rowAt(cell.south, level), row);
    assert.deepEqual([cell.width * whole, cell.height * whole].map(Math.round), [360, 180]);
  }
});

test("lattice lines are whole parts of the globe", () => {
  for (const { column, row, level } of lattice) {
    const whole = WHOLE[level];
    assert.equal(meridian(column, level), ((column - whole / 2) * 360) / whole);
    assert.equal(parallel(row, level), ((row - whole / 2) * 180) / whole);
  }
});

test("a place on a line lies in the cell north and east of it", () => {
  for (let level = 1; level <= 5; level += 1) {
    assert.equal(columnAt(meridian(7, level), level), 7);
    assert.equal(rowAt(parallel(7, level), level), 7);
    assert.equal(rowAt(90, level), rowAt(89.9999999, level));
  }
});
