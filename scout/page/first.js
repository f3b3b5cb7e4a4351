// The list comes first: it can be read and used while the map is still being made.

recallPicks();
recallFilters();
// A link to a spot shows it, whatever was filtered before.
const linked = spotOf(rankInAddress());
if (linked && hiddenBy(linked, wishes())) filters.reset();
if (window.matchMedia("(max-width: 719px)").matches) byId("filter-box").open = false;
orderSpots();
filterSpots();
layRows();

// A moment for whatever the reader has done meanwhile.
function breath() {
  return new Promise((resolve) => window.setTimeout(resolve));
}

// Let the browser show it; a page in the background draws no frame and goes on all the same.
await new Promise((resolve) => {
  window.requestAnimationFrame(() => window.setTimeout(resolve));
  window.setTimeout(resolve, 250);
});
