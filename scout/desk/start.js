// The desk comes together.

import { byId, make, showError } from "./elements.js";
import { desk, enter, leave, onWaiting, keepAlive, stopDesk, runJob } from "./requests.js";
import { getField, onChange, onLoad, prepareSettings, setHome, takeSettings } from "./settings.js";
import { leaveDoors, openDoors, prepareMaps, setLevel } from "./maps.js";
import { hasParks, prepareFiles, previewFiles, takeFiles } from "./files.js";
import { halt, isSought, openList, prepareSearch, search, searchAgain, isSearching, welcomeFiles } from "./search.js";
import { chooseSpot, getChosenSpot, offerSpots, prepareDay } from "./day.js";
import { judgeAgain, preparePlaces } from "./places.js";
import { prepareBesides } from "./besides.js";
import { prepareTrip } from "./trip.js";
import { prepareView } from "./view.js";
import { hasUnsaved, prepareVisits } from "./visits.js";

const CALL_MS = 60_000; // an open window says so
const READING = ["id-column", "name-column", "crs", "corridor", "pieces", "where", "profile", "same-ground", "layer", "forests", "strict"];
let read = "";

const getState = (field) => (field.type === "checkbox" ? field.checked : field.value);
const describeReading = () => JSON.stringify(READING.map((key) => getState(getField(key))));

async function followSettings() {
  setLevel(getField("level").value);
  if (describeReading() !== read) {
    read = describeReading();
    await previewFiles();
  } else if (!isSought()) await searchAgain();
  await judgeAgain();
}

async function openDemo() {
  showError("wrong-doors");
  byId("demo").disabled = true;
  try {
    const found = await runJob("demo");
    leaveDoors();
    await takeSettings(found);
    await search(true);
  } catch (error) {
    showError("wrong-doors", error.message);
  }
  byId("demo").disabled = false;
}

async function stop() {
  if (hasUnsaved() && !window.confirm("Visits of this window are not saved. Stop the desk all the same?")) return;
  await stopDesk();
  showClosed("The desk is stopped. This window can be closed.");
}

function showClosed(text) {
  document.body.classList.add("closed");
  const place = byId("no-key");
  place.hidden = false;
  place.textContent = text;
}

async function begin() {
  let found;
  try {
    found = await enter();
  } catch (error) {
    showClosed(error.message);
    document.documentElement.classList.add("ready");
    return;
  }
  document.body.classList.remove("closed");
  byId("cautions").append(...found.cautions.map((text) => make("li", {}, text)));
  prepareMaps({ home: setHome, spot: chooseSpot });
  prepareSettings();
  read = describeReading();
  prepareFiles(halt, async () => {
    if (hasParks()) welcomeFiles();
    await searchAgain();
  });
  prepareSearch({ found: offerSpots, spot: getChosenSpot });
  prepareDay();
  preparePlaces();
  prepareBesides();
  prepareTrip();
  prepareView();
  onChange(followSettings);
  onLoad(async () => {
    leaveDoors();
    read = describeReading();
    setLevel(getField("level").value);
    await previewFiles();
  });
  onWaiting((waiting) => {
    const words = isSearching() ? "What you asked for comes after the search; cancel it to have it now." : "Working ...";
    byId("waiting").textContent = waiting ? words : "";
    byId("cancel").disabled = !waiting && !isSearching();
  });
  byId("demo").addEventListener("click", openDemo);
  takeFiles(byId("open-list"), (files) => openList(files, "wrong-list"));
  takeFiles(byId("door-list"), async (files) => {
    if (!(await openList(files, "wrong-doors"))) return;
    leaveDoors();
    byId("step-day").open = true;
  });
  byId("stop-desk").addEventListener("click", stop);
  window.addEventListener("pagehide", leave);
  const calling = setInterval(async () => {
    try {
      await keepAlive();
    } catch (error) {
      clearInterval(calling);
      showClosed(error.message);
    }
  }, CALL_MS);
  await prepareVisits();
  if (Object.keys(desk.window.sizes).length) await previewFiles();
  else if (!desk.window.book || desk.window.onDisk) openDoors();
  document.documentElement.classList.add("ready");
}

begin();
