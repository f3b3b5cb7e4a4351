// Parks: a tint that deepens where they overlap, an outline each, hatching where two or more overlap, and
// names where there is room.

import { findings, toLatLng } from "./findings.js";
import { makeElement } from "./elements.js";
import { scoutMap } from "./map.js";
import { getColour, makeCanvasPane, makeHatching, registerPaint } from "./palette.js";
import { makeDrawnPolygons } from "./outlines.js";
import { getMarkBoxes } from "./marks.js";

const parkCanvas = makeCanvasPane("parks", 400);
export const parkAreas = L.layerGroup();
export const parkNames = L.layerGroup();
const parkNamePane = scoutMap.createPane("park-names");
parkNamePane.style.zIndex = 440;
parkNamePane.style.pointerEvents = "none";
parkNamePane.setAttribute("aria-hidden", "true");
let parkNameBoxes = [];

export const parks = findings.parks.map((park) => {
  const area = L.polygon(makeDrawnPolygons(park.outline, findings.outlineUnitsPerDegree), {
    renderer: parkCanvas,
    interactive: false,
  });
  return { id: park.id, name: park.name, kind: park.kind, at: toLatLng(park.at), area, bounds: area.getBounds() };
});

const overlaps = Object.entries(findings.overlaps).map(([depth, outline]) => ({
  crossed: depth === "more",
  area: L.polygon(makeDrawnPolygons(outline, findings.unitsPerDegree), {
    renderer: parkCanvas,
    interactive: false,
    stroke: false,
  }),
}));

// Large parks first, so that a small one inside keeps its outline on top.
const getHeight = (park) => park.bounds.getNorthEast().lat - park.bounds.getSouthWest().lat;
[...parks].sort((a, b) => getHeight(b) - getHeight(a)).forEach((park) => park.area.addTo(parkAreas));
overlaps.forEach((overlap) => overlap.area.addTo(parkAreas));

registerPaint(() => {
  for (const park of parks) {
    park.area.setStyle({
      color: getColour("park-edge"),
      weight: 1.4,
      // A corridor has no surveyed edge: its outline is broken.
      dashArray: park.kind === "corridor" ? "5 4" : null,
      fillColor: getColour("park"),
      fillOpacity: Number(getColour("park-strength")),
    });
  }
  for (const overlap of overlaps) {
    overlap.area.setStyle({ fillColor: makeHatching(overlap.crossed, getColour("park-hatch")), fillOpacity: 0.5 });
  }
});

// Where the names of parks stand, for whatever must keep clear of them.
export function getParkNameBoxes() {
  return parkNameBoxes;
}

export function drawParkNames() {
  parkNamePane.replaceChildren();
  parkNameBoxes = [];
  if (!scoutMap.hasLayer(parkNames)) return;
  const taken = getMarkBoxes();
  for (const park of parks) {
    const low = scoutMap.latLngToContainerPoint(park.bounds.getSouthWest());
    const high = scoutMap.latLngToContainerPoint(park.bounds.getNorthEast());
    const width = Math.min(high.x - low.x, 190);
    if (width < 70 || low.y - high.y < 30) continue;
    const box = findFreeBox(park, width, taken);
    if (!box) continue;
    taken.push(box);
    parkNameBoxes.push(box);
    const node = makeElement("bdi", "park-name leaflet-zoom-hide", park.name || park.id);
    node.style.maxWidth = `${width}px`;
    L.DomUtil.setPosition(node, scoutMap.containerPointToLayerPoint(box.getCenter()));
    parkNamePane.append(node);
  }
}

// Room for a name: at the park's own place or a little above or below, inside it, clear of what is taken.
function findFreeBox(park, width, taken) {
  const at = scoutMap.latLngToContainerPoint(park.at);
  const view = L.bounds([0, 0], scoutMap.getSize());
  for (const shift of [0, 30, -40, 60, -70]) {
    const centre = at.add([0, shift]);
    const box = L.bounds(centre.subtract([width / 2, 14]), centre.add([width / 2, 14]));
    if (!view.contains(centre) || taken.some((other) => other.intersects(box))) continue;
    if (shift === 0 || isInside(park, scoutMap.containerPointToLatLng(centre))) return box;
  }
  return null;
}

function isCrossed(lat, lng, a, b) {
  return a.lat > lat !== b.lat > lat && lng < ((b.lng - a.lng) * (lat - a.lat)) / (b.lat - a.lat) + a.lng;
}

// Whether a point lies inside the outline as it is drawn (even-odd over shells and holes).
export function isInside(park, at) {
  if (!park.bounds.contains(at)) return false;
  let inside = false;
  for (const corners of park.area.getLatLngs().flat()) {
    corners.forEach((corner, i) => {
      if (isCrossed(at.lat, at.lng, corner, corners[(i + 1) % corners.length])) inside = !inside;
    });
  }
  return inside;
}

scoutMap.on("moveend viewreset resize", drawParkNames);
