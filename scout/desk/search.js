// Searching: what is found comes first without walks, then with them, and follows the settings.

import { announce, byId, make, formatCount, showError } from "./elements.js";
import { cancelJobs, getOutputPath, readProgress, runJob, sendFiles } from "./requests.js";
import { hasParks } from "./files.js";
import { showSettingError, readSettings, clearFieldErrors } from "./settings.js";
import { showMapsOnPhone, showMap, showSpots } from "./maps.js";

export const isSearching = () => running;

const LOOK_MS = 150;
const NO_FILES = "Bring boundary files first, or take the demo island. Files still being read take a moment.";
let turn = 0;
let ending = Promise.resolve(); // cancels on their way: what begins next waits for them
let running = false;
let findings = null; // the last findings
let halted = false; // to be taken up again
let opened = false; // the list was saved before: it does not follow the settings
let waiting = null; // findings with walks, while someone reads those without
let searchedFor = ""; // the settings last searched with; empty where they have to be sought again
let onFound = () => {};
let getOpenSpot = () => null;

export const getFindings = () => findings;

export function prepareSearch({ found, spot }) {
  onFound = found;
  getOpenSpot = spot;
  byId("search").addEventListener("click", () => search(true));
  byId("cancel").addEventListener("click", cancelSearch);
  byId("newer").addEventListener("click", () => showFindings(waiting, false));
}

function endSearch(all) {
  ending = Promise.allSettled([ending, cancelJobs(all)]);
  return ending;
}

async function cancelSearch() {
  turn += 1;
  const own = turn;
  searchedFor = "";
  byId("cancel").disabled = true;
  await endSearch(true);
  if (own !== turn) return; // another search was asked for meanwhile
  stopWaiting();
  announce("Cancelled");
  byId("progress").textContent = "";
  byId("search").focus();
}

function stopWaiting() {
  running = false;
  byId("cancel").disabled = true;
  byId("progress").textContent = "";
}

// Boundaries are there: what was said of their absence goes.
export function welcomeFiles() {
  if (byId("wrong-search").textContent === NO_FILES) showError("wrong-search");
}

// Make way for other work, to be taken up again by `searchAgain`.
export async function halt() {
  if (!running) {
    await ending;
    return;
  }
  halted = true;
  searchedFor = "";
  turn += 1;
  stopWaiting();
  await endSearch();
}

// Again, after a setting was changed: only where there is something to follow.
export async function searchAgain() {
  if (!opened && (findings || running || halted)) await search(false);
}

// A list that was saved before, in place of a search.
export async function openList(files, wrong) {
  showError(wrong);
  await halt();
  halted = false;
  try {
    const problem = await sendFiles(files.slice(0, 1), "list");
    if (problem) throw new Error(problem);
    const found = await runJob("list", { settings: readSettings() });
    if (!found) return false;
    opened = true;
    findings = null;
    announce(`${formatCount(found.count, "spot")} in the list`);
    showFindings(found, true);
    return true;
  } catch (error) {
    showError(wrong, error.message);
    return false;
  }
}

// Whether what is wanted now is what was searched for last, and nothing came in between.
export const isSought = () => searchedFor !== "" && searchedFor === JSON.stringify(readSettings());

export async function search(asked) {
  showError("wrong-search");
  clearFieldErrors();
  if (!hasParks()) {
    if (asked) showError("wrong-search", NO_FILES);
    return;
  }
  turn += 1;
  const own = turn;
  byId("cancel").disabled = false;
  if (asked) byId("progress").textContent = running ? "waiting for the search before to end" : "beginning";
  if (running) await endSearch();
  await ending;
  if (own !== turn) return;
  running = true;
  halted = opened = false;
  byId("cancel").disabled = false;
  byId("newer").hidden = true;
  byId("progress").textContent = "beginning";
  if (asked) announce("Searching");
  const looked = watchProgress(own, asked);
  try {
    const wanted = readSettings();
    searchedFor = JSON.stringify(wanted);
    const found = await runJob("search", { settings: wanted });
    if (own !== turn) return;
    stopWaiting();
    await looked;
    if (found) finishSearch(found, asked);
  } catch (error) {
    if (own !== turn) return;
    searchedFor = "";
    stopWaiting();
    showSettingError(error, "wrong-search");
  }
}

async function watchProgress(own, asked) {
  let seen = false;
  while (running && own === turn) {
    await new Promise((resolve) => setTimeout(resolve, LOOK_MS));
    if (!running || own !== turn) return;
    let found;
    try {
      found = await readProgress(seen);
    } catch {
      continue; // the search itself says what is wrong, if it is not for once
    }
    if (!running || own !== turn) return;
    if (found.progress) byId("progress").textContent = found.progress;
    if (found.part) {
      seen = true;
      showFindings(found.part, asked);
      announce(`${formatCount(found.part.count, "spot")} found; now the walks`);
    }
  }
}

function finishSearch(found, asked) {
  announce(`${formatCount(found.count, "spot")} found`);
  // Someone who reads a spot is not to lose the page under the eyes.
  if (found.walked && getOpenSpot() && findings && !findings.walked) {
    waiting = found;
    byId("newer").hidden = false;
    showCounts(found);
  } else showFindings(found, asked && !findings);
}

// Show findings; the spot that was open stays open where it is still found.
function showFindings(found, first) {
  waiting = null;
  byId("newer").hidden = true;
  const before = getOpenSpot();
  const same = before && found.spots.find((spot) => spot.rank === before.rank && isAlike(spot, before));
  const now = same ?? (before && found.spots.find((spot) => isAlike(spot, before)));
  findings = found;
  showSpots(getOutputPath(found.made), now?.rank);
  if (first || byId("spots-map").hidden) showMap("spots");
  if (first && found.count && window.matchMedia("(max-width: 899px)").matches) showMapsOnPhone(true);
  showCounts(found);
  onFound(found, now ?? null);
}

const isAlike = (a, b) =>
  a.kind === b.kind && a.locators.join() === b.locators.join() && a.parks.join() === b.parks.join() && Math.hypot(a.lon - b.lon, a.lat - b.lat) < 0.05;

function showCounts(found) {
  const place = byId("found");
  const walks = found.walked ? "" : "; the walks are still being worked out";
  place.hidden = false;
  place.replaceChildren(make("b", {}, formatCount(found.count, "spot")), running || found.walked ? walks : "");
  const lines = [
    ...found.remarks,
    ...found.left_out.map((left) => `Not listed: ${left.count.toLocaleString("en")} ${left.reason}.`),
  ];
  byId("found-notes").replaceChildren(...lines.map((line) => make("li", {}, line)));
}
