// What a press on the map does: it measures, checks a place, opens a spot, or tells whose ground it is.

import { findings } from "./findings.js";
import { byId, makeElement } from "./elements.js";
import { scoutMap } from "./map.js";
import { columnAt, locatorOf, rowAt } from "./locator.js";
import { isInside, parkAreas, parks } from "./parks.js";
import { checkPressed, checking } from "./check_panel.js";
import { addMeasured, measuring } from "./measure.js";
import { openSpot } from "./address.js";
import { setMarkPress } from "./marks.js";
import { spots } from "./spots.js";

const SPOT_REACH_PX = 12; // nearer to a spot than that, one begins or ends on it

function showParksAt(at) {
  const here = parks.filter((park) => isInside(park, at));
  const list = makeElement("ul", "parks-here");
  for (const park of here) {
    const row = makeElement("li");
    row.append(makeElement("bdi", "", park.name || "(no name)"), " ", makeElement("bdi", "park-id", park.id));
    list.append(row);
  }
  const level = findings.level;
  const cell = locatorOf(columnAt(at.lng, level), rowAt(at.lat, level), level);
  const box = makeElement("div");
  const drawn = here.length ? "by the outline as drawn" : "outside the parks drawn here";
  const check = makeElement("button", "", "Check this place");
  check.type = "button";
  check.addEventListener("click", () => checkPressed(at));
  box.append(list, makeElement("p", "parks-here-cell", `in ${cell}, ${drawn}`), check);
  L.popup({ maxWidth: 260, autoPanPadding: [20, 20] }).setLatLng(at).setContent(box).openOn(scoutMap);
}

// The spot whose place is pressed, if any.
function findSpotAt(at) {
  const pixel = scoutMap.latLngToContainerPoint(at);
  const reach = (spot) => scoutMap.latLngToContainerPoint(spot.at).distanceTo(pixel);
  const shown = spots.filter((spot) => spot.shown && spot.drawn);
  const nearest = shown.reduce((best, spot) => (best && reach(best) <= reach(spot) ? best : spot), null);
  return nearest && reach(nearest) <= SPOT_REACH_PX ? nearest : null;
}

// While one measures or checks, marks are part of the map: nothing opens, nothing ends.
setMarkPress((spot, at) => {
  if (measuring) addMeasured(at, findSpotAt(at) ?? spot);
  else if (checking) checkPressed(at);
  else openSpot(spot.rank);
});
byId("past-marks").addEventListener("click", (event) => {
  event.preventDefault(); // the address stays: it says which spot is open
  scoutMap.getContainer().querySelector(".leaflet-control-zoom-in").focus();
});
scoutMap.on("click", (event) => {
  if (measuring) addMeasured(event.latlng, findSpotAt(event.latlng));
  else if (checking) checkPressed(event.latlng);
  else if (scoutMap.hasLayer(parkAreas)) showParksAt(event.latlng);
});
