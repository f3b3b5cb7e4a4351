// Room for names on the ground: none covers another, nor a mark, nor the name of a cell or a park.

import { makeElement } from "./elements.js";
import { scoutMap } from "./map.js";
import { getHomeBoxes, getMarkBoxes } from "./marks.js";
import { getLatticeNameBoxes } from "./lattice.js";
import { getParkNameBoxes } from "./parks.js";
import { getCarBoxes } from "./walks.js";

const MOST_NAMES = 80;
const RISE_PX = 8; // of the name of a town, as in the style sheet
const LETTER_PX = 7; // a letter's width, about

const groundNamePane = scoutMap.createPane("ground-names");
groundNamePane.style.zIndex = 435;
groundNamePane.style.pointerEvents = "none";
groundNamePane.setAttribute("aria-hidden", "true");

export function makeNameRoom() {
  groundNamePane.replaceChildren();
  return {
    taken: [...getMarkBoxes(), ...getHomeBoxes(), ...getCarBoxes(), ...getLatticeNameBoxes(), ...getParkNameBoxes()],
    view: L.bounds([4, 4], scoutMap.getSize().subtract([4, 24])), // the credits stand below
    count: 0,
  };
}

function takeBoxes(room, ...boxes) {
  const isFree = (box) => room.view.contains(box) && !room.taken.some((other) => other.intersects(box));
  if (room.count >= MOST_NAMES || !boxes.every(isFree)) return false;
  room.taken.push(...boxes);
  room.count += 1;
  return true;
}

// About the width of a name, without asking the browser to lay it out.
export function guessWidth(text) {
  return LETTER_PX * [...text].length + 4;
}

function addName(className, text, at, strength) {
  const node = makeElement("bdi", `${className} leaflet-zoom-hide`, text);
  L.DomUtil.setPosition(node, scoutMap.containerPointToLayerPoint(at));
  if (strength < 1) node.style.opacity = strength;
  groundNamePane.append(node);
}

// Beside its dot, to the right or the left; a little higher or lower where that helps.
export function placeTown(room, name, at, strength = 1, className = "town-name") {
  const width = guessWidth(name);
  const dot = L.bounds(at.subtract([3, 3]), at.add([3, 3]));
  for (const rise of ["", " high", " low"]) {
    for (const side of ["", " left"]) {
      const ends = side ? [at.x - 7 - width, at.x + 4] : [at.x - 4, at.x + 7 + width];
      const y = at.y + (rise === " high" ? -RISE_PX : rise ? RISE_PX : 0);
      if (!takeBoxes(room, L.bounds([ends[0], y - 7], [ends[1], y + 7]), dot)) continue;
      addName(`${className}${side}${rise}`, name, at, strength);
      return true;
    }
  }
  return false;
}

// With its middle at a place.
export function placeName(room, className, name, at, strength = 1) {
  const half = [guessWidth(name) / 2, 8];
  if (!takeBoxes(room, L.bounds(at.subtract(half), at.add(half)))) return false;
  addName(className, name, at, strength);
  return true;
}
