// Numbers and texts that Python and the scripts must both meet, and a page of findings for modules that read one.

import { readFileSync } from "node:fs";

export function readVectors(name) {
  return JSON.parse(readFileSync(new URL(`../vectors/${name}.json`, import.meta.url), "utf8"));
}

// Stands in for the one part of a document that the modules without a screen read: the block of data.
export function putFindings(findings) {
  const block = { textContent: JSON.stringify(findings) };
  globalThis.document = { getElementById: (id) => (id === "findings" ? block : null) };
}

export function near(got, wanted, most) {
  return Math.abs(got - wanted) <= most;
}

// A ring as the page holds one: steps as whole numbers, five bits a letter, low ones first, the sixth says that
// more follow; the lowest bit of each step east says that the edge which begins there is not the outline's own.
export function packRing(ring, unitsPerDegree, loose = 0) {
  const letters = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_";
  let text = "";
  const put = (number) => {
    let rest = number;
    for (; rest >= 32; rest = Math.floor(rest / 32)) text += letters[(rest % 32) + 32];
    text += letters[rest];
  };
  const fold = (step) => (step < 0 ? -2 * step - 1 : 2 * step);
  let [x, y] = [0, 0];
  for (const [lon, lat] of ring) {
    const [i, j] = [Math.round(lon * unitsPerDegree), Math.round(lat * unitsPerDegree)];
    put(2 * fold(i - x) + loose);
    put(fold(j - y));
    [x, y] = [i, j];
  }
  return text;
}
