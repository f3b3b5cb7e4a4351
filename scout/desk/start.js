// The desk comes together.

import { byId, make, wrong } from "./pieces.js";
import { desk, enter, left, onWaiting, stillHere, stopDesk, work } from "./talk.js";
import { fieldOf, onChange, onLoad, prepareWish, setHome, take } from "./wish.js";
import { prepareStage, setLevel } from "./stage.js";
import { prepareFiles, understand } from "./files.js";
import { halt, isSought, prepareSearch, search, searchAgain, searching } from "./search.js";
import { choose, chosen, foundSpots, prepareDay } from "./day.js";
import { anyUnsaved, prepareVisits } from "./visits.js";

const CALL_MS = 60_000; // an open window says so
const READING = ["id-column", "name-column", "crs", "corridor", "pieces", "layer", "strict"];
let read = "";

const stateOf = (field) => (field.type === "checkbox" ? field.checked : field.value);
const readingNow = () => JSON.stringify(READING.map((key) => stateOf(fieldOf(key))));

async function settingsChanged() {
  setLevel(fieldOf("level").value);
  if (readingNow() !== read) {
    read = readingNow();
    await understand();
  } else if (!isSought()) await searchAgain();
}

async function demo() {
  wrong("wrong-parks");
  byId("demo").disabled = true;
  try {
    await take(await work("demo"));
    await search(true);
  } catch (error) {
    wrong("wrong-parks", error.message);
  }
  byId("demo").disabled = false;
}

async function stop() {
  if (anyUnsaved() && !window.confirm("Visits of this window are not saved. Stop the desk all the same?")) return;
  await stopDesk();
  closed("The desk is stopped. This window can be closed.");
}

function closed(text) {
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
    closed(error.message);
    document.documentElement.classList.add("ready");
    return;
  }
  document.body.classList.remove("closed");
  byId("cautions").append(...found.cautions.map((text) => make("li", {}, text)));
  prepareStage({ home: setHome, spot: choose });
  prepareWish();
  read = readingNow();
  prepareFiles(halt, searchAgain);
  prepareSearch({ found: foundSpots, spot: chosen });
  prepareDay();
  onChange(settingsChanged);
  onLoad(async () => {
    read = readingNow();
    setLevel(fieldOf("level").value);
    await understand();
  });
  onWaiting((waiting) => {
    const words = searching() ? "What you asked for comes after the search; cancel it to have it now." : "Working ...";
    byId("waiting").textContent = waiting ? words : "";
    byId("cancel").disabled = !waiting && !searching();
  });
  byId("demo").addEventListener("click", demo);
  byId("stop-desk").addEventListener("click", stop);
  window.addEventListener("pagehide", left);
  const calling = setInterval(async () => {
    try {
      await stillHere();
    } catch (error) {
      clearInterval(calling);
      closed(error.message);
    }
  }, CALL_MS);
  await prepareVisits();
  if (Object.keys(desk.window.sizes).length) await understand();
  document.documentElement.classList.add("ready");
}

begin();
