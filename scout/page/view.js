// What is in sight: the sheet over the list, the part of the map beside it, and what is said aloud.

import { byId } from "./elements.js";
import { mapKey, scoutMap, still } from "./map.js";

const CLOSEST_FRAME = 16; // zoom at which places together are shown at most

// Room above for a mark that stands under the buttons, where there is any to give.
export function getTopRoom() {
  return Math.min(104, Math.max(60, scoutMap.getSize().y / 4));
}

export const roomy = window.matchMedia("(min-width: 1400px) and (min-height: 800px)"); // as in the style sheet: details beside the list

// The sheet with the details of a spot or the check of a place, whichever is open.
export function openSheet() {
  return [byId("details"), byId("here")].find((sheet) => !sheet.hidden);
}

// A sheet in the place of the list takes it out of reach of keyboard and reader as well. Where the window is small the
// header makes way too, but for its caution, and the map may have another size.
export function coverList() {
  const open = Boolean(openSheet());
  byId("list").inert = open && !roomy.matches;
  document.documentElement.classList.toggle("opened", open);
  scoutMap.invalidateSize({ animate: false, pan: false });
}

// The part of the map that the details, or the check, do not cover.
export function getFreeView() {
  const frame = scoutMap.getContainer().getBoundingClientRect();
  const above = openSheet();
  const cover = above ? above.getBoundingClientRect() : null;
  const beside = cover && cover.right > frame.left && cover.right < frame.right && cover.top < frame.bottom;
  return { left: beside ? cover.right - frame.left : 0, width: frame.width, height: frame.height };
}

// The key makes way where half of the window would not stay free for the map, or not all of it is seen.
export function foldKey() {
  if (!mapKey.open) return;
  const free = getFreeView();
  const left = (free.width - free.left) * free.height - mapKey.offsetWidth * mapKey.offsetHeight;
  const cut = mapKey.scrollHeight > mapKey.clientHeight + 1;
  if (cut || left < 0.5 * window.innerWidth * window.innerHeight) mapKey.open = false;
}

// Whether all of some places can be seen beside what covers the map, and not as one speck.
function areFramed(places, { left, width, height }) {
  const pixels = L.bounds(places.map((place) => scoutMap.latLngToContainerPoint(place)));
  const room = L.bounds([left + 24, getTopRoom() - 8], [width - 66, height - 30]);
  const { x, y } = pixels.getSize();
  return room.contains(pixels) && Math.max(x / room.getSize().x, y / room.getSize().y) > 0.3;
}

// Bring places into view together; a view that does it already stays.
export function framePlaces(places) {
  const free = getFreeView();
  if (areFramed(places, free)) return;
  const padding = { paddingTopLeft: [free.left + 32, getTopRoom()], paddingBottomRight: [76, 44] };
  scoutMap.fitBounds(L.latLngBounds(places), { ...padding, maxZoom: CLOSEST_FRAME, animate: !still });
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
