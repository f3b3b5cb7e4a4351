// The list comes first: it can be read and used while the map is still being made.

import "./units.js"; // first: the list is in the units that are remembered
import { getSpot } from "./spots.js";
import { getRankInAddress } from "./address.js";
import { recallShortlist } from "./shortlist_panel.js";
import { findHidingReason } from "./filter_rules.js";
import { filterSpots, filters, orderSpots, readFilters, recallFilters } from "./filters.js";
import { awaitFrame } from "./pauses.js";
import { layRows } from "./rows.js";

recallShortlist();
recallFilters();
// A link to a spot shows it, whatever was filtered before.
const linked = getSpot(getRankInAddress());
if (linked && findHidingReason(linked, readFilters())) filters.reset();
orderSpots();
filterSpots();
layRows();

await awaitFrame();
