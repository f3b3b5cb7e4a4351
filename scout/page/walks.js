// Walks on the map: on paths a whole line, off paths a broken one; where the car stays.

import { findings, toLatLng } from "./findings.js";
import { makeSvg } from "./elements.js";
import { chosen, spots } from "./spots.js";
import { scoutMap } from "./map.js";
import { getColour, makeCanvasPane } from "./palette.js";
import { unpackRing } from "./outlines.js";
import { makeOrnament } from "./marks.js";

const walkCanvas = makeCanvasPane("walks", 425);
const CAR_PX = 24; // of a mark and some room
export const walkLayer = L.layerGroup();
export const carLayer = L.layerGroup();

// A walk's line in runs of one kind: loose edges are those off paths.
function splitRuns({ line }) {
  const { lon, lat, loose } = unpackRing(line, findings.unitsPerDegree);
  const runs = [];
  for (let k = 0; k + 1 < lon.length; k += 1) {
    const on = !loose[k];
    const last = runs[runs.length - 1];
    if (last && last.on === on) last.places.push([lat[k + 1], lon[k + 1]]);
    else runs.push({ on, places: [[lat[k], lon[k]], [lat[k + 1], lon[k + 1]]] });
  }
  return runs;
}

// The walk to a spot from where the car stays, as places on the map; none where there is no walk.
export function listWalkPlaces(spot) {
  if (!spot.walk?.line) return [];
  return (spot.runs ??= splitRuns(spot.walk)).flatMap((run) => run.places);
}

function getWalkStyle(name, chosenWalk) {
  const base = { renderer: walkCanvas, interactive: false, smoothFactor: 0.5, lineCap: "round", fill: false };
  const weight = chosenWalk ? 4 : 2.4;
  if (name === "case") return { ...base, color: getColour("case"), weight: weight + 3, opacity: 0.9 };
  return { ...base, color: getColour("walk"), weight, dashArray: name === "off" ? "1 7" : null };
}

// All walks of one kind are one shape: two thousand of them are drawn at once.
export function drawWalks() {
  walkLayer.clearLayers();
  const shown = spots.filter((spot) => spot.shown && spot.walk?.line);
  const groups = [shown.filter((spot) => spot !== chosen), shown.filter((spot) => spot === chosen)];
  groups.forEach((group, isChosen) => {
    const runs = group.flatMap((spot) => (spot.runs ??= splitRuns(spot.walk)));
    const pick = (test) => runs.filter(test).map((run) => run.places);
    if (!runs.length) return;
    L.polyline(pick(() => true), getWalkStyle("case", isChosen)).addTo(walkLayer);
    L.polyline(pick((run) => run.on), getWalkStyle("on", isChosen)).addTo(walkLayer);
    L.polyline(pick((run) => !run.on), getWalkStyle("off", isChosen)).addTo(walkLayer);
  });
}

function makeCarIcon(kind) {
  const drawing = makeSvg("svg", { viewBox: "0 0 20 20", "aria-hidden": "true" });
  const car = kind === "parking" || kind === "car park";
  drawing.append(makeSvg("rect", { class: "car-plate", x: 1, y: 1, width: 18, height: 18, rx: 4 }));
  if (car) {
    drawing.append(
      makeSvg("path", { class: "car", d: "M3.5 13V9.6L5.4 6h9.2l1.9 3.6V13ZM5 9.3h10" }),
      makeSvg("circle", { class: "wheel", cx: 6.6, cy: 13.2, r: 1.7 }),
      makeSvg("circle", { class: "wheel", cx: 13.4, cy: 13.2, r: 1.7 }),
    );
  } else drawing.append(makeSvg("path", { class: "car", d: "M5 15 9 5M11 15 13.5 5M7 10h5" }));
  return L.divIcon({ html: drawing, className: "car-mark", iconSize: [20, 20] });
}

// Where the cars stand, for names that must keep clear of them.
export function getCarBoxes() {
  if (!scoutMap.hasLayer(carLayer)) return [];
  return carLayer.getLayers().map((car) => {
    const at = scoutMap.latLngToContainerPoint(car.getLatLng());
    return L.bounds(at.subtract([10, 10]), at.add([10, 10]));
  });
}

// Where the shown walks begin, and other places to leave a car; few enough to stay apart.
export function drawCars() {
  carLayer.clearLayers();
  if (scoutMap.getZoom() < 12) return;
  const view = scoutMap.getBounds().pad(0.2);
  const walked = spots.filter((spot) => spot.shown && spot.walk?.start && spot !== chosen);
  const begun = [...(chosen?.walk?.start ? [chosen] : []), ...walked].map((spot) => {
    return [...spot.walk.start, spot.walk.startKind || "start"];
  });
  const seen = new Set();
  for (const [x, y, kind] of [...begun, ...(findings.around.starts ?? [])]) {
    const at = toLatLng([x, y]);
    const pixel = scoutMap.project(at).divideBy(CAR_PX).round();
    const key = `${pixel.x} ${pixel.y}`;
    if (seen.has(key) || !view.contains(at) || seen.size > 150) continue;
    seen.add(key);
    makeOrnament(at, makeCarIcon(kind)).addTo(carLayer);
  }
}

scoutMap.on("zoomend moveend", drawCars);
