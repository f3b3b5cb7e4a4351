// One spot chosen: the address (#spot=3) says which, everything else follows it. The same place on the screen
// serves the check of a place (#check=...), see here.js.

const panel = byId("details");
const panelBody = byId("details-body");
const roomy = window.matchMedia("(min-width: 1100px)"); // as in the style sheet: details beside the list
let cameFrom = null;

function rankInAddress() {
  const found = /^#spot=(\d+)$/.exec(window.location.hash);
  return found ? Number(found[1]) : null;
}

function openSpot(rank) {
  cameFrom = document.activeElement;
  if (rankInAddress() === rank) follow();
  else {
    // Not location.hash: that would scroll the list to the row at once.
    window.history.pushState(null, "", `#spot=${rank}`);
    follow();
  }
}

// Back to the list alone.
function leave() {
  const back = cameFrom;
  window.history.pushState(null, "", window.location.pathname + window.location.search);
  follow();
  if (back && back.isConnected && back !== document.body) back.focus({ preventScroll: true });
}

// Details that lie over the list take it out of reach of keyboard and reader as well.
function coverList() {
  byId("list").inert = (Boolean(chosen) || checking) && !roomy.matches;
}

function follow() {
  const rank = rankInAddress();
  if (framed) window.parent.postMessage({ at: window.location.hash }, "*"); // the desk follows
  const asked = checkInAddress();
  const anchor = rank === null && asked === null && window.location.hash.length > 1 && byId(window.location.hash.slice(1));
  if (anchor && (chosen || checking) && roomy.matches) return showAnchor(anchor);
  choose(rank);
  showCheck(asked);
  if (anchor) showAnchor(anchor);
}

// Another place of the page, such as the cautions.
function showAnchor(anchor) {
  if (anchor.matches("details")) anchor.open = true;
  anchor.scrollIntoView({ block: "start" });
}

function choose(rank) {
  const before = chosen;
  chosen = rank === null ? null : spotOf(rank) || null;
  for (const spot of [before, chosen]) {
    if (spot) rowOf(spot).classList.toggle("chosen", spot === chosen);
  }
  document.querySelectorAll("#spots [aria-current]").forEach((link) => link.removeAttribute("aria-current"));
  thinMarks();
  drawWalks();
  panel.hidden = !chosen;
  coverList();
  if (chosen) tell(chosen);
  else if (before) say("Selection cleared.");
}

function tell(spot) {
  const row = rowOf(spot);
  panelBody.replaceChildren(storyOf(spot));
  panelBody.scrollTop = 0;
  row.querySelector("a").setAttribute("aria-current", "true");
  if (spot.shown && !row.isConnected) layRows(spots.length);
  if (row.isConnected) row.scrollIntoView({ block: "nearest" });
  const title = byId("details-title");
  say([title.textContent.trim().replace(/\s+/g, " "), ...spot.warnings].join(". "));
  if (cameFrom) title.focus({ preventScroll: true });
  byId("earlier").disabled = !neighbour(spot, -1);
  byId("later").disabled = !neighbour(spot, 1);
  byId("closer").disabled = byId("around").disabled = !spot.drawn;
  if (spot.drawn) bringIntoView(spot);
}

function neighbour(spot, step) {
  const shown = inOrder.filter((other) => other.shown);
  return shown[shown.indexOf(spot) + step] ?? null;
}

// The part of the map that the details, or the check, do not cover.
function freeView() {
  const frame = scout_map.getContainer().getBoundingClientRect();
  const above = [panel, herePanel].find((sheet) => !sheet.hidden);
  const cover = above ? above.getBoundingClientRect() : null;
  const beside = cover && cover.right > frame.left && cover.right < frame.right && cover.top < frame.bottom;
  return { left: beside ? cover.right - frame.left : 0, width: frame.width, height: frame.height };
}

function bringIntoView(spot) {
  const at = scout_map.latLngToContainerPoint(spot.at);
  const free = freeView();
  const inside = at.x > free.left + 40 && at.x < free.width - 60 && at.y > 60 && at.y < free.height - 40;
  if (!inside) centreOn(spot, scout_map.getZoom());
}

function centreOn(spot, zoom) {
  const shift = L.point(freeView().left / 2, 0);
  const centre = scout_map.unproject(scout_map.project(spot.at, zoom).subtract(shift), zoom);
  scout_map.setView(centre, zoom, { animate: !still });
}

function say(text) {
  byId("said").textContent = text;
}

byId("closer").addEventListener("click", () => centreOn(chosen, 18));
byId("around").addEventListener("click", () => centreOn(chosen, 12));
byId("earlier").addEventListener("click", () => openSpot(neighbour(chosen, -1).rank));
byId("later").addEventListener("click", () => openSpot(neighbour(chosen, 1).rank));
byId("close").addEventListener("click", leave);
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && (chosen || checking)) leave();
});
roomy.addEventListener("change", coverList);
window.addEventListener("hashchange", follow);
window.addEventListener("popstate", follow);
byId("spots").addEventListener("click", (event) => {
  const link = event.target.closest("a.row");
  if (!link) return;
  event.preventDefault();
  openSpot(Number(link.closest("[data-rank]").dataset.rank));
});
