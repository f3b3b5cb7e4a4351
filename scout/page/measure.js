// Distances on the ground between places pressed on the map, on the ellipsoid.

import { byId } from "./elements.js";
import { inverse } from "./geodesy.js";
import { formatBearing, formatLength } from "./wording.js";
import { onUnitsChange } from "./units.js";
import { leave } from "./address.js";
import { scoutMap } from "./map.js";
import { checkShapes, checking } from "./check_panel.js";

const measureBox = byId("measure");
const measureButton = byId("measure-button");
const measureLayer = L.layerGroup().addTo(scoutMap);
let measured = []; // places as the map has them, each with the spot that it lies on, if any
export let measuring = false;

export function setMeasuring(on) {
  measuring = on;
  measureBox.hidden = !on;
  measureButton.setAttribute("aria-expanded", String(on));
  scoutMap.getContainer().classList.toggle("measuring", on);
  if (on) scoutMap.closePopup();
  else measured = [];
  scoutMap.invalidateSize({ animate: false, pan: false });
  drawMeasured();
}

export function addMeasured(at, spot = null) {
  measured.push(spot ? { lat: spot.at[0], lng: spot.at[1], spot } : { lat: at.lat, lng: at.lng });
  drawMeasured();
}

function computeLegs() {
  return measured.slice(1).map((at, k) => inverse(measured[k].lng, measured[k].lat, at.lng, at.lat));
}

// On which spots it begins and ends.
function wordEnds() {
  const [first, last] = [measured[0], measured[measured.length - 1]];
  const from = first.spot ? ` from spot ${first.spot.rank}` : "";
  const to = last.spot && last !== first ? ` to spot ${last.spot.rank}` : "";
  return from || to ? `,${from}${to}` : "";
}

function drawMeasured() {
  measureLayer.clearLayers();
  const plainLine = { renderer: checkShapes, interactive: false, className: "check-shape measured" };
  L.polyline(measured, { ...plainLine, smoothFactor: 0 }).addTo(measureLayer);
  for (const at of measured) {
    L.circleMarker(at, { ...plainLine, radius: 4, className: "check-shape measured-end" }).addTo(measureLayer);
  }
  const all = computeLegs();
  const last = all[all.length - 1];
  const total = all.reduce((sum, leg) => sum + leg.distance, 0);
  const text = last
    ? `${formatLength(total)}${all.length > 1 ? ` in ${all.length} legs, the last ${formatLength(last.distance)}` : ""}` +
      `, to the ${formatBearing(last.bearing)}${wordEnds()}`
    : "Press on the map where to begin.";
  byId("measure-text").textContent = measured.length === 1 ? `Press on the next place${wordEnds()}.` : text;
  byId("measure-back").disabled = measured.length === 0;
}

onUnitsChange(() => {
  if (measuring) drawMeasured();
});
measureButton.addEventListener("click", () => {
  if (checking) leave();
  setMeasuring(!measuring);
});
byId("measure-middle").addEventListener("click", () => addMeasured(scoutMap.getCenter()));
byId("measure-back").addEventListener("click", () => {
  measured.pop();
  drawMeasured();
});
byId("measure-close").addEventListener("click", () => {
  setMeasuring(false);
  measureButton.focus();
});
