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
let measured = []; // [lat, lon], as the map has them
export let measuring = false;

export function setMeasuring(on) {
  measuring = on;
  measureBox.hidden = !on;
  measureButton.setAttribute("aria-expanded", String(on));
  scoutMap.getContainer().classList.toggle("measuring", on);
  if (on) scoutMap.closePopup();
  else measured = [];
  drawMeasured();
}

export function addMeasured(at) {
  measured.push([at.lat, at.lng]);
  drawMeasured();
}

function computeLegs() {
  return measured.slice(1).map((at, k) => inverse(measured[k][1], measured[k][0], at[1], at[0]));
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
      `, to the ${formatBearing(last.bearing)}`
    : "Press on the map where to begin.";
  byId("measure-text").textContent = measured.length === 1 ? "Press on the next place." : text;
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
