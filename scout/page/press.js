// What a press on the map does: it measures, checks a place, or tells whose ground it is.

import { findings } from "./findings.js";
import { makeElement } from "./elements.js";
import { scoutMap } from "./map.js";
import { columnAt, locatorOf, rowAt } from "./locator.js";
import { isInside, parkAreas, parks } from "./parks.js";
import { checkPressed, checking } from "./check_panel.js";
import { addMeasured, measuring } from "./measure.js";

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

scoutMap.on("click", (event) => {
  if (measuring) addMeasured(event.latlng);
  else if (checking) checkPressed(event.latlng);
  else if (scoutMap.hasLayer(parkAreas)) showParksAt(event.latlng);
});
