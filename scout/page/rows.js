// The rows of the list, each made when it is first asked for.

import { byId, makeBdi, makeElement, makePicture, makeSvg, makeWarningSign } from "./elements.js";
import {
  formatBearing,
  formatClearance,
  formatCount,
  formatDuration,
  formatFineLength,
  formatLength,
  formatOffPaths,
  formatPercent,
  formatSentence,
  formatSlope,
} from "./wording.js";
import { onUnitsChange } from "./units.js";
import { KIND_WORDS, isOutOfReach, isWalked, spots, wordVerdict } from "./spots.js";
import { makeTick } from "./shortlist_panel.js";
import { inOrder } from "./filters.js";
import { awaitFrame } from "./pauses.js";

export function getRow(spot) {
  spot.row ??= makeRow(spot);
  return spot.row;
}

const FIRST_ROWS = 16; // more than any window shows; the others follow in slices that hold nothing up
const MORE_ROWS = 50;
let turn = 0;

// Lay out the rows of the shown spots in their order.
export async function layRows(first = FIRST_ROWS) {
  const own = ++turn;
  const list = byId("spots");
  const rows = inOrder.filter((spot) => spot.shown);
  list.replaceChildren(...rows.slice(0, first).map(getRow));
  for (let from = first; from < rows.length; from += MORE_ROWS) {
    await awaitFrame();
    if (own !== turn) return; // laid out anew meanwhile
    list.append(...rows.slice(from, from + MORE_ROWS).map(getRow));
  }
}

onUnitsChange(() => {
  for (const spot of spots) {
    const { row } = spot;
    spot.row = null;
    if (row?.isConnected) row.replaceWith(getRow(spot));
  }
});

function makeRow(spot) {
  const row = makeElement("li", isOutOfReach(spot) ? "unreached" : "");
  row.id = `spot=${spot.rank}`;
  row.dataset.rank = spot.rank;
  const link = makeElement("a", "row");
  link.href = `#spot=${spot.rank}`;
  const name = makeElement("span", "row-name");
  name.append(makeElement("span", "unseen", `${spot.rank}, ${KIND_WORDS[spot.kind]}: `), spot.locators.join(" "));
  link.append(makeNumberedMark(spot), name, makeRowVerdict(spot), makeRowParks(spot), makeRowFacts(spot), ...makeRowWarnings(spot));
  row.append(link, makeTick(spot));
  const point = (on) => () => spot.mark?.getElement()?.classList.toggle("pointed", on);
  row.addEventListener("mouseenter", point(true));
  row.addEventListener("mouseleave", point(false));
  return row;
}

// The mark with its number; a bar across what cannot be reached on foot.
export function makeNumberedMark(spot) {
  const node = makePicture(isOutOfReach(spot) ? `${spot.look} unreached` : spot.look, spot.kind);
  const y = spot.kind === "near-miss" ? 25 : 21.2;
  if (isOutOfReach(spot)) node.append(...makeBar());
  node.append(makeSvg("text", { class: "number", x: 17, y }, spot.rank));
  return node;
}

export function makeBar() {
  return ["bar-case", "bar"].map((name) => makeSvg("path", { class: name, d: "M2.5 31.5 10.5 23.5M23.5 10.5 31.5 2.5" }));
}

function makeRowVerdict(spot) {
  const verdict = makeElement("span", `row-verdict ${spot.look}`, wordVerdict(spot));
  if (!spot.near) verdict.append(" ", makeElement("span", "share", formatPercent(spot.confidence)));
  return verdict;
}

function makeRowParks(spot) {
  const node = makeElement("span", "row-parks");
  (spot.near ? [spot.near.park] : spot.parks).forEach((park, k) => {
    node.append(k ? ", " : "", makeBdi(park.name || park.id));
  });
  return node;
}

function makeRowFacts(spot) {
  const facts = [];
  if (spot.near) {
    const [away, bearing] = spot.near.away;
    facts.push(`the park is ${formatFineLength(away)} to the ${formatBearing(bearing)}`);
  } else {
    const worth = makeElement("span");
    worth.append(makeElement("strong", "", formatCount(spot.pairs, "pair")));
    worth.append(` (${formatCount(spot.grids, "grid")} × ${formatCount(spot.held, "park")})`);
    if (spot.missing) worth.append(`, ${spot.missing[2]} new`);
    facts.push(worth, spot.parks.length ? formatClearance(spot.clearance) + (spot.plenty ? " (plenty)" : "") : "no park near");
    if (spot.edge > spot.clearance) facts.push(`furthest edge ${formatFineLength(spot.edge)}`);
  }
  facts.push(...listWalkFacts(spot));
  if (spot.home !== undefined) facts.push(`home ${formatLength(1000 * spot.home)}`);
  const node = makeElement("span", "row-facts");
  facts.forEach((fact, k) => {
    const part = typeof fact === "string" ? makeElement("span", "", fact) : fact;
    node.append(k ? " " : "", part);
    if (k < facts.length - 1) part.append(",");
  });
  return node;
}

// What a place costs: the walk, how much of it is off paths, where it begins, how steep the ground is.
export function listWalkFacts(spot) {
  const { walk, slope } = spot;
  const facts = [];
  if (isWalked(spot)) {
    facts.push(`walk ${formatDuration(walk.out)}`);
    if (walk.off !== undefined && walk.length > 0) facts.push(formatOffPaths(walk.off, walk.length));
    if (walk.startKind || walk.startName) {
      const from = makeElement("span", "row-start", `from ${walk.startKind || "start"}`);
      if (walk.startName) from.append(" ", makeBdi(walk.startName));
      facts.push(from);
    }
  }
  if (slope !== undefined) facts.push(`slope ${formatSlope(slope)}`);
  return facts;
}

// What is dangerous at a spot, and where entry may not be open: of several parks in one sentence.
export function listCare(spot) {
  const { entry } = spot;
  const many = `Entry may not be open in ${formatCount(entry.length, "park")} of this spot; ask the land manager before you go.`;
  return [...spot.warnings, ...(entry.length > 1 ? [many] : entry)].map(formatSentence);
}

function makeRowWarnings(spot) {
  const texts = listCare(spot);
  if (isOutOfReach(spot)) texts.unshift(`Out of reach on foot${spot.walk.reason ? `: ${formatSentence(spot.walk.reason)}` : ""}`);
  return texts.map((text) => {
    const line = makeElement("span", "row-warning");
    line.append(makeWarningSign(), makeBdi(text));
    return line;
  });
}
