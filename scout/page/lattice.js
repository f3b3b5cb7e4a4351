// The lattice of the view: the finest level whose cells are wide enough to draw, the finest whose are wide
// enough to name. Meridians and parallels are straight on this map, so two ends draw each exactly.

const LINE_PX = 26;
const NAME_PX = { width: 40, perCharacter: 9, height: 42 };

const latticeCanvas = canvasPane("lattice", 410);
const latticeLines = L.layerGroup();
const namePane = scout_map.createPane("lattice-names");
namePane.style.zIndex = 450;
namePane.style.pointerEvents = "none";
namePane.setAttribute("aria-hidden", "true");

function cellSize(level) {
  const centre = scout_map.getCenter();
  const half = 90 / cellsOf(level);
  const lat = Math.max(-80, Math.min(80, centre.lat));
  const a = scout_map.project([lat - half, 0]);
  const b = scout_map.project([lat + half, 360 / cellsOf(level)]);
  return { width: b.x - a.x, height: a.y - b.y };
}

function finestLevel(fits) {
  let level = 0;
  while (level < PAIRS.length && fits(cellSize(level + 1), level + 1)) level += 1;
  return level;
}

function drawLattice() {
  latticeLines.clearLayers();
  namePane.replaceChildren();
  if (!scout_map.hasLayer(latticeLines)) return;
  const lines = finestLevel((size) => Math.min(size.width, size.height) >= LINE_PX) || 1;
  const names = finestLevel(
    (size, level) =>
      size.width >= NAME_PX.width + NAME_PX.perCharacter * 2 * level && size.height >= NAME_PX.height,
  );
  drawLines(lines);
  if (names) drawNames(names);
}

function drawLines(level) {
  const view = scout_map.getBounds().pad(0.4);
  const south = Math.max(view.getSouth(), -findings.mapEdge);
  const north = Math.min(view.getNorth(), findings.mapEdge);
  const line = (ends, weight) =>
    L.polyline(ends, {
      renderer: latticeCanvas,
      interactive: false,
      color: colour(weight > 1 ? "lattice-strong" : "lattice"),
      weight,
      smoothFactor: 0,
    }).addTo(latticeLines);
  for (let i = columnAt(view.getWest(), level) + 1; i <= columnAt(view.getEast(), level); i += 1) {
    line([[south, meridian(i, level)], [north, meridian(i, level)]], lineWeight(i, level));
  }
  for (let j = rowAt(south, level) + 1; j <= rowAt(north, level); j += 1) {
    line([[parallel(j, level), view.getWest()], [parallel(j, level), view.getEast()]], lineWeight(j, level));
  }
}

// A line of the searched level, or of a coarser one, is drawn strong among finer ones; at coarser views
// the next level up is.
function lineWeight(number, level) {
  const strong = level > findings.level ? findings.level : level - 1;
  if (strong < 1) return 1;
  return number % (cellsOf(level) / cellsOf(strong)) === 0 ? 1.8 : 1;
}

function drawNames(level) {
  const view = scout_map.getBounds();
  const size = scout_map.getSize();
  for (let i = columnAt(view.getWest(), level); i <= columnAt(view.getEast(), level); i += 1) {
    for (let j = Math.max(rowAt(view.getSouth(), level), 0); j <= rowAt(view.getNorth(), level); j += 1) {
      const low = scout_map.latLngToContainerPoint([parallel(j, level), meridian(i, level)]);
      const high = scout_map.latLngToContainerPoint([parallel(j + 1, level), meridian(i + 1, level)]);
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
  const node = element("span", "cell-name leaflet-zoom-hide");
  node.append(element("b", "", locator.slice(0, 2 * findings.level)), locator.slice(2 * findings.level));
  L.DomUtil.setPosition(node, scout_map.containerPointToLayerPoint(at));
  namePane.append(node);
}

scout_map.on("moveend viewreset resize", drawLattice);
