// Everything is defined: put it on the map, find the first view, open what the address names.

import { findings, toLatLng } from "./findings.js";
import { byId } from "./elements.js";
import { spots } from "./spots.js";
import { follow } from "./address.js";
import { showShortlist } from "./shortlist_panel.js";
import "./show_list.js";
import { pause } from "./pauses.js";
import { mapKey, scoutMap } from "./map.js";
import { repaints } from "./palette.js";
import { drawLattice } from "./lattice.js";
import { parks } from "./parks.js";
import { discs, dots, markLayer } from "./marks.js";
import { drawWalks } from "./walks.js";
import "./press.js";
import "./follow.js";
import "./find_places.js";
import { showSpots } from "./refresh.js";
import { addNorthMark } from "./geography.js";
import "./print.js";
import "./stored.js";
import "./live.js";
import { foldKey, getFreeView, getTopRoom } from "./view.js";
import { applySwitch, boxes, keepView, recallView } from "./layer_switches.js";

scoutMap.attributionControl.setPrefix(false);
L.control.zoom({ position: "topright" }).addTo(scoutMap);
L.control.scale({ position: "bottomright", maxWidth: 130 }).addTo(scoutMap);
addNorthMark();

// Of all places: those of one town fill the view, a single one is seen with its surroundings.
const CLOSEST = 14;
const CLOSEST_ALONE = 12;
const LONGEST_STEP = 50; // ms: what is shorter is not felt, and a frame costs more than most steps

function setFirstView() {
  const all = spots.filter((spot) => spot.drawn).map((spot) => spot.at);
  if (findings.home) all.push(toLatLng(findings.home.at));
  const bounds = L.latLngBounds(all);
  if (!bounds.isValid()) parks.forEach((park) => bounds.extend(park.bounds));
  if (!bounds.isValid()) return foldKey(); // the map's own first view, the world
  scoutMap.fitBounds(bounds, {
    paddingTopLeft: [46 + getFreeView().left, getTopRoom()],
    paddingBottomRight: [makeRoomForKey(bounds), 46],
    maxZoom: all.length > 1 ? CLOSEST : CLOSEST_ALONE,
    animate: false,
  });
}

// The key stays open where the spots fit beside it without a coarser view; else it makes way.
function makeRoomForKey(bounds) {
  const edge = 60;
  foldKey();
  if (!mapKey.open) return edge;
  const zoomBeside = (right) => scoutMap.getBoundsZoom(bounds, false, L.point(46 + right, getTopRoom() + 46));
  const beside = mapKey.offsetWidth + 30;
  mapKey.open = zoomBeside(beside) === zoomBeside(edge);
  return mapKey.open ? beside : edge;
}

byId("all-button").addEventListener("click", setFirstView);
setFirstView();
recallView();
scoutMap.on("moveend", keepView);
showSpots();
showShortlist();
follow();
[markLayer, dots, discs].forEach((layer) => layer.addTo(scoutMap));
// What is drawn comes in steps: between lots of them the page answers taps and keys.
let rested = 0;
for (const box of boxes) {
  if (window.performance.now() - rested > LONGEST_STEP) {
    await pause();
    rested = window.performance.now();
  }
  applySwitch(box);
}
repaints.push(drawLattice, drawWalks); // both are drawn by now
document.documentElement.classList.add("ready");
