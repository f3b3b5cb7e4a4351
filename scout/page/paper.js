// On paper: the map of the shown spots on the first page, their table on the second.

const PAPER_ROWS = 30; // what a page holds, one line each

function paperRow(spot) {
  const row = element("tr");
  const cell = (content, className = "") => {
    const node = element("td", className);
    node.append(...[content].flat());
    row.append(node);
  };
  cell(numbered(spot));
  cell(spot.locators.join(" "), "paper-letters");
  const parks = spot.near ? [spot.near.park] : spot.parks;
  // The references first and all of them; what names take more than two lines is left out.
  const names = element("span", "paper-names");
  parks.forEach((park, k) => names.append(k ? ", " : "", bdi(park.id)));
  parks.forEach((park, k) => names.append(k ? ", " : ": ", bdi(park.name)));
  cell(names);
  cell(spot.near ? "near miss" : [VERDICT_WORDS[spot.look], " ", percentText(spot.confidence)]);
  if (anyWalk) cell(isWalked(spot) ? spanText(spot.walk.out) : outOfReach(spot) ? "out of reach" : "not known");
  cell(decimalText(spot.lon, spot.lat), "paper-letters");
  cell(spot.warnings.length ? warningSign() : "");
  return row;
}

function fillPaper() {
  const shown = inOrder.filter((spot) => spot.shown);
  const titles = ["", "grids", "parks", "verdict", ...(anyWalk ? ["walk"] : []), "latitude, longitude", ""];
  const head = element("tr");
  head.append(...titles.map((title) => element("th", "", title)));
  const table = element("table");
  table.createTHead().append(head);
  table.createTBody().append(...shown.slice(0, PAPER_ROWS).map(paperRow));
  const rest = shown.length - PAPER_ROWS;
  byId("paper-list").replaceChildren(
    element("h2", "", document.title),
    table,
    paragraph("", rest > 0 ? `and ${countText(rest, "more spot")}: filter or reorder the list to print others. ` : ""),
    paragraph("", byId("cautions").querySelector("ul").textContent.trim().replace(/\s*\n\s*/g, " ")),
  );
}

let viewBefore = null;

function toPaper() {
  fillPaper();
  viewBefore ??= { centre: scout_map.getCenter(), zoom: scout_map.getZoom(), key: key.open };
  document.documentElement.classList.add("paper");
  key.open = true;
  scout_map.invalidateSize({ animate: false, pan: false });
  const shown = spots.filter((spot) => spot.shown && spot.drawn).map((spot) => spot.at);
  if (shown.length) scout_map.fitBounds(L.latLngBounds(shown), { padding: [40, 40], maxZoom: 14, animate: false });
  repaint();
  // Now, not at the next frame, and whole: a browser prints what is drawn since the last clearing.
  for (const canvas of canvases.filter((each) => each._ctx)) {
    canvas._redrawBounds = null;
    canvas._redraw();
  }
}

function fromPaper() {
  if (!viewBefore) return;
  document.documentElement.classList.remove("paper");
  key.open = viewBefore.key;
  scout_map.invalidateSize({ animate: false, pan: false });
  scout_map.setView(viewBefore.centre, viewBefore.zoom, { animate: false });
  viewBefore = null;
  byId("paper-list").replaceChildren();
  repaint();
}

window.addEventListener("beforeprint", toPaper);
window.addEventListener("afterprint", fromPaper);
byId("print-button").addEventListener("click", () => window.print());
