// The lattice of the view: the finest level whose cells are wide enough to draw, the finest whose are wide
// enough to name. Meridians and parallels are straight on this map, so two ends draw each exactly.

import { findings } from "./findings.js";
import { byId, makeElement } from "./elements.js";
import { scoutMap } from "./map.js";
import { CANVAS_MARGIN, getColour, makeCanvasPane } from "./palette.js";
import { PAIRS, cellsOf, columnAt, locatorOf, meridian, parallel, rowAt } from "./locator.js";

// Lines of the searched level come early; finer ones, which carry no name yet, wait for more room.
const LINE_PX = { searched: 14, finer: 44 };
const NAME_PX = { width: 22, perCharacter: 9, height: 26 };
const STRONG_PX = 90; // cells of the searched level this wide get strong lines all round

const latticeCanvas = makeCanvasPane("lattice", 410);
const cellCanvas = makeCanvasPane("cells", 390);
export const latticeLines = L.layerGroup();
const namePane = scoutMap.createPane("lattice-names");
namePane.style.zIndex = 450;
namePane.style.pointerEvents = "none";
namePane.setAttribute("aria-hidden", "true");
let nameBoxes = [];

// Where the locators stand, for whatever must keep clear of them.
export function getLatticeNameBoxes() {
  return nameBoxes;
}

function measureCell(level) {
  const centre = scoutMap.getCenter();
  const half = 90 / cellsOf(level);
  const lat = Math.max(-80, Math.min(80, centre.lat));
  const a = scoutMap.project([lat - half, 0]);
  const b = scoutMap.project([lat + half, 360 / cellsOf(level)]);
  return { width: b.x - a.x, height: a.y - b.y };
}

function findFinestLevel(fits) {
  let level = 0;
  const most = Math.min(PAIRS.length, Number(byId("finest").value));
  while (level < most && fits(measureCell(level + 1), level + 1)) level += 1;
  return level;
}

export function drawLattice() {
  latticeLines.clearLayers();
  namePane.replaceChildren();
  nameBoxes = [];
  if (!scoutMap.hasLayer(latticeLines)) return;
  const lines = findFinestLevel(
    (size, level) =>
      Math.min(size.width, size.height) >= (level <= findings.level ? LINE_PX.searched : LINE_PX.finer),
  ) || 1;
  const names = findFinestLevel(
    (size, level) =>
      size.width >= NAME_PX.width + NAME_PX.perCharacter * 2 * level && size.height >= NAME_PX.height,
  );
  drawCells(lines);
  drawLines(lines);
  if (names) drawNames(names);
}

// What the canvas covers.
function getDrawnBounds() {
  const view = scoutMap.getBounds().pad(CANVAS_MARGIN);
  return {
    west: view.getWest(),
    east: view.getEast(),
    south: Math.max(view.getSouth(), -findings.mapEdge),
    north: Math.min(view.getNorth(), findings.mapEdge),
  };
}

// Every other cell is a shade darker: the ground has no other features, and a corner shows as one.
function drawCells(level) {
  const shown = Math.min(level, findings.level);
  const { west, east, south, north } = getDrawnBounds();
  const squares = [];
  for (let i = columnAt(west, shown); i <= columnAt(east, shown); i += 1) {
    for (let j = rowAt(south, shown); j <= rowAt(north, shown); j += 1) {
      if ((((i + j) % 2) + 2) % 2) continue;
      const [w, e] = [meridian(i, shown), meridian(i + 1, shown)];
      const [s, n] = [parallel(j, shown), parallel(j + 1, shown)];
      squares.push([[[s, w], [s, e], [n, e], [n, w]]]);
    }
  }
  L.polygon(squares, {
    renderer: cellCanvas,
    interactive: false,
    stroke: false,
    fillColor: getColour("cell"),
    fillOpacity: 1,
    smoothFactor: 0,
  }).addTo(latticeLines);
}

function drawLines(level) {
  const { west, east, south, north } = getDrawnBounds();
  const strong = chooseStrongLevel(level);
  const line = (number, ends) => {
    const heavy = isStrong(number, level, strong);
    L.polyline(ends, {
      renderer: latticeCanvas,
      interactive: false,
      color: getColour(heavy ? "lattice-strong" : "lattice"),
      weight: heavy ? 1.8 : 1,
      smoothFactor: 0,
    }).addTo(latticeLines);
  };
  for (let i = columnAt(west, level) + 1; i <= columnAt(east, level); i += 1) {
    line(i, [[south, meridian(i, level)], [north, meridian(i, level)]]);
  }
  for (let j = rowAt(south, level) + 1; j <= rowAt(north, level); j += 1) {
    line(j, [[parallel(j, level), west], [parallel(j, level), east]]);
  }
}

// Strong lines: the searched level's where its cells are large, else those of the next coarser level.
function chooseStrongLevel(level) {
  const searched = level >= findings.level && measureCell(findings.level).width >= STRONG_PX;
  return searched ? findings.level : level - 1;
}

function isStrong(number, level, strong) {
  return strong > 0 && number % (cellsOf(level) / cellsOf(strong)) === 0;
}

function drawNames(level) {
  const view = scoutMap.getBounds();
  const size = scoutMap.getSize();
  for (let i = columnAt(view.getWest(), level); i <= columnAt(view.getEast(), level); i += 1) {
    for (let j = Math.max(rowAt(view.getSouth(), level), 0); j <= rowAt(view.getNorth(), level); j += 1) {
      const low = scoutMap.latLngToContainerPoint([parallel(j, level), meridian(i, level)]);
      const high = scoutMap.latLngToContainerPoint([parallel(j + 1, level), meridian(i + 1, level)]);
      const left = Math.max(low.x, 0);
      const right = Math.min(high.x, size.x);
      const top = Math.max(high.y, 0);
      const bottom = Math.min(low.y, size.y);
      if (right - left < 12 + NAME_PX.perCharacter * 2 * level || bottom - top < 20) continue;
      drawName(locatorOf(i, j, level), L.point((left + right) / 2, (top + bottom) / 2));
    }
  }
}

// The part of the text that the search was about stands out from the pairs added by zooming in.
function drawName(locator, at) {
  const node = makeElement("span", "cell-name leaflet-zoom-hide");
  node.append(makeElement("b", "", locator.slice(0, 2 * findings.level)), locator.slice(2 * findings.level));
  L.DomUtil.setPosition(node, scoutMap.containerPointToLayerPoint(at));
  namePane.append(node);
  const half = [(NAME_PX.perCharacter * locator.length) / 2, 9];
  nameBoxes.push(L.bounds(at.subtract(half), at.add(half)));
}

scoutMap.on("moveend viewreset resize", drawLattice);
byId("finest").addEventListener("change", drawLattice);
