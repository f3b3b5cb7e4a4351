// What the key can switch on and off. The online background is the only thing that ever asks the network.

import { byId } from "./elements.js";
import { keep, recall } from "./storage.js";
import { backgroundTiles, scoutMap } from "./map.js";
import { repaint } from "./palette.js";
import { drawLattice, latticeLines } from "./lattice.js";
import { drawParkNames, parkAreas, parkNames } from "./parks.js";
import { corners, homeLayer, misses, setShown, stretches } from "./marks.js";
import { carLayer, walkLayer } from "./walks.js";
import { tripLayer } from "./trip.js";
import { groundLayers } from "./surroundings.js";
import { contourLayer } from "./contours.js";
import { geographyLayer } from "./geography.js";
import { roadLayer, shadingLayer } from "./roads.js";
import { drawGroundNames } from "./ground_names.js";
import { viewBefore } from "./print.js";

const layers = {
  geography: [geographyLayer],
  shading: [shadingLayer],
  roads: [roadLayer],
  parks: [parkAreas],
  "park-names": [parkNames],
  lattice: [latticeLines],
  stretches: [stretches],
  corners: [corners],
  misses: [misses],
  home: [homeLayer],
  walks: [walkLayer],
  cars: [carLayer],
  trip: [tripLayer],
  contours: [contourLayer],
  ...Object.fromEntries(Object.entries(groundLayers).map(([name, layer]) => [name, [layer]])),
  barriers: [groundLayers.barriers, groundLayers.walls].filter(Boolean),
};

export function applySwitch(box) {
  for (const layer of layers[box.value] ?? []) setShown(layer, scoutMap, box.checked);
  if (box.value === "lattice") drawLattice();
  if (box.value === "park-names") drawParkNames();
  if (["geography", "roads", "contours", "lattice", "park-names", "cars"].includes(box.value)) drawGroundNames();
}

function noteBackground(text) {
  const line = byId("background-note");
  line.textContent = text;
  line.hidden = !text;
}

function applyBackground(box) {
  if (box.checked && navigator.onLine === false) {
    box.checked = false;
    noteBackground("This device is offline: the background stays off.");
    return;
  }
  setShown(backgroundTiles, scoutMap, box.checked);
  scoutMap.getContainer().classList.toggle("on-tiles", box.checked);
  noteBackground("");
  repaint();
}

backgroundTiles.on("tileerror", () => {
  noteBackground(
    "Some background pictures did not arrive: no network, or the server refuses pages opened from a disk. " +
      "Everything else works without them.",
  );
});

export const boxes = [...document.querySelectorAll("#key input[name=layer]")];
boxes.forEach((box) => box.addEventListener("change", () => {
  applySwitch(box);
  keepView();
}));

// The view and the switches are as the reader left them.
export function keepView() {
  if (viewBefore) return; // on its way to paper
  const { lat, lng } = scoutMap.getCenter();
  keep("view", { at: [lat, lng], zoom: scoutMap.getZoom(), off: boxes.filter((b) => !b.checked).map((b) => b.value) });
}

export function recallView() {
  recall("view", ({ at, zoom, off }) => {
    for (const box of boxes) box.checked = !off.includes(box.value);
    if ([...at, zoom].every(Number.isFinite)) scoutMap.setView(at, zoom, { animate: false });
  });
}

byId("background").addEventListener("change", (event) => applyBackground(event.target));
