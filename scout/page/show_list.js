// The list comes first: it can be read and used while the map is still being made.

import "./units.js"; // first: the list is in the units that are remembered
import { getSpot } from "./spots.js";
import { getRankInAddress } from "./address.js";
import { recallShortlist } from "./shortlist_panel.js";
import { findHidingReason } from "./filter_rules.js";
import { filterSpots, filters, orderSpots, readFilters, recallFilters } from "./filters.js";
import { layRows } from "./rows.js";

recallShortlist();
recallFilters();
// A link to a spot shows it, whatever was filtered before.
const linked = getSpot(getRankInAddress());
if (linked && findHidingReason(linked, readFilters())) filters.reset();
orderSpots();
filterSpots();
layRows();

// A moment for whatever the reader has done meanwhile.
export function pause() {
  return new Promise((resolve) => window.setTimeout(resolve));
}

// Let the browser show it; a page in the background draws no frame and goes on all the same.
await new Promise((resolve) => {
  window.requestAnimationFrame(() => window.setTimeout(resolve));
  window.setTimeout(resolve, 250);
});
