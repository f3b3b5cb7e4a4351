// The shortlist as data: who picked which spot, with a note and a time. Two lists join without a conflict: of
// one person's two words on one spot the later one holds, and the order in which lists are joined is all one.

const PICKS_FORMAT = "scout-shortlist";
const MOST_PICKS = 20000;
const LONGEST_WHO = 60;
const LONGEST_NOTE = 500;
// Times are compared as text and the next one follows the last: years of four digits, with room above.
const [FIRST_TIME, LAST_TIME] = [Date.UTC(1970, 0), Date.UTC(2200, 0)];

class NoShortlist extends Error {}

// Spots are told apart by where they are: ranks change when a map is made again.
function placeKey(lat, lon) {
  return decimalText(lon, lat);
}

// A list is a Map of place to a Map of person to { picked, note, at }.
function emptyList() {
  return new Map();
}

function later(one, other) {
  if (!one || !other) return one ?? other;
  if (one.at !== other.at) return one.at > other.at ? one : other;
  if (one.picked !== other.picked) return one.picked ? one : other;
  return one.note >= other.note ? one : other;
}

function setWord(list, key, who, word) {
  if (!list.has(key)) list.set(key, new Map());
  const words = list.get(key);
  words.set(who, later(words.get(who), word));
}

function joined(...lists) {
  const all = emptyList();
  for (const list of lists) {
    for (const [key, words] of list) {
      for (const [who, word] of words) setWord(all, key, who, word);
    }
  }
  return all;
}

// What one person said under one name goes on under another.
function renamed(list, from, to) {
  const all = emptyList();
  for (const [key, words] of list) {
    for (const [who, word] of words) setWord(all, key, who === from ? to : who, word);
  }
  return all;
}

// A time after every other of this word, even where a clock was wrong.
function timeAfter(word, now = new Date()) {
  const before = word ? Date.parse(word.at) + 1 : 0;
  return new Date(Math.max(now.getTime(), before)).toISOString();
}

// Who picked a spot, by name.
function pickers(list, key) {
  const words = [...(list.get(key) ?? [])].filter(([, word]) => word.picked);
  return words.sort(([a], [b]) => (a < b ? -1 : a > b ? 1 : 0));
}

function packList(list, title) {
  const picks = [];
  for (const [key, words] of list) {
    const [lat, lon] = key.split(", ").map(Number);
    for (const [who, word] of words) picks.push({ lat, lon, who, ...word });
  }
  return { format: PICKS_FORMAT, version: 1, map: title, picks };
}

function cleaned(text, longest) {
  const clean = String(text).replace(/[\p{Cc}\u2028\u2029]+/gu, " ").trim();
  return [...clean].slice(0, longest).join("");
}

function wordOf(pick, number) {
  const bad = (what) => new NoShortlist(`pick ${number + 1}: ${what}`);
  if (pick === null || typeof pick !== "object") throw bad("it is no pick");
  const { lat, lon, who, note = "", picked = true, at } = pick;
  const onGlobe = Number.isFinite(lat) && Number.isFinite(lon) && Math.abs(lat) <= 90 && Math.abs(lon) <= 180;
  if (!onGlobe) throw bad("it names no place");
  if (typeof who !== "string" || !cleaned(who, LONGEST_WHO)) throw bad("it does not say who picked");
  if (typeof note !== "string" || typeof picked !== "boolean") throw bad("its note or its tick is not one");
  const time = typeof at === "string" ? Date.parse(at) : NaN;
  if (!(time >= FIRST_TIME && time < LAST_TIME)) throw bad("its time is not one");
  const word = { picked, note: cleaned(note, LONGEST_NOTE), at: new Date(time).toISOString() };
  return [placeKey(lat, lon), cleaned(who, LONGEST_WHO), word];
}

// A list from the text of a file; NoShortlist says in a few words what is wrong with it.
function readList(text) {
  let file;
  try {
    file = JSON.parse(text);
  } catch {
    throw new NoShortlist("it is not JSON");
  }
  if (!file || file.format !== PICKS_FORMAT) throw new NoShortlist("it is not a shortlist of such a map");
  if (file.version !== 1) throw new NoShortlist("it was saved by a newer version");
  if (!Array.isArray(file.picks)) throw new NoShortlist("it holds no picks");
  if (file.picks.length > MOST_PICKS) throw new NoShortlist(`it holds over ${MOST_PICKS} picks`);
  const list = emptyList();
  file.picks.forEach((pick, number) => setWord(list, ...wordOf(pick, number)));
  return list;
}
