// The list: filter and order. What is hidden here is hidden on the map, and the other way round never.

const filters = byId("filters");

const ORDERS = {
  rank: (a, b) => a.rank - b.rank,
  home: (a, b) => a.home - b.home,
  clearance: (a, b) => b.clearance - a.clearance,
  confidence: (a, b) => b.confidence - a.confidence,
};

function plain(text) {
  return text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
}

for (const spot of spots) spot.search = plain(spot.words);

function passes(spot, wanted) {
  return (
    wanted.looks.has(spot.look) &&
    (spot.look === "near" || spot.grids >= wanted.grids) &&
    wanted.words.every((word) => spot.search.includes(word))
  );
}

function applyFilters() {
  const form = new FormData(filters);
  const wanted = {
    looks: new Set(form.getAll("look")),
    grids: Number(form.get("grids")),
    words: plain(form.get("words")).split(/\s+/).filter(Boolean),
  };
  for (const spot of spots) {
    spot.shown = passes(spot, wanted);
    rowOf(spot).hidden = !spot.shown;
  }
  const count = spots.filter((spot) => spot.shown).length;
  byId("count").textContent = `Showing ${count} of ${spots.length}`;
  byId("nothing").hidden = count > 0 || spots.length === 0;
  showSpots();
  if (chosen && !chosen.shown) leave();
}

function applyOrder() {
  const order = ORDERS[new FormData(filters).get("order")];
  const sorted = [...spots].sort((a, b) => order(a, b) || a.rank - b.rank);
  byId("spots").append(...sorted.map(rowOf));
}

filters.addEventListener("input", applyFilters);
filters.addEventListener("change", applyOrder);
filters.addEventListener("submit", (event) => event.preventDefault());
filters.addEventListener("reset", () => {
  // The fields have their first values only after this event.
  window.setTimeout(() => {
    applyOrder();
    applyFilters();
  });
});

for (const spot of spots) {
  const point = (on) => () => spot.mark.getElement()?.classList.toggle("pointed", on);
  rowOf(spot).addEventListener("mouseenter", point(true));
  rowOf(spot).addEventListener("mouseleave", point(false));
}
