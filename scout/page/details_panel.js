// One spot chosen: the address (#spot=3) says which, everything else follows it. The same place on the screen
// serves the check of a place (#check=...), see check_panel.js.

import { toLatLng } from "./findings.js";
import { byId } from "./elements.js";
import { onUnitsChange } from "./units.js";
import { chosen, getSpot, setChosen, spots } from "./spots.js";
import { cameFrom, leave, openSpot } from "./address.js";
import { inOrder } from "./filters.js";
import { getRow, layRows, listCare } from "./rows.js";
import { thinMarks } from "./marks.js";
import { drawWalks, listWalkPlaces } from "./walks.js";
import { makeSpotDetails } from "./spot_details.js";
import { bringIntoView, centreOn, coverList, foldKey, framePlaces, say } from "./view.js";

const panel = byId("details");
const panelBody = byId("details-body");

export function chooseSpot(rank) {
  const before = chosen;
  setChosen(rank === null ? null : getSpot(rank) || null);
  if (before) markRow(before, false);
  if (chosen) markRow(chosen, true);
  thinMarks();
  drawWalks();
  panel.hidden = !chosen;
  coverList();
  if (chosen) showSpot(chosen);
  else if (before) say("Selection cleared.");
}

function markRow(spot, on) {
  const row = getRow(spot);
  row.classList.toggle("chosen", on);
  if (on) row.querySelector("a").setAttribute("aria-current", "true");
  else row.querySelector("a").removeAttribute("aria-current");
}

function showSpot(spot) {
  const row = getRow(spot);
  panelBody.replaceChildren(makeSpotDetails(spot));
  panelBody.scrollTop = 0;
  if (spot.shown && !row.isConnected) layRows(spots.length);
  if (row.isConnected) row.scrollIntoView({ block: "nearest" });
  const title = byId("details-title");
  say([title.textContent.trim().replace(/\s+/g, " "), ...listCare(spot)].join(". "));
  if (cameFrom) title.focus({ preventScroll: true });
  byId("earlier").disabled = !findNeighbour(spot, -1);
  byId("later").disabled = !findNeighbour(spot, 1);
  byId("closer").disabled = byId("around").disabled = !spot.drawn;
  foldKey();
  if (spot.drawn) showGround(spot);
}

// A spot with the walk and the place to leave the car, or alone.
function showGround(spot) {
  const walk = listWalkPlaces(spot);
  if (!walk.length) return bringIntoView(spot);
  framePlaces([spot.at, ...(spot.walk.start ? [toLatLng(spot.walk.start)] : []), ...walk]);
}

onUnitsChange(() => {
  if (!chosen) return;
  markRow(chosen, true);
  panelBody.replaceChildren(makeSpotDetails(chosen));
});

function findNeighbour(spot, step) {
  const shown = inOrder.filter((other) => other.shown);
  return shown[shown.indexOf(spot) + step] ?? null;
}

byId("closer").addEventListener("click", () => centreOn(chosen, 18));
byId("around").addEventListener("click", () => centreOn(chosen, 12));
byId("earlier").addEventListener("click", () => openSpot(findNeighbour(chosen, -1).rank));
byId("later").addEventListener("click", () => openSpot(findNeighbour(chosen, 1).rank));
byId("close").addEventListener("click", leave);
