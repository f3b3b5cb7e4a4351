// What an antenna sees from a place, or on the line to another: in words here, with pictures beside the plan.

import { byId, make, putLink, showError } from "./elements.js";
import { desk, getOutputPath, runJob } from "./requests.js";
import { readFieldsOf, readSettings } from "./settings.js";
import { showMapsOnPhone, showMap, showView } from "./maps.js";
import { formatSpotPlace, getChosenSpot } from "./day.js";

const OF_THE_SEARCH = ["antenna-height", "towards"]; // where they are not said here, they are as for the search

export function prepareView() {
  byId("view-form").addEventListener("submit", (event) => {
    event.preventDefault();
    lookAround();
  });
  byId("view-spot").addEventListener("click", () => {
    const spot = getChosenSpot();
    if (!spot) return showError("wrong-view", "Choose a spot first.");
    byId("view-form").elements.namedItem("place").value = formatSpotPlace(spot);
    return lookAround();
  });
}

async function lookAround() {
  showError("wrong-view");
  if (!(desk.window.roles.heights ?? []).length) return showError("wrong-view", "Bring heights first, in The ground.");
  const given = readFieldsOf("view-form");
  const settings = readSettings();
  for (const key of OF_THE_SEARCH) {
    if (given[key] !== undefined) settings.options[key] = given[key];
    delete given[key];
  }
  try {
    const found = await runJob("view", { ...given, settings });
    if (found) showAnswer(found);
  } catch (error) {
    showError("wrong-view", error.message);
  }
  return undefined;
}

function showAnswer({ head, lines, made }) {
  const see = () => {
    showMap("view");
    showMapsOnPhone(true);
  };
  byId("viewed").replaceChildren(
    make(
      "div",
      { class: "answer" },
      make("p", {}, make("strong", {}, head)),
      ...lines.map((line) => make("p", {}, line)),
      make("p", { class: "buttons" }, make("button", { type: "button", click: see }, "See the pictures")),
    ),
  );
  putLink("got-view", "Pictures and tables", getOutputPath(made));
  showView(getOutputPath(made));
}
