// A place to check; a card, a pack and files of the spots that were found.

import { byId, make, putMade, wrong } from "./pieces.js";
import { current } from "./search.js";
import { made, work } from "./talk.js";
import { settings } from "./wish.js";
import { onPhone, openOnMap, see } from "./stage.js";
import { visitAt } from "./visits.js";

const FORMATS = [[".gpx", "GPX"], [".kml", "KML"], [".kmz", "KMZ"], [".csv", "Table (CSV)"], [".geojson", "GeoJSON"], [".gpkg", "GeoPackage"]];
let spots = [];
let checkedPlace = "";

const field = (form, name) => byId(form).elements.namedItem(name);
const placeText = (spot) => `${spot.lat.toFixed(6)}, ${spot.lon.toFixed(6)}`;

export function prepareDay() {
  byId("check-form").addEventListener("submit", (event) => {
    event.preventDefault();
    check(field("check-form", "place").value);
  });
  byId("check-on-map").addEventListener("click", () => {
    see("spots");
    onPhone(true);
    openOnMap(`#check=${checkedPlace}`);
  });
  byId("day").addEventListener("submit", (event) => event.preventDefault());
  field("day", "spot").addEventListener("input", () => {
    const spot = chosen();
    tell(spot);
    if (spot) openOnMap(`#spot=${spot.rank}`);
  });
  byId("card").addEventListener("click", () => ask("card", (given) => `Card of spot ${given.spot}`));
  byId("pack").addEventListener("click", () => ask("pack", (given) => `Pack of ${given.spots}`));
  byId("check-spot").addEventListener("click", () => {
    const spot = chosen();
    if (!spot) return wrong("wrong-day", "Choose a spot first.");
    byId("step-check").open = true;
    field("check-form", "place").value = placeText(spot);
    check(placeText(spot));
    return byId("step-check").scrollIntoView({ block: "nearest" });
  });
  byId("visit-spot").addEventListener("click", () => {
    const spot = chosen();
    if (!spot) wrong("wrong-day", "Choose a spot first.");
    else visitAt(placeText(spot), field("day", "call").value, field("day", "date").value);
  });
  byId("formats").append(
    ...FORMATS.map(([suffix, words]) => make("button", { type: "button", click: () => save(suffix, words) }, words)),
  );
}

export function chosen() {
  const rank = Number(field("day", "spot").value);
  return spots.find((spot) => spot.rank === rank) ?? null;
}

// After a search: the spots to choose from.
export function foundSpots(found, spot) {
  spots = found.spots;
  byId("day").hidden = !spots.length;
  byId("day-first").hidden = spots.length > 0;
  byId("check-on-map").disabled = !checkedPlace;
  field("day", "spot").value = spot?.rank ?? "";
  byId("got-day").replaceChildren();
  byId("got-saved").replaceChildren();
  tell(spot);
}

// Chosen on the map.
export function choose(rank) {
  field("day", "spot").value = rank;
  if (!field("day", "spots").value.trim()) field("day", "spots").placeholder = String(rank);
  tell(chosen());
}

function tell(spot) {
  const place = byId("spot-said");
  wrong("wrong-day");
  byId("day-said").textContent = spot ? `spot ${spot.rank}` : spots.length ? "choose a spot" : "after a search";
  if (!spot) {
    place.textContent = spots.length ? "Choose a spot in the list, on the map, or by its number." : "";
    return;
  }
  const where = spot.near ? "a near miss: nothing counts there" : `${spot.verdict}, in ${spot.names.join(", ")}`;
  place.replaceChildren(
    make("b", {}, `Spot ${spot.rank}`),
    `: ${spot.kind.replace("-", " ")}, ${where}; ${spot.locators.join(" ")} at ${placeText(spot)}`,
    ...spot.warnings.map((text) => make("span", { class: "wrong" }, ` Warning: ${text}`)),
  );
}

async function ask(job, label) {
  wrong("wrong-day");
  const given = Object.fromEntries(new FormData(byId("day")));
  given.spots = given.spots.trim() || given.spot;
  if (!given.spot && job === "card") return wrong("wrong-day", "Choose a spot first.");
  if (!given.spots && job === "pack") return wrong("wrong-day", "Say which spots, such as 1 3 5-7.");
  if (!Number.isInteger(Number(given.spot))) return wrong("wrong-day", "The number of a spot is a whole number.");
  try {
    const { made: name } = await work(job, { ...given, list: current().made, settings: settings() });
    putMade("got-day", label(given), made(name));
  } catch (error) {
    wrong("wrong-day", error.message);
  }
  return undefined;
}

async function save(suffix, words) {
  wrong("wrong-day");
  try {
    const { made: name } = await work("save", { suffix, list: current().made });
    putMade("got-saved", `All spots, ${words}`, made(name));
  } catch (error) {
    wrong("wrong-day", error.message);
  }
}

async function check(place) {
  wrong("wrong-check", "", field("check-form", "place"));
  try {
    const found = await work("check", { place, settings: settings() });
    if (found) show(found);
  } catch (error) {
    wrong("wrong-check", error.message, field("check-form", "place"));
  }
}

function show(found) {
  const [first, verdict, ...rest] = found.words;
  checkedPlace = `${found.lat.toFixed(7)},${found.lon.toFixed(7)}`;
  byId("check-on-map").disabled = byId("see-spots").disabled;
  byId("checked").replaceChildren(
    make(
      "div",
      { class: "answer" },
      make("p", { class: "facts" }, first),
      make("p", { class: "word" }, verdict.trim()),
      make("ul", {}, ...rest.map((line) => make("li", {}, line.trim().replace(/ {2,}/g, "; ")))),
      ...found.closing.map((line) => make("p", { class: "cautious" }, line)),
    ),
  );
}
