// Places judged: one that was typed, those of a file, and where a recording was made.

import { byId, make, makeTable, formatCount, putLink, showError } from "./elements.js";
import { desk, getOutputPath, runJob, sendFiles } from "./requests.js";
import { readSettings } from "./settings.js";
import { showMapsOnPhone, openOnMap, showMap } from "./maps.js";
import { getFileField, takeFiles } from "./files.js";
import { startVisit } from "./visits.js";

let checkedPlace = "";
let checkedText = ""; // as it was typed, to be judged again by other settings
let arrival = null;

const getCheckField = () => byId("check-form").elements.namedItem("place");
const getRecording = () => (desk.window.roles.recording ?? [])[0];

export function preparePlaces() {
  byId("check-form").addEventListener("submit", (event) => {
    event.preventDefault();
    checkPlace(getCheckField().value);
  });
  byId("check-on-map").addEventListener("click", () => {
    showMap("spots");
    showMapsOnPhone(true);
    openOnMap(`#check=${checkedPlace}`);
  });
  takeFiles(getFileField("places"), checkFile);
  takeFiles(getFileField("recording"), async (files) => {
    showError("wrong-recording", await sendFiles(files.slice(0, 1), "recording"));
    if (getRecording()) await judgeRecording();
  });
  byId("arrive-form").addEventListener("submit", (event) => {
    event.preventDefault();
    judgeRecording();
  });
  byId("visit-recording").addEventListener("click", () => {
    const call = byId("arrive-form").elements.namedItem("call").value;
    startVisit({ place: arrival.place, call, recording: arrival.file, dated: arrival.dated });
  });
  byId("arrive").disabled = !getRecording();
}

async function checkPlace(place) {
  showError("wrong-check", "", getCheckField());
  try {
    const found = await runJob("check", { place, settings: readSettings() });
    if (!found) return;
    checkedText = place;
    checkedPlace = `${found.answer.lat.toFixed(7)},${found.answer.lon.toFixed(7)}`;
    offerCheckOnMap();
    byId("checked").replaceChildren(makeAnswer(found.answer, found.closing));
  } catch (error) {
    showError("wrong-check", error.message, getCheckField());
  }
}

export function openCheckOf(place) {
  byId("step-check").open = true;
  getCheckField().value = place;
  checkPlace(place);
  byId("step-check").scrollIntoView({ block: "nearest" });
}

export function offerCheckOnMap() {
  byId("check-on-map").disabled = !checkedPlace || byId("see-spots").disabled;
}

// What was judged, by the settings as they are now.
export async function judgeAgain() {
  if (checkedText) await checkPlace(checkedText);
  if (arrival) await judgeRecording();
}

async function checkFile(files) {
  showError("wrong-places", await sendFiles(files.slice(0, 1), "places"));
  const [file] = desk.window.roles.places ?? [];
  if (byId("wrong-places").textContent || !file) return;
  try {
    const found = await runJob("check", { file, settings: readSettings() });
    if (!found) return;
    const heads = ["place", "verdict", "confidence", "grids", "parks"];
    const names = (row) => row.parks.filter((park) => park.look !== "uncounted").map((park) => park.name || park.id);
    const cells = (row) => [row.title, row.word, row.confidence, row.locators.join(" "), names(row).join(", ")];
    const more = found.count - found.rows.length;
    const rest = more > 0 ? make("p", { class: "hint" }, `and ${formatCount(more, "place")} more, on the map`) : null;
    byId("places").replaceChildren(makeTable(heads, found.rows.map(cells)), ...(rest ? [rest] : []));
    putLink("got-places", `Map of ${formatCount(found.count, "place")}`, getOutputPath(found.made));
  } catch (error) {
    showError("wrong-places", error.message);
  }
}

async function judgeRecording() {
  showError("wrong-recording");
  const sheet = Object.fromEntries(new FormData(byId("arrive-form")));
  byId("arrive").disabled = false;
  try {
    const found = await runJob("arrive", { ...sheet, file: getRecording(), settings: readSettings() });
    if (!found) return;
    arrival = found;
    byId("visit-recording").disabled = false;
    putLink("got-arrive", "Arrival sheet", getOutputPath(found.made));
    byId("arrived").replaceChildren(
      makeAnswer(found.answer, found.closing, [
        make("h4", {}, "The recording"),
        ...found.notes.map((note) => make("p", { class: "warned" }, note)),
        makeTerms(found.facts),
      ]),
    );
  } catch (error) {
    showError("wrong-recording", error.message);
  }
}

// An answer in the order of the map's: what it comes to, what holds it down, the parks, the lines, the place.
// A better place stands before all of it.
function makeAnswer(answer, closing, extra = []) {
  const better = answer.better
    ? make(
        "div",
        { class: "better" },
        make("p", { class: "better-step" }, `Better: ${answer.better.step}`),
        makeClaim(answer.better),
        makeCounts(answer.better),
        make("p", { class: "buttons" }, make("button", { type: "button", click: () => openCheckOf(answer.better.place) }, "Check that place")),
      )
    : null;
  const driver = answer.driver ? make("p", {}, `What holds it down: ${answer.driver}.`) : null;
  return make(
    "div",
    { class: "answer" },
    better,
    make("h3", { class: "answer-title" }, answer.title, " ", make("span", { class: "locators" }, answer.locators.join(" ") || "no one grid")),
    makeClaim(answer),
    makeCounts(answer),
    driver,
    ...answer.notes.map((note) => make("p", { class: "warned" }, note)),
    make("h4", {}, "Parks near"),
    answer.parks.length ? make("ul", { class: "near-parks" }, ...answer.parks.map(makePark)) : make("p", {}, "None."),
    make("h4", {}, "Grid lines near"),
    makeTerms(answer.lines),
    make("h4", {}, "Coordinates"),
    makeTerms(answer.coordinates),
    ...extra,
    make("h4", {}, "What it rests on"),
    make("p", {}, answer.rests),
    make("h4", {}, "Cautions"),
    make("ul", { class: "cautious" }, ...closing.map((line) => make("li", {}, line))),
  );
}

const makeClaim = ({ look, word, confidence }) =>
  make("p", { class: `claim ${look}` }, make("span", { class: "sign", "aria-hidden": "true" }), make("strong", { class: "word" }, word), ` confidence ${confidence}`);

const makeCounts = ({ counts }) =>
  make("ul", { class: "figures" }, ...counts.map(([count, word]) => make("li", {}, make("b", {}, count.toLocaleString("en")), ` ${word}`)));

function makePark(park) {
  const sure = make("span", { class: `sure ${park.look}` }, make("strong", {}, park.word), ` ${park.p}`);
  const name = make("span", {}, make("bdi", {}, park.name || park.id), park.name ? make("span", { class: "facts" }, " ", make("bdi", {}, park.id)) : null);
  const warning = park.warning ? make("p", { class: "warned" }, park.warning) : null;
  return make("li", {}, make("div", { class: "near-park" }, name, sure), make("p", { class: "facts" }, park.where), warning);
}

const makeTerms = (rows) => make("dl", { class: "terms" }, ...rows.flatMap(([term, ...text]) => [make("dt", {}, term), make("dd", {}, text.join("  "))]));
