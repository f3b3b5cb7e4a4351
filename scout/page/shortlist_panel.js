// The shortlist on the page: ticks, notes, the reader's name, files out and in. The reader's own words stand
// under an empty name until a file needs one.

import { findings } from "./findings.js";
import { byId, makeBdi, makeBullets, makeElement, makeHeading } from "./elements.js";
import { saveFile } from "./save_file.js";
import { keep, recall } from "./storage.js";
import { formatCount } from "./wording.js";
import { chosen, spots } from "./spots.js";
import {
  LONGEST_NOTE,
  LONGEST_WHO,
  ShortlistError,
  cleanText,
  findPickers,
  joinShortlists,
  makePlaceKey,
  makeShortlist,
  makeTimeAfter,
  packShortlist,
  readShortlist,
  renamePerson,
  setEntry,
} from "./shortlist.js";

const MINE = "";
const shortlistForm = byId("picks");
let shortlist = makeShortlist();
let reportChange = () => {};

// What follows when a tick or a note has changed.
export function onShortlistChange(listener) {
  reportChange = listener;
}

function getSpotKey(spot) {
  return makePlaceKey(spot.lat, spot.lon);
}

function getOwnEntry(spot) {
  return shortlist.get(getSpotKey(spot))?.get(MINE);
}

export function isPicked(spot) {
  return findPickers(shortlist, getSpotKey(spot)).length > 0;
}

function findOtherPickers(spot) {
  return findPickers(shortlist, getSpotKey(spot)).filter(([who]) => who !== MINE);
}

function changeOwnEntry(spot, change) {
  const before = getOwnEntry(spot);
  const word = { picked: false, note: "", ...before, ...change, at: makeTimeAfter(before) };
  setEntry(shortlist, getSpotKey(spot), MINE, word);
  keepShortlist();
  updateTick(spot);
  reportChange();
}

function keepShortlist() {
  reportKept(keep("picks", packShortlist(shortlist, findings.title)));
  showPickCount();
}

// At first nothing is written over what is kept: another tab may have ticked a spot meanwhile.
export function showShortlist() {
  reportKept(keep("trial", true));
  showPickCount();
}

function reportKept(kept) {
  if (!kept) noteShortlist("This browser keeps nothing for this page: save the shortlist before you close it.");
}

function showPickCount() {
  const count = spots.filter(isPicked).length;
  byId("picks-count").textContent = `Shortlist: ${count ? formatCount(count, "spot") : "empty"}`;
}

export function makeTick(spot) {
  const label = makeElement("label", "pick");
  const box = makeElement("input");
  box.type = "checkbox";
  box.checked = Boolean(getOwnEntry(spot)?.picked);
  box.setAttribute("aria-label", `On my shortlist: spot ${spot.rank}`);
  box.addEventListener("change", () => changeOwnEntry(spot, { picked: box.checked }));
  const names = makeElement("span", "pick-names");
  names.append(...listPickers(spot));
  label.append(box);
  const both = document.createDocumentFragment();
  both.append(label, names);
  return both;
}

function listPickers(spot) {
  const others = findOtherPickers(spot);
  if (!others.length) return [];
  return ["picked by ", ...others.flatMap(([who], k) => [k ? ", " : "", makeBdi(who)])];
}

// Bring a spot's row, and its story where that is open, in line with the shortlist.
function updateTick(spot) {
  if (spot.row) {
    spot.row.querySelector(".pick input").checked = Boolean(getOwnEntry(spot)?.picked);
    spot.row.querySelector(".pick-names").replaceChildren(...listPickers(spot));
  }
  if (spot !== chosen) return;
  const box = document.querySelector("#details-body .picks-here");
  if (box && !box.contains(document.activeElement)) box.replaceWith(makeShortlistBox(spot));
}

export function makeShortlistPart(spot) {
  return [makeHeading("Shortlist"), makeShortlistBox(spot)];
}

function makeShortlistBox(spot) {
  const box = makeElement("div", "picks-here");
  const tick = makeElement("label", "tick");
  const input = makeElement("input");
  input.type = "checkbox";
  input.checked = Boolean(getOwnEntry(spot)?.picked);
  input.addEventListener("change", () => changeOwnEntry(spot, { picked: input.checked }));
  tick.append(input, "on my shortlist");
  const note = makeElement("label", "pick-note");
  const text = makeElement("textarea");
  text.rows = 2;
  text.maxLength = LONGEST_NOTE;
  text.value = getOwnEntry(spot)?.note ?? "";
  // A note is a reason to remember the spot: it ticks it.
  text.addEventListener("change", () => {
    input.checked = input.checked || Boolean(text.value.trim());
    changeOwnEntry(spot, { note: cleanText(text.value, LONGEST_NOTE), picked: input.checked });
  });
  note.append("My note", text);
  box.append(tick, note);
  const others = findOtherPickers(spot);
  if (others.length) {
    box.append(makeBullets(others.map(([who, word]) => [makeBdi(who), word.note ? ": " : "", makeBdi(word.note)])));
  }
  return box;
}

function noteShortlist(text) {
  byId("picks-note").textContent = text;
}

function saveShortlist() {
  const who = cleanText(shortlistForm.elements.who.value, LONGEST_WHO);
  if (!who) {
    noteShortlist("Write your name first, so that others see who picked.");
    shortlistForm.elements.who.focus();
    return;
  }
  const file = packShortlist(renamePerson(shortlist, MINE, who), findings.title);
  saveFile("shortlist.json", JSON.stringify(file, null, 1), "application/json");
  noteShortlist("Saved as shortlist.json. Who has this map can open it there.");
}

async function openShortlist(file) {
  if (file.size > 5e6) return noteShortlist(`Not opened, ${file.name}: it is too large to be a shortlist.`);
  try {
    const theirs = readShortlist(await file.text());
    const here = new Set(spots.map(getSpotKey));
    const known = [...theirs.keys()].filter((key) => here.has(key)).length;
    shortlist = joinShortlists(shortlist, claimOwnEntries(theirs));
    updateTicks();
    const away = theirs.size - known;
    const others = away ? `; ${formatCount(away, "other")} this map does not hold` : "";
    noteShortlist(`Joined ${file.name}: it speaks of ${formatCount(known, "spot")}${others}.`);
  } catch (error) {
    if (!(error instanceof ShortlistError)) throw error;
    noteShortlist(`Not opened, ${file.name}: ${error.message}.`);
  }
}

// What the reader said under the own name, on another device perhaps, is the reader's own word.
function claimOwnEntries(list) {
  const who = cleanText(shortlistForm.elements.who.value, LONGEST_WHO);
  return who ? renamePerson(list, who, MINE) : list;
}

function updateTicks() {
  keepShortlist();
  spots.forEach(updateTick);
  reportChange();
}

export function recallShortlist() {
  recall("who", (who) => {
    shortlistForm.elements.who.value = cleanText(who, LONGEST_WHO);
  });
  recall("picks", ({ picks }) => {
    const list = makeShortlist();
    for (const { lat, lon, who, picked, note, at } of picks) {
      setEntry(list, makePlaceKey(lat, lon), String(who), { picked, note, at });
    }
    shortlist = list;
  });
}

shortlistForm.addEventListener("submit", (event) => event.preventDefault());
shortlistForm.elements.who.addEventListener("change", () => {
  keep("who", cleanText(shortlistForm.elements.who.value, LONGEST_WHO));
  shortlist = claimOwnEntries(shortlist);
  updateTicks();
});
byId("picks-save").addEventListener("click", saveShortlist);
byId("picks-open").addEventListener("change", (event) => {
  const [file] = event.target.files;
  event.target.value = ""; // so that the same file can be opened again
  if (file) openShortlist(file);
});
