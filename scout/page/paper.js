// On paper: the map of the shown spots on the first page, then their table on as many as it takes.

// The mark without its number, which would be too small to read.
function paperMark(spot) {
  const node = picture(spot.look, spot.kind);
  if (outOfReach(spot)) node.append(...barAcross());
  return node;
}

// Two locators a line: four stand as their cells lie.
function pairLines(locators) {
  const pairs = [];
  for (let k = 0; k < locators.length; k += 2) pairs.push(locators.slice(k, k + 2).join("\u00a0"));
  return pairs.join(" ");
}

function paperRow(spot) {
  const row = element("tr");
  const cell = (content, className = "") => {
    const node = element("td", className);
    node.append(...[content].flat());
    row.append(node);
  };
  cell([paperMark(spot), String(spot.rank)], "paper-mark");
  cell(pairLines(spot.locators), "paper-letters");
  const parks = spot.near ? [spot.near.park] : spot.parks;
  const named = element("td", "paper-parks");
  parks.forEach((park, k) => named.append(k ? ", " : "", bdi(park.id, "paper-id"), " ", bdi(park.name)));
  for (const text of spot.warnings) named.append(paragraph("", warningSign(), " ", bdi(text)));
  row.append(named);
  cell(spot.near ? "near miss" : [VERDICT_WORDS[spot.look], " ", percentText(spot.confidence)], "paper-whole");
  if (anyWalk) {
    const walk = isWalked(spot) ? spanText(spot.walk.out) : outOfReach(spot) ? "out of reach" : "not known";
    cell(walk, "paper-whole");
  }
  cell(decimalText(spot.lon, spot.lat), "paper-letters paper-whole");
  return row;
}

function fillPaper() {
  const shown = inOrder.filter((spot) => spot.shown);
  const titles = ["", "grids", "parks", "verdict", ...(anyWalk ? ["walk"] : []), "latitude, longitude"];
  const head = element("tr");
  head.append(...titles.map((title) => element("th", "", title)));
  const table = element("table");
  table.createTHead().append(head);
  table.createTBody().append(...shown.map(paperRow));
  const count = shown.length < spots.length ? `${shown.length} of ${countText(spots.length, "spot")}; ` : "";
  byId("paper-list").replaceChildren(
    element("h2", "", document.title),
    table,
    paragraph("", count, byId("cautions").querySelector("ul").textContent.trim().replace(/\s*\n\s*/g, " ")),
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
