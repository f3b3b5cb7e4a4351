// The page follows its address: a spot, the check of a place, or another part of the page.

import { byId } from "./elements.js";
import { framed } from "./storage.js";
import { follow, getCheckInAddress, getRankInAddress, leave, openSpot, setFollower } from "./address.js";
import { openSheet, roomy } from "./view.js";
import { chooseSpot } from "./details_panel.js";
import { showCheck } from "./check_panel.js";
import { measuring, setMeasuring } from "./measure.js";

function followAddress() {
  const rank = getRankInAddress();
  if (framed) window.parent.postMessage({ at: window.location.hash }, "*"); // the desk follows
  const asked = getCheckInAddress();
  const anchor = rank === null && asked === null && window.location.hash.length > 1 && byId(window.location.hash.slice(1));
  if (anchor && openSheet() && roomy.matches) return showAnchor(anchor);
  if (asked !== null && measuring) setMeasuring(false);
  chooseSpot(rank);
  showCheck(asked);
  if (anchor) showAnchor(anchor);
}

// Another place of the page, such as the cautions.
function showAnchor(anchor) {
  if (anchor.matches("details")) anchor.open = true;
  anchor.scrollIntoView({ block: "start" });
}

setFollower(followAddress);
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && openSheet()) leave();
});
window.addEventListener("hashchange", follow);
window.addEventListener("popstate", follow);
byId("spots").addEventListener("click", (event) => {
  const link = event.target.closest("a.row");
  if (!link) return;
  event.preventDefault();
  openSpot(Number(link.closest("[data-rank]").dataset.rank));
});
