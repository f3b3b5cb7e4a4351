// Which spots are shown, in which order, and why the rest is not: by the fields above the list.

const filters = byId("filters");
const longestWalk = byId("longest-walk");

function lowFirst(value) {
  return (a, b) => (value(a) ?? Infinity) - (value(b) ?? Infinity) || 0; // no number minus no number is 0
}

// In every order but that of names, as in the ranking: what is in reach, near misses, what is out of reach.
function standing(spot) {
  return outOfReach(spot) ? 2 : spot.near ? 1 : 0;
}

function inReachFirst(order) {
  return (a, b) => standing(a) - standing(b) || order(a, b);
}

// What is plenty is alike: nobody stands better for lying deeper.
function clearanceToSort(spot) {
  return spot.plenty ? Infinity : spot.clearance;
}

const ORDERS = {
  rank: (a, b) => a.rank - b.rank,
  walk: inReachFirst(lowFirst((spot) => (isWalked(spot) ? spot.walk.out : undefined))),
  home: inReachFirst(lowFirst((spot) => spot.home)),
  clearance: inReachFirst((a, b) => clearanceToSort(b) - clearanceToSort(a) || 0),
  confidence: inReachFirst((a, b) => b.confidence - a.confidence),
  name: (a, b) => nameToSort(a).localeCompare(nameToSort(b), "en"),
};

function nameToSort(spot) {
  const [park] = spot.near ? [spot.near.park] : spot.parks;
  return park ? plain(park.name || park.id) : "\uffff";
}

// The walk's slider at its end lets everything pass.
function walkWanted(form) {
  if (!longestWalk) return null;
  const minutes = Number(form.get("walk"));
  return minutes >= Number(longestWalk.max) ? null : minutes;
}

function wishes() {
  const form = new FormData(filters);
  return {
    looks: new Set(form.getAll("look")),
    grids: Number(form.get("grids")),
    parks: Number(form.get("parks")),
    kind: form.get("kind"),
    walk: walkWanted(form),
    picked: form.has("picked"),
    missing: form.has("missing"),
    words: plain(form.get("words")).split(/\s+/).filter(Boolean),
  };
}

// Why a spot is hidden, the first reason of these, or null.
function hiddenBy(spot, wanted) {
  if (!wanted.looks.has(spot.look)) return "verdict";
  if (wanted.kind && spot.kind !== wanted.kind) return "kind";
  if (!spot.near && spot.grids < wanted.grids) return "grids";
  if (!spot.near && spot.held < wanted.parks) return "parks";
  if (wanted.walk !== null && !(isWalked(spot) && spot.walk.out <= wanted.walk)) return "walk";
  if (wanted.picked && !isPicked(spot)) return "shortlist";
  if (wanted.missing && !spot.missing?.[2]) return "what is done";
  if (!wanted.words.every((word) => searchText(spot).includes(word))) return "text";
  return null;
}

// Which spots are shown; tells how many and why the others are not.
function filterSpots() {
  const wanted = wishes();
  const hidden = new Map();
  for (const spot of spots) {
    const why = hiddenBy(spot, wanted);
    spot.shown = why === null;
    if (why) hidden.set(why, (hidden.get(why) ?? 0) + 1);
  }
  tellCount(hidden);
}

function tellCount(hidden) {
  const count = spots.filter((spot) => spot.shown).length;
  byId("count").textContent = `Showing ${count} of ${spots.length}`;
  byId("nothing").hidden = count > 0 || spots.length === 0;
  const reasons = [...hidden].map(([why, number]) => `${number} by ${why}`);
  byId("hidden-why").textContent = `Hidden: ${reasons.join(", ")}`;
  byId("hidden-box").hidden = !reasons.length;
  if (longestWalk) {
    const limit = wishes().walk;
    byId("longest-walk-text").textContent = limit === null ? "any" : spanText(limit);
  }
}

let inOrder = [...spots];

function orderSpots() {
  const order = ORDERS[new FormData(filters).get("order")];
  inOrder = [...spots].sort((a, b) => order(a, b) || a.rank - b.rank);
}

// Filters as the browser keeps them: of each field its value or its tick.
function keepFilters() {
  const fields = [...filters.elements].filter((field) => field.name);
  const ticks = fields.filter((field) => field.type === "checkbox");
  const values = fields.filter((field) => field.type !== "checkbox");
  keep("filters", {
    values: values.map((field) => [field.name, field.value]),
    ticks: ticks.map((field) => [field.name, field.value, field.checked]),
  });
}

function recallFilters() {
  recall("filters", ({ values, ticks }) => {
    const fields = [...filters.elements];
    for (const [name, value] of values) {
      const field = fields.find((each) => each.name === name && each.type !== "checkbox");
      const offered = !field?.options || [...field.options].some((option) => option.value === value);
      if (field && offered) field.value = value;
    }
    for (const [name, value, checked] of ticks) {
      const field = fields.find((each) => each.name === name && each.value === value);
      if (field) field.checked = checked;
    }
  });
}
