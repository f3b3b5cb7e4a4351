// A recording becomes the position, the circle and the counts that Python finds in it.

import assert from "node:assert/strict";
import { test } from "node:test";

import { near, readVectors } from "./vectors.mjs";
import { settleFixes } from "../../scout/page/standstill.js";

const { recordings } = readVectors("standstill");

for (const { kind, fixes: rows, refused, ...wanted } of recordings) {
  test(`${kind}: as Python has it`, () => {
    const found = settleFixes(rows.map(([time, lon, lat, error]) => ({ time, lon, lat, error: error ?? NaN })));
    assert.equal(Boolean(found.refusal), Boolean(refused), found.refusal);
    if (refused) return;
    assert.ok(near(found.lon, wanted.lon, 1e-9) && near(found.lat, wanted.lat, 1e-9), `${found.lon}, ${found.lat}`);
    for (const name of ["error", "floor", "random", "independent", "durationS"]) {
      assert.ok(near(found[name], wanted[name], 1e-4 * Math.max(1, wanted[name])), `${name}: ${found[name]}, ${wanted[name]}`);
    }
    assert.ok(wanted.scatter === null ? Number.isNaN(found.scatter) : near(found.scatter, wanted.scatter, 1e-4));
    assert.deepEqual([found.used, found.dropped, found.moved], [wanted.used, wanted.dropped, wanted.moved]);
    assert.equal(found.count, rows.length);
  });
}

test("the order of fixes is that of their times", () => {
  const [{ fixes: rows }] = recordings;
  const fixes = rows.map(([time, lon, lat, error]) => ({ time, lon, lat, error: error ?? NaN }));
  assert.deepEqual(settleFixes([...fixes].reverse()), settleFixes(fixes));
});
