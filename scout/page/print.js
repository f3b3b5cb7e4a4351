// On paper: the map of the shown spots on the first page, then their table on as many as it takes; of an open spot
// its own page, with a map to scale.

import { toLatLng } from "./findings.js";
import { byId, makeBdi, makeElement, makeParagraph, makePicture, makeWarningSign } from "./elements.js";
import {
  formatClearance,
  formatCount,
  formatDecimal,
  formatDuration,
  formatLength,
  formatPercent,
} from "./wording.js";
import { anyWalk, chosen, isOutOfReach, isWalked, spots, wordVerdict } from "./spots.js";
import { inOrder } from "./filters.js";
import { listCare, listWalkFacts, makeBar } from "./rows.js";
import { mapKey, scoutMap } from "./map.js";
import { canvases, repaint } from "./palette.js";
import { computeZoomOfScale, findPaperScale } from "./paper_scale.js";
import { makePrintedSpot } from "./spot_details.js";
import { computeMetresPerPixel } from "./thinning.js";
import { listWalkPlaces } from "./walks.js";

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
  for (const text of listCare(spot)) named.append(makeParagraph("", makeWarningSign(), " ", makeBdi(text)));
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
    makePrintedCautions(count),
  );
}

function makePrintedCautions(...before) {
  const text = byId("cautions").querySelector("ul").textContent.trim().replace(/\s*\n\s*/g, " ");
  return makeParagraph("", ...before, text);
}

export let viewBefore = null;
const EDGE_PX = 26; // of the map of a spot, that stays free
const MARK_PX = 46; // a mark stands so high over its place

function frameAll() {
  const shown = spots.filter((spot) => spot.shown && spot.drawn).map((spot) => spot.at);
  if (shown.length) scoutMap.fitBounds(L.latLngBounds(shown), { padding: [40, 40], maxZoom: 14, animate: false });
}

// The spot with its walk and its parking at a round scale, which is returned.
function frameToScale(spot) {
  const places = [spot.at, ...(spot.walk?.start ? [toLatLng(spot.walk.start)] : []), ...listWalkPlaces(spot)];
  const at = scoutMap.getZoom();
  const whole = L.bounds(places.map((place) => scoutMap.project(place, at)));
  const [size, room] = [whole.getSize(), scoutMap.getSize().subtract([2 * EDGE_PX, 2 * EDGE_PX + MARK_PX])];
  const share = Math.max(size.x / room.x, size.y / room.y);
  const scale = findPaperScale(share * computeMetresPerPixel(at, spot.lat));
  const zoom = computeZoomOfScale(scale, spot.lat);
  const middle = whole.getCenter().multiplyBy(2 ** (zoom - at)).subtract([0, MARK_PX / 2]);
  scoutMap.options.zoomSnap = 0;
  scoutMap.setView(scoutMap.unproject(middle, zoom), zoom, { animate: false });
  return scale;
}

function wordScale(scale, spot) {
  const ratio = String(scale).replace(/\B(?=(\d{3})+$)/g, ",");
  const walk = isWalked(spot) ? " The walk is the thick line, dotted off paths." : "";
  return `Map 1 : ${ratio} when printed at full size, north up.${walk} Of ${document.title}.`;
}

// The page of one spot; a page of its own on paper as well, where it fits.
function fillSpotPage(spot) {
  const { head, story } = makePrintedSpot(spot);
  head.classList.add("paper-head");
  document.querySelector("header").append(head);
  scoutMap.invalidateSize({ animate: false, pan: false });
  const scale = spot.drawn ? [makeParagraph("paper-scale", wordScale(frameToScale(spot), spot))] : [];
  byId("paper-list").replaceChildren(...scale, story, makePrintedCautions());
}

function preparePrint() {
  endPrint();
  viewBefore = { centre: scoutMap.getCenter(), zoom: scoutMap.getZoom(), key: mapKey.open, snap: scoutMap.options.zoomSnap };
  document.documentElement.classList.add("paper", ...(chosen ? ["paper-spot"] : []));
  mapKey.open = true;
  if (chosen) fillSpotPage(chosen);
  else {
    fillPrintedList();
    scoutMap.invalidateSize({ animate: false, pan: false });
    frameAll();
  }
  repaint();
  // Now, not at the next frame, and whole: a browser prints what is drawn since the last clearing.
  for (const canvas of canvases.filter((each) => each._ctx)) {
    canvas._redrawBounds = null;
    canvas._redraw();
  }
}

function endPrint() {
  if (!viewBefore) return;
  document.documentElement.classList.remove("paper", "paper-spot");
  document.querySelector("header .paper-head")?.remove();
  mapKey.open = viewBefore.key;
  scoutMap.options.zoomSnap = viewBefore.snap;
  scoutMap.invalidateSize({ animate: false, pan: false });
  scoutMap.setView(viewBefore.centre, viewBefore.zoom, { animate: false });
  viewBefore = null;
  byId("paper-list").replaceChildren();
  repaint();
}

window.addEventListener("beforeprint", preparePrint);
window.addEventListener("afterprint", endPrint);
byId("print-button").addEventListener("click", () => window.print());
