// The list follows its fields, and the map the list: what is hidden here is hidden there.

function applyList() {
  orderSpots();
  filterSpots();
  layRows();
  showSpots();
  if (chosen && !chosen.shown) leave();
}

filters.addEventListener("input", applyList);
filters.addEventListener("change", keepFilters);
filters.addEventListener("submit", (event) => event.preventDefault());
filters.addEventListener("reset", () => {
  // The fields have their first values only after this event.
  window.setTimeout(() => {
    applyList();
    keepFilters();
  });
});
