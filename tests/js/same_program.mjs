// Reads modules and what the bundler made of each, as JSON; tells in which the program is not the same: by their
// syntax trees, with imports dropped and exported declarations taken for plain ones.

import { readFileSync } from "node:fs";
import { isDeepStrictEqual } from "node:util";

import { parse } from "espree";

const OPTIONS = { ecmaVersion: 2022, sourceType: "module" };
const POSITIONS = new Set(["start", "end", "range", "loc"]);

function treeOf(text) {
  const { body } = JSON.parse(JSON.stringify(parse(text, OPTIONS), (key, value) => (POSITIONS.has(key) ? undefined : value)));
  return body
    .filter((node) => node.type !== "ImportDeclaration")
    .map((node) => (node.type === "ExportNamedDeclaration" ? node.declaration : node));
}

const modules = JSON.parse(readFileSync(0, "utf8"));
const other = modules.filter(({ text, script }) => !isDeepStrictEqual(treeOf(text), treeOf(script)));
process.stdout.write(JSON.stringify(other.map(({ name }) => name)));
