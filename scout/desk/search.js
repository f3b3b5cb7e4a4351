// Searching: what is found comes first without walks, then with them, and follows the settings.

import { announce, byId, make, plural, wrong } from "./pieces.js";
import { cancel, made, progress, work } from "./talk.js";
import { hasParks } from "./files.js";
import { sayWrong, settings, unsay } from "./wish.js";
import { onPhone, see, showSpots } from "./stage.js";

export const searching = () => running;

const LOOK_MS = 150;
let turn = 0;
let ending = Promise.resolve(); // cancels on their way: what begins next waits for them
let running = false;
let shown = null; // the last findings
let halted = false; // to be taken up again
let waiting = null; // findings with walks, while someone reads those without
let sought = ""; // the settings last searched with; empty where they have to be sought again
let onFound = () => {};
let chosenSpot = () => null;

export const current = () => shown;

export function prepareSearch({ found, spot }) {
  onFound = found;
  chosenSpot = spot;
  byId("search").addEventListener("click", () => search(true));
  byId("cancel").addEventListener("click", stop);
  byId("newer").addEventListener("click", () => put(waiting, false));
}

function end(all) {
  ending = Promise.allSettled([ending, cancel(all)]);
  return ending;
}

async function stop() {
  turn += 1;
  const own = turn;
  sought = "";
  byId("cancel").disabled = true;
  await end(true);
  if (own !== turn) return; // another search was asked for meanwhile
  rest();
  announce("Cancelled");
  byId("progress").textContent = "";
  byId("search").focus();
}

function rest() {
  running = false;
  byId("cancel").disabled = true;
  byId("progress").textContent = "";
}

// Make way for other work, to be taken up again by `searchAgain`.
export async function halt() {
  if (!running) return;
  halted = true;
  sought = "";
  turn += 1;
  rest();
  await end();
}

// Again, after a setting was changed: only where there is something to follow.
export async function searchAgain() {
  if (shown || running || halted) await search(false);
}

// Whether what is wanted now is what was searched for last, and nothing came in between.
export const isSought = () => sought !== "" && sought === JSON.stringify(settings());

export async function search(asked) {
  wrong("wrong-search");
  unsay();
  if (!hasParks()) {
    if (asked) wrong("wrong-search", "Bring boundary files first, or take the demo island. Files still being read take a moment.");
    return;
  }
  turn += 1;
  const own = turn;
  if (running) await end();
  await ending;
  if (own !== turn) return;
  running = true;
  halted = false;
  byId("cancel").disabled = false;
  byId("newer").hidden = true;
  byId("progress").textContent = "beginning";
  if (asked) announce("Searching");
  const looked = look(own, asked);
  try {
    const wanted = settings();
    sought = JSON.stringify(wanted);
    const found = await work("search", { settings: wanted });
    if (own !== turn) return;
    rest();
    await looked;
    if (found) finish(found, asked);
  } catch (error) {
    if (own !== turn) return;
    sought = "";
    rest();
    sayWrong(error, "wrong-search");
  }
}

async function look(own, asked) {
  let seen = false;
  while (running && own === turn) {
    await new Promise((resolve) => setTimeout(resolve, LOOK_MS));
    if (!running || own !== turn) return;
    let found;
    try {
      found = await progress(seen);
    } catch {
      return; // the search itself says what is wrong
    }
    if (!running || own !== turn) return;
    if (found.progress) byId("progress").textContent = found.progress;
    if (found.part) {
      seen = true;
      put(found.part, asked);
      announce(`${plural(found.part.count, "spot")} found; now the walks`);
    }
  }
}

function finish(found, asked) {
  announce(`${plural(found.count, "spot")} found`);
  // Someone who reads a spot is not to lose the page under the eyes.
  if (found.walked && chosenSpot() && shown && !shown.walked) {
    waiting = found;
    byId("newer").hidden = false;
    tell(found);
  } else put(found, asked && !shown);
}

// Show findings; the spot that was open stays open where it is still found.
function put(found, first) {
  waiting = null;
  byId("newer").hidden = true;
  const before = chosenSpot();
  const same = before && found.spots.find((spot) => spot.rank === before.rank && alike(spot, before));
  const now = same ?? (before && found.spots.find((spot) => alike(spot, before)));
  shown = found;
  showSpots(made(found.made), now?.rank);
  if (first || byId("spots-map").hidden) see("spots");
  if (first && found.count && window.matchMedia("(max-width: 899px)").matches) onPhone(true);
  tell(found);
  onFound(found, now ?? null);
}

const alike = (a, b) =>
  a.kind === b.kind && a.locators.join() === b.locators.join() && a.parks.join() === b.parks.join() && Math.hypot(a.lon - b.lon, a.lat - b.lat) < 0.05;

function tell(found) {
  const place = byId("found");
  const walks = found.walked ? "" : ", without walks yet";
  place.hidden = false;
  place.replaceChildren(make("b", {}, plural(found.count, "spot")), running || found.walked ? walks : "");
  const lines = [
    ...found.remarks,
    ...found.left_out.map((left) => `Not listed: ${left.count.toLocaleString("en")} ${left.reason}.`),
  ];
  byId("found-notes").replaceChildren(...lines.map((line) => make("li", {}, line)));
}
