// Of access data, close up: woods, buildings, roads by class, paths, and what stands on a map by name; the light on the hills.

import { findings, toDegrees, toLatLng } from "./findings.js";
import { backgroundTiles, scoutMap } from "./map.js";
import { getColour, makeCanvasPane, registerPaint, showFromZoom } from "./palette.js";
import { makeDrawnLines, makeDrawnPolygons } from "./outlines.js";
import { placeName, placeTown } from "./name_room.js";

// Seen from this zoom on, and how wide; the widest last, so that they lie on top.
const ROADS = {
  path: { zoom: 13, width: 1.3, dashes: "4 3" },
  track: { zoom: 13, width: 1.6, dashes: "9 3" },
  lesser: { zoom: 13, width: 2.2 },
  main: { zoom: 12, width: 3 },
};
const NAME_ZOOMS = { city: 9, town: 10, village: 11, hamlet: 12, water: 12, peak: 12 };
const OTHER_NAMES_ZOOM = 13;
const ROAD_NAME_ZOOM = 14;
const WOOD_ZOOM = 11;
const BUILDING_ZOOM = 15;
const SHADING_ZOOM = 9;

const woodCanvas = makeCanvasPane("woods", 392);
const buildingCanvas = makeCanvasPane("buildings", 402);
const roadCanvas = makeCanvasPane("roads", 403);
const shadingPane = scoutMap.createPane("shading");
shadingPane.style.zIndex = 385;
shadingPane.style.pointerEvents = "none";

const { roads, woods, buildings } = findings.around;
const landmarks = findings.around.names ?? [];
export const roadLayer = L.layerGroup();
export const shadingLayer = L.layerGroup();
const zoomed = []; // [layer, the group it belongs to, from which zoom on]

const drawnRoads = {};
if (roads) {
  const plain = { interactive: false, smoothFactor: 1 };
  const wood = L.polygon(makeDrawnPolygons(woods.areas, findings.unitsPerDegree), { ...plain, renderer: woodCanvas, stroke: false });
  const houses = L.polygon(makeDrawnPolygons(buildings.areas, findings.unitsPerDegree), { ...plain, renderer: buildingCanvas, weight: 0.8 });
  zoomed.push([wood, roadLayer, WOOD_ZOOM], [houses, roadLayer, BUILDING_ZOOM]);
  for (const [name, { zoom, width, dashes }] of Object.entries(ROADS)) {
    const places = makeDrawnLines(roads[name].lines, findings.unitsPerDegree);
    const line = { ...plain, renderer: roadCanvas, fill: false };
    const parts = dashes ? { stroke: L.polyline(places, line) } : { casing: L.polyline(places, line), stroke: L.polyline(places, line) };
    drawnRoads[name] = { places, width, dashes, ...parts };
    for (const part of Object.values(parts)) zoomed.push([part, roadLayer, zoom]);
  }
  registerPaint(() => {
    houses.setStyle({ color: getColour("building-edge"), fillColor: getColour("building"), fillOpacity: 0.9 });
    wood.setStyle({ fillColor: getColour("wood"), fillOpacity: Number(getColour("wood-strength")) });
    for (const [name, { casing, stroke, width, dashes }] of Object.entries(drawnRoads)) {
      casing?.setStyle({ color: getColour("road-case"), weight: width + 1.8 });
      stroke.setStyle({ color: getColour(`road-${name}`), weight: width, dashArray: dashes ?? null, lineCap: "butt" });
    }
  });
}

for (const [west, south, east, north, picture] of findings.shading) {
  const bounds = [[toDegrees(south), toDegrees(west)], [toDegrees(north), toDegrees(east)]];
  const overlay = L.imageOverlay(picture, bounds, { pane: "shading", alt: "", className: "shading" });
  zoomed.push([overlay, shadingLayer, SHADING_ZOOM]);
}


// Peaks, settlements and lakes, the nearest to the spots first; then roads, along themselves.
export function placeRoadNames(room) {
  if (!roads || !scoutMap.hasLayer(roadLayer) || scoutMap.hasLayer(backgroundTiles)) return;
  const zoom = scoutMap.getZoom();
  for (const [x, y, what, name] of landmarks) {
    if (zoom < (NAME_ZOOMS[what] ?? OTHER_NAMES_ZOOM)) continue;
    const at = scoutMap.latLngToContainerPoint(toLatLng([x, y]));
    if (what === "water") placeName(room, "water-name", name, at);
    else placeTown(room, name, at, 1, what === "peak" ? "town-name peak" : "town-name");
  }
  if (zoom >= ROAD_NAME_ZOOM) placeRoadLabels(room);
}

function placeRoadLabels(room) {
  const view = scoutMap.getBounds();
  const seen = new Set();
  for (const road of Object.keys(ROADS).reverse()) {
    roads[road].names.forEach((number, k) => {
      const name = roads.called[number];
      if (!name || seen.has(name)) return;
      const places = drawnRoads[road].places[k].filter((place) => view.contains(place));
      const tried = [0.5, 0.35, 0.65, 0.2, 0.8].map((share) => places[Math.floor(share * places.length)]);
      if (places.length < 2) return;
      if (tried.some((place) => placeName(room, "road-name", name, scoutMap.latLngToContainerPoint(place)))) seen.add(name);
    });
  }
}

showFromZoom(zoomed);
