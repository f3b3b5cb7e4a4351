// What is in sight: the sheet over the list, the part of the map beside it, and what is said aloud.

import { byId } from "./elements.js";
import { scoutMap, still } from "./map.js";

export const roomy = window.matchMedia("(min-width: 1100px)"); // as in the style sheet: details beside the list

// The sheet with the details of a spot or the check of a place, whichever is open.
export function openSheet() {
  return [byId("details"), byId("here")].find((sheet) => !sheet.hidden);
}

// A sheet that lies over the list takes it out of reach of keyboard and reader as well.
export function coverList() {
  byId("list").inert = Boolean(openSheet()) && !roomy.matches;
}

// The part of the map that the details, or the check, do not cover.
export function getFreeView() {
  const frame = scoutMap.getContainer().getBoundingClientRect();
  const above = openSheet();
  const cover = above ? above.getBoundingClientRect() : null;
  const beside = cover && cover.right > frame.left && cover.right < frame.right && cover.top < frame.bottom;
  return { left: beside ? cover.right - frame.left : 0, width: frame.width, height: frame.height };
}

export function bringIntoView(spot) {
  const at = scoutMap.latLngToContainerPoint(spot.at);
  const free = getFreeView();
  const inside = at.x > free.left + 40 && at.x < free.width - 60 && at.y > 60 && at.y < free.height - 40;
  if (!inside) centreOn(spot, scoutMap.getZoom());
}

export function centreOn(spot, zoom) {
  const shift = L.point(getFreeView().left / 2, 0);
  const centre = scoutMap.unproject(scoutMap.project(spot.at, zoom).subtract(shift), zoom);
  scoutMap.setView(centre, zoom, { animate: !still });
}

export function say(text) {
  byId("said").textContent = text;
}

roomy.addEventListener("change", coverList);
