// The list follows its fields, and the map the list: what is hidden here is hidden there.

import { chosen } from "./spots.js";
import { leave } from "./address.js";
import { onShortlistChange } from "./shortlist_panel.js";
import { filterSpots, filters, keepFilters, orderSpots } from "./filters.js";
import { layRows } from "./rows.js";
import { drawParkNames } from "./parks.js";
import { drawGroundNames } from "./ground_names.js";
import { showMarks } from "./marks.js";
import { drawCars, drawWalks } from "./walks.js";

// Bring the map in line with the list: a spot filtered out takes all that belongs to it away.
export function showSpots() {
  showMarks();
  drawWalks();
  drawCars();
  drawParkNames();
  drawGroundNames();
}

function refreshList() {
  orderSpots();
  filterSpots();
  layRows();
  showSpots();
  if (chosen && !chosen.shown) leave();
}

onShortlistChange(() => {
  if (filters.elements.picked.checked) refreshList();
});
filters.addEventListener("input", refreshList);
filters.addEventListener("change", keepFilters);
filters.addEventListener("submit", (event) => event.preventDefault());
filters.addEventListener("reset", () => {
  // The fields have their first values only after this event.
  window.setTimeout(() => {
    refreshList();
    keepFilters();
  });
});
