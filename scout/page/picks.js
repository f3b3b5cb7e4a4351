// The shortlist on the page: ticks, notes, the reader's name, files out and in. The reader's own words stand
// under an empty name until a file needs one.

const MINE = "";
const picksForm = byId("picks");
let shortlist = emptyList();

function keyOf(spot) {
  return placeKey(spot.lat, spot.lon);
}

function myWord(spot) {
  return shortlist.get(keyOf(spot))?.get(MINE);
}

function isPicked(spot) {
  return pickers(shortlist, keyOf(spot)).length > 0;
}

function othersOf(spot) {
  return pickers(shortlist, keyOf(spot)).filter(([who]) => who !== MINE);
}

function sayMine(spot, change) {
  const before = myWord(spot);
  const word = { picked: false, note: "", ...before, ...change, at: timeAfter(before) };
  setWord(shortlist, keyOf(spot), MINE, word);
  keepPicks();
  showPick(spot);
  if (filters.elements.picked.checked) applyList();
}

function keepPicks() {
  const kept = keep("picks", packList(shortlist, findings.title));
  if (!kept) tellPicks("This browser keeps nothing for this page: save the shortlist before you close it.");
  const count = spots.filter(isPicked).length;
  byId("picks-count").textContent = `Shortlist: ${count ? countText(count, "spot") : "empty"}`;
}

function pickTick(spot) {
  const label = element("label", "pick");
  const box = element("input");
  box.type = "checkbox";
  box.checked = Boolean(myWord(spot)?.picked);
  box.setAttribute("aria-label", `On my shortlist: spot ${spot.rank}`);
  box.addEventListener("change", () => sayMine(spot, { picked: box.checked }));
  const names = element("span", "pick-names");
  names.append(...namesOf(spot));
  label.append(box);
  const both = document.createDocumentFragment();
  both.append(label, names);
  return both;
}

function namesOf(spot) {
  const others = othersOf(spot);
  if (!others.length) return [];
  return ["picked by ", ...others.flatMap(([who], k) => [k ? ", " : "", bdi(who)])];
}

// Bring a spot's row, and its story where that is open, in line with the shortlist.
function showPick(spot) {
  if (spot.row) {
    spot.row.querySelector(".pick input").checked = Boolean(myWord(spot)?.picked);
    spot.row.querySelector(".pick-names").replaceChildren(...namesOf(spot));
  }
  if (spot !== chosen) return;
  const box = panelBody.querySelector(".picks-here");
  if (box && !box.contains(document.activeElement)) box.replaceWith(pickBox(spot));
}

function pickStory(spot) {
  return [heading("Shortlist"), pickBox(spot)];
}

function pickBox(spot) {
  const box = element("div", "picks-here");
  const tick = element("label", "tick");
  const input = element("input");
  input.type = "checkbox";
  input.checked = Boolean(myWord(spot)?.picked);
  input.addEventListener("change", () => sayMine(spot, { picked: input.checked }));
  tick.append(input, "on my shortlist");
  const note = element("label", "pick-note");
  const text = element("textarea");
  text.rows = 2;
  text.maxLength = LONGEST_NOTE;
  text.value = myWord(spot)?.note ?? "";
  // A note is a reason to remember the spot: it ticks it.
  text.addEventListener("change", () => {
    input.checked = input.checked || Boolean(text.value.trim());
    sayMine(spot, { note: cleaned(text.value, LONGEST_NOTE), picked: input.checked });
  });
  note.append("My note", text);
  box.append(tick, note);
  const others = othersOf(spot);
  if (others.length) {
    box.append(bullets(others.map(([who, word]) => [bdi(who), word.note ? ": " : "", bdi(word.note)])));
  }
  return box;
}

function tellPicks(text) {
  byId("picks-note").textContent = text;
}

function savePicks() {
  const who = cleaned(picksForm.elements.who.value, LONGEST_WHO);
  if (!who) {
    tellPicks("Write your name first, so that others see who picked.");
    picksForm.elements.who.focus();
    return;
  }
  const file = packList(renamed(shortlist, MINE, who), findings.title);
  const link = element("a");
  link.href = URL.createObjectURL(new Blob([JSON.stringify(file, null, 1)], { type: "application/json" }));
  link.download = "shortlist.json";
  link.click();
  window.setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  tellPicks("Saved as shortlist.json. Who has this map can open it there.");
}

async function openPicks(file) {
  if (file.size > 5e6) return tellPicks(`Not opened, ${file.name}: it is too large to be a shortlist.`);
  try {
    const theirs = readList(await file.text());
    const here = new Set(spots.map(keyOf));
    const known = [...theirs.keys()].filter((key) => here.has(key)).length;
    shortlist = joined(shortlist, asMine(theirs));
    showPicks();
    const away = theirs.size - known;
    const others = away ? `; ${countText(away, "other")} this map does not hold` : "";
    tellPicks(`Joined ${file.name}: it speaks of ${countText(known, "spot")}${others}.`);
  } catch (error) {
    if (!(error instanceof NoShortlist)) throw error;
    tellPicks(`Not opened, ${file.name}: ${error.message}.`);
  }
}

// What the reader said under the own name, on another device perhaps, is the reader's own word.
function asMine(list) {
  const who = cleaned(picksForm.elements.who.value, LONGEST_WHO);
  return who ? renamed(list, who, MINE) : list;
}

function showPicks() {
  keepPicks();
  spots.forEach(showPick);
  if (filters.elements.picked.checked) applyList();
}

function recallPicks() {
  recall("who", (who) => {
    picksForm.elements.who.value = cleaned(who, LONGEST_WHO);
  });
  recall("picks", ({ picks }) => {
    const list = emptyList();
    for (const { lat, lon, who, picked, note, at } of picks) {
      setWord(list, placeKey(lat, lon), String(who), { picked, note, at });
    }
    shortlist = list;
  });
}

picksForm.addEventListener("submit", (event) => event.preventDefault());
picksForm.elements.who.addEventListener("change", () => {
  keep("who", cleaned(picksForm.elements.who.value, LONGEST_WHO));
  shortlist = asMine(shortlist);
  showPicks();
});
byId("picks-save").addEventListener("click", savePicks);
byId("picks-open").addEventListener("change", (event) => {
  const [file] = event.target.files;
  event.target.value = ""; // so that the same file can be opened again
  if (file) openPicks(file);
});
