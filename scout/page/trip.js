// The tour of a day on the map: its drives in order, the number of each place on it; one tour at a time.

import { findings, toLatLng } from "./findings.js";
import { makeSvg } from "./elements.js";
import { getColour, makeCanvasPane, registerPaint } from "./palette.js";
import { unpackRing } from "./outlines.js";
import { makeOrnament } from "./marks.js";
import { framePlaces } from "./view.js";

const tripCanvas = makeCanvasPane("trip", 424);
export const tripLayer = L.layerGroup();
const tours = findings.trip ?? [];
const choices = [...document.querySelectorAll("#trip-box input[name=tour]")];
let now = 0;

function listLegPlaces(leg) {
  const { lon, lat } = unpackRing(leg.line, findings.unitsPerDegree);
  return Array.from(lat, (y, k) => [y, lon[k]]);
}

function makeOrderIcon(number) {
  const picture = makeSvg("svg", { viewBox: "0 0 18 18", "aria-hidden": "true" });
  picture.append(
    makeSvg("circle", { class: "order-plate", cx: 9, cy: 9, r: 8 }),
    makeSvg("text", { class: "order", x: 9, y: 12.8 }, String.fromCharCode(64 + number)),
  );
  return L.divIcon({ html: picture, className: "order-mark", iconSize: [18, 18], iconAnchor: [27, 48] });
}

function drawTour() {
  tripLayer.clearLayers();
  const tour = tours[now];
  if (!tour) return;
  const base = { renderer: tripCanvas, interactive: false, fill: false, lineCap: "round" };
  for (const leg of tour.legs) {
    const places = listLegPlaces(leg);
    L.polyline(places, { ...base, color: getColour("case"), weight: 7, opacity: 0.85 }).addTo(tripLayer);
    const dash = leg.estimated ? "8 8" : null;
    L.polyline(places, { ...base, color: getColour("trip"), weight: 3.6, dashArray: dash }).addTo(tripLayer);
  }
  tour.stops.forEach((at, k) => makeOrnament(toLatLng(at), makeOrderIcon(k + 1)).setZIndexOffset(1e6).addTo(tripLayer));
}

function showTour(number) {
  now = number;
  for (const part of document.querySelectorAll(".trip-tour")) part.hidden = Number(part.dataset.tour) !== now;
  drawTour();
}

for (const choice of choices) {
  choice.addEventListener("change", () => {
    showTour(Number(choice.value));
    const tour = tours[now];
    framePlaces([...tour.stops.map(toLatLng), ...tour.legs.flatMap(listLegPlaces)]);
  });
}
showTour(0);
registerPaint(drawTour);
