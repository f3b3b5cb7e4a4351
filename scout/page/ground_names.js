// All names on the ground but those of parks and cells, drawn anew at every move: what is near goes first.

import { scoutMap } from "./map.js";
import { repaints } from "./palette.js";
import { makeNameRoom } from "./name_room.js";
import { placeRoadNames } from "./roads.js";
import { placeHeights } from "./contours.js";
import { placeBaseNames } from "./geography.js";

export function drawGroundNames() {
  const room = makeNameRoom();
  placeRoadNames(room);
  placeBaseNames(room);
  placeHeights(room);
}

repaints.push(drawGroundNames);
scoutMap.on("moveend viewreset resize", drawGroundNames);
