// On paper: the map of the shown spots on the first page, then their table on as many as it takes.

import { byId, makeBdi, makeElement, makeParagraph, makePicture, makeWarningSign } from "./elements.js";
import {
  formatClearance,
  formatCount,
  formatDecimal,
  formatDuration,
  formatLength,
  formatPercent,
  formatSentence,
} from "./wording.js";
import { anyWalk, isOutOfReach, isWalked, spots, wordVerdict } from "./spots.js";
import { inOrder } from "./filters.js";
import { listWalkFacts, makeBar } from "./rows.js";
import { mapKey, scoutMap } from "./map.js";
import { canvases, repaint } from "./palette.js";

// The mark without its number, which would be too small to read.
function makePrintedMark(spot) {
  const node = makePicture(isOutOfReach(spot) ? `${spot.look} unreached` : spot.look, spot.kind);
  if (isOutOfReach(spot)) node.append(...makeBar());
  return node;
}

// Two locators a line: four stand as their cells lie.
function joinInPairs(locators) {
  const pairs = [];
  for (let k = 0; k < locators.length; k += 2) pairs.push(locators.slice(k, k + 2).join("\u00a0"));
  return pairs.join(" ");
}

// Why a place stands where it does.
function listPrintedFacts(spot) {
  if (spot.near) return [];
  const inside = spot.parks.length ? [formatClearance(spot.clearance) + (spot.plenty ? " (plenty)" : "")] : [];
  const home = spot.home === undefined ? [] : [`home ${formatLength(1000 * spot.home)}`];
  const walk = listWalkFacts(spot).slice(isWalked(spot) ? 1 : 0); // the time has its own column
  return [formatCount(spot.pairs, "pair"), ...inside, ...walk, ...home];
}

function makePrintedRow(spot) {
  const row = makeElement("tr");
  const cell = (content, className = "") => {
    const node = makeElement("td", className);
    node.append(...[content].flat());
    row.append(node);
  };
  cell([makePrintedMark(spot), String(spot.rank)], "paper-mark");
  cell(joinInPairs(spot.locators), "paper-letters");
  const parks = spot.near ? [spot.near.park] : spot.parks;
  const named = makeElement("td", "paper-parks");
  parks.forEach((park, k) => named.append(k ? ", " : "", makeBdi(park.id, "paper-id"), " ", makeBdi(park.name)));
  const facts = makeElement("span", "paper-facts");
  facts.append(...listPrintedFacts(spot).flatMap((fact, k) => [k ? ", " : " ", fact]));
  named.append(facts);
  for (const text of spot.warnings) named.append(makeParagraph("", makeWarningSign(), " ", makeBdi(formatSentence(text))));
  row.append(named);
  cell(spot.near ? "near miss" : [wordVerdict(spot), " ", formatPercent(spot.confidence)], "paper-whole");
  if (anyWalk) {
    const walk = isWalked(spot) ? formatDuration(spot.walk.out) : isOutOfReach(spot) ? "out of reach" : "not known";
    cell(walk, "paper-whole");
  }
  cell(formatDecimal(spot.lon, spot.lat), "paper-letters paper-whole");
  return row;
}

function fillPrintedList() {
  const shown = inOrder.filter((spot) => spot.shown);
  const titles = ["", "grids", "parks", "verdict", ...(anyWalk ? ["walk"] : []), "latitude, longitude"];
  const head = makeElement("tr");
  head.append(...titles.map((title) => makeElement("th", "", title)));
  const table = makeElement("table");
  table.createTHead().append(head);
  table.createTBody().append(...shown.map(makePrintedRow));
  const count = shown.length < spots.length ? `${shown.length} of ${formatCount(spots.length, "spot")}; ` : "";
  byId("paper-list").replaceChildren(
    makeElement("h2", "", document.title),
    table,
    makeParagraph("", count, byId("cautions").querySelector("ul").textContent.trim().replace(/\s*\n\s*/g, " ")),
  );
}

export let viewBefore = null;

function preparePrint() {
  fillPrintedList();
  viewBefore ??= { centre: scoutMap.getCenter(), zoom: scoutMap.getZoom(), key: mapKey.open };
  document.documentElement.classList.add("paper");
  mapKey.open = true;
  scoutMap.invalidateSize({ animate: false, pan: false });
  const shown = spots.filter((spot) => spot.shown && spot.drawn).map((spot) => spot.at);
  if (shown.length) scoutMap.fitBounds(L.latLngBounds(shown), { padding: [40, 40], maxZoom: 14, animate: false });
  repaint();
  // Now, not at the next frame, and whole: a browser prints what is drawn since the last clearing.
  for (const canvas of canvases.filter((each) => each._ctx)) {
    canvas._redrawBounds = null;
    canvas._redraw();
  }
}

function endPrint() {
  if (!viewBefore) return;
  document.documentElement.classList.remove("paper");
  mapKey.open = viewBefore.key;
  scoutMap.invalidateSize({ animate: false, pan: false });
  scoutMap.setView(viewBefore.centre, viewBefore.zoom, { animate: false });
  viewBefore = null;
  byId("paper-list").replaceChildren();
  repaint();
}

window.addEventListener("beforeprint", preparePrint);
window.addEventListener("afterprint", endPrint);
byId("print-button").addEventListener("click", () => window.print());
