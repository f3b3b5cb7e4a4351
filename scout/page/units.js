// Metres or feet: what the maker of the map chose, until the reader chooses otherwise.

import { findings } from "./findings.js";
import { byId } from "./elements.js";
import { keep, recall } from "./storage.js";
import { LENGTH_FORMS, lengthUnits, setLengthUnits } from "./wording.js";

const unitsField = byId("units");
const rewordings = [];

// Register what must be worded again when the reader changes the units; what is drawn to scale stays.
export function onUnitsChange(reword) {
  rewordings.push(reword);
}

// The lengths that stand in the page as it was written.
function rewordDocument() {
  for (const node of document.querySelectorAll("[data-metres]")) {
    node.textContent = LENGTH_FORMS[node.dataset.form](Number(node.dataset.metres));
  }
}

setLengthUnits(findings.units);
recall("units", setLengthUnits);
unitsField.value = lengthUnits; // a browser may have kept the field's last value
if (lengthUnits !== findings.units) rewordDocument();

unitsField.addEventListener("change", () => {
  setLengthUnits(unitsField.value);
  keep("units", lengthUnits);
  rewordDocument();
  rewordings.forEach((reword) => reword());
});
