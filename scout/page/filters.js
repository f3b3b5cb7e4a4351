// The fields above the list: which spots are shown, in which order, and why the rest is not.

import { byId } from "./elements.js";
import { keep, recall } from "./storage.js";
import { formatDuration } from "./wording.js";
import { foldText, spots } from "./spots.js";
import { isPicked } from "./shortlist_panel.js";
import { ORDERS, findHidingReason } from "./filter_rules.js";

export const filters = byId("filters");
const longestWalk = byId("longest-walk");

// The walk's slider at its end lets everything pass.
function readLongestWalk(form) {
  if (!longestWalk) return null;
  const minutes = Number(form.get("walk"));
  return minutes >= Number(longestWalk.max) ? null : minutes;
}

export function readFilters() {
  const form = new FormData(filters);
  return {
    looks: new Set(form.getAll("look")),
    grids: Number(form.get("grids")),
    parks: Number(form.get("parks")),
    kind: form.get("kind"),
    walk: readLongestWalk(form),
    picked: form.has("picked") ? isPicked : null,
    missing: form.has("missing"),
    words: foldText(form.get("words")).split(/\s+/).filter(Boolean),
  };
}

// Which spots are shown; tells how many and why the others are not.
export function filterSpots() {
  const wanted = readFilters();
  const hidden = new Map();
  for (const spot of spots) {
    const why = findHidingReason(spot, wanted);
    spot.shown = why === null;
    if (why) hidden.set(why, (hidden.get(why) ?? 0) + 1);
  }
  showCount(hidden);
}

function showCount(hidden) {
  const count = spots.filter((spot) => spot.shown).length;
  byId("count").textContent = `Places found: ${count < spots.length ? `${count} of ${spots.length}` : count}`;
  byId("nothing").hidden = count > 0 || spots.length === 0;
  const reasons = [...hidden].map(([why, number]) => `${number} by ${why}`);
  byId("hidden-why").textContent = `Hidden: ${reasons.join(", ")}`;
  byId("hidden-box").hidden = !reasons.length;
  if (longestWalk) {
    const limit = readFilters().walk;
    byId("longest-walk-text").textContent = limit === null ? "any" : formatDuration(limit);
  }
}

export let inOrder = [...spots];

export function orderSpots() {
  const order = ORDERS[new FormData(filters).get("order")];
  inOrder = [...spots].sort((a, b) => order(a, b) || a.rank - b.rank);
}

// Filters as the browser keeps them: of each field its value or its tick.
export function keepFilters() {
  const fields = [...filters.elements].filter((field) => field.name);
  const ticks = fields.filter((field) => field.type === "checkbox");
  const values = fields.filter((field) => field.type !== "checkbox");
  keep("filters", {
    values: values.map((field) => [field.name, field.value]),
    ticks: ticks.map((field) => [field.name, field.value, field.checked]),
  });
}

export function recallFilters() {
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
