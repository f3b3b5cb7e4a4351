// The shortlist as data: who picked which spot, with a note and a time. Two lists join without a conflict: of
// one person's two words on one spot the later one holds, and the order in which lists are joined is all one.

import { formatDecimal } from "./wording.js";

const PICKS_FORMAT = "scout-shortlist";
const MOST_PICKS = 20000;
export const LONGEST_WHO = 60;
export const LONGEST_NOTE = 500;
// Times are compared as text and the next one follows the last: years of four digits, with room above.
const [FIRST_TIME, LAST_TIME] = [Date.UTC(1970, 0), Date.UTC(2200, 0)];

export class ShortlistError extends Error {}

// Spots are told apart by where they are: ranks change when a map is made again.
export function makePlaceKey(lat, lon) {
  return formatDecimal(lon, lat);
}

// A list is a Map of place to a Map of person to { picked, note, at }.
export function makeShortlist() {
  return new Map();
}

function pickLater(one, other) {
  if (!one || !other) return one ?? other;
  if (one.at !== other.at) return one.at > other.at ? one : other;
  if (one.picked !== other.picked) return one.picked ? one : other;
  return one.note >= other.note ? one : other;
}

export function setEntry(list, key, who, word) {
  if (!list.has(key)) list.set(key, new Map());
  const words = list.get(key);
  words.set(who, pickLater(words.get(who), word));
}

export function joinShortlists(...lists) {
  const all = makeShortlist();
  for (const list of lists) {
    for (const [key, words] of list) {
      for (const [who, word] of words) setEntry(all, key, who, word);
    }
  }
  return all;
}

// What one person said under one name goes on under another.
export function renamePerson(list, from, to) {
  const all = makeShortlist();
  for (const [key, words] of list) {
    for (const [who, word] of words) setEntry(all, key, who === from ? to : who, word);
  }
  return all;
}

// A time after every other of this word, even where a clock was wrong.
export function makeTimeAfter(word, now = new Date()) {
  const before = word ? Date.parse(word.at) + 1 : 0;
  return new Date(Math.max(now.getTime(), before)).toISOString();
}

// Who picked a spot, by name.
export function findPickers(list, key) {
  const words = [...(list.get(key) ?? [])].filter(([, word]) => word.picked);
  return words.sort(([a], [b]) => (a < b ? -1 : a > b ? 1 : 0));
}

export function packShortlist(list, title) {
  const picks = [];
  for (const [key, words] of list) {
    const [lat, lon] = key.split(", ").map(Number);
    for (const [who, word] of words) picks.push({ lat, lon, who, ...word });
  }
  return { format: PICKS_FORMAT, version: 1, map: title, picks };
}

export function cleanText(text, longest) {
  const clean = String(text).replace(/[\p{Cc}\u2028\u2029]+/gu, " ").trim();
  return [...clean].slice(0, longest).join("");
}

function readEntry(pick, number) {
  const bad = (what) => new ShortlistError(`pick ${number + 1}: ${what}`);
  if (pick === null || typeof pick !== "object") throw bad("it is no pick");
  const { lat, lon, who, note = "", picked = true, at } = pick;
  const onGlobe = Number.isFinite(lat) && Number.isFinite(lon) && Math.abs(lat) <= 90 && Math.abs(lon) <= 180;
  if (!onGlobe) throw bad("it names no place");
  if (typeof who !== "string" || !cleanText(who, LONGEST_WHO)) throw bad("it does not say who picked");
  if (typeof note !== "string" || typeof picked !== "boolean") throw bad("its note or its tick is not one");
  const time = typeof at === "string" ? Date.parse(at) : NaN;
  if (!(time >= FIRST_TIME && time < LAST_TIME)) throw bad("its time is not one");
  const word = { picked, note: cleanText(note, LONGEST_NOTE), at: new Date(time).toISOString() };
  return [makePlaceKey(lat, lon), cleanText(who, LONGEST_WHO), word];
}

// A list from the text of a file; NoShortlist says in a few words what is wrong with it.
export function readShortlist(text) {
  let file;
  try {
    file = JSON.parse(text);
  } catch {
    throw new ShortlistError("it is not JSON");
  }
  if (!file || file.format !== PICKS_FORMAT) throw new ShortlistError("it is not a shortlist of such a map");
  if (file.version !== 1) throw new ShortlistError("it was saved by a newer version");
  if (!Array.isArray(file.picks)) throw new ShortlistError("it holds no picks");
  if (file.picks.length > MOST_PICKS) throw new ShortlistError(`it holds over ${MOST_PICKS} picks`);
  const list = makeShortlist();
  file.picks.forEach((pick, number) => setEntry(list, ...readEntry(pick, number)));
  return list;
}
