// Check a place: typed, pressed on the map, or where the device says it is. The address (#check=45.1,-89.2)
// holds what was asked, so that going back and reloading work; a device's position stays out of it.

const herePanel = byId("here");
const hereText = byId("here-text");
const hereNote = byId("here-note");
const hereAnswer = byId("here-answer");
const hereButton = byId("check-button");
const hereLayer = L.layerGroup().addTo(scout_map);
scout_map.createPane("check").classList.add("check-pane");
const hereShapes = L.svg({ pane: "check", padding: CANVAS_MARGIN });
const POSITION_WAIT_S = 30;
const CLOSE_ZOOM = 16;
let checking = false;
let pressed = false; // on the map: the place is in sight already

// What is asked: "" for the open panel, a text that names a place, or null for no check.
function checkInAddress() {
  const found = /^#check(?:=(.*))?$/.exec(window.location.hash);
  if (!found) return null;
  try {
    return decodeURIComponent(found[1] ?? "");
  } catch {
    return found[1];
  }
}

function openCheck(text = "") {
  if (!checking) cameFrom = document.activeElement;
  // From place to place the address is only replaced: one step back leaves the check.
  const step = checking ? "replaceState" : "pushState";
  window.history[step](null, "", text ? `#check=${encodeURIComponent(text)}` : "#check");
  follow();
}

// Bring the panel in line with the address.
function showCheck(text) {
  const before = checking;
  checking = text !== null;
  herePanel.hidden = !checking;
  hereButton.setAttribute("aria-expanded", String(checking));
  scout_map.getContainer().classList.toggle("checking", checking);
  coverList();
  if (checking) scout_map.closePopup();
  if (checking && measuring) setMeasuring(false);
  if (!checking || !text) clearCheck();
  if (!checking) return;
  if (text) checkText(text);
  else hereText.value = "";
  if (!before && cameFrom) byId("here-title").focus({ preventScroll: true });
}

function clearCheck() {
  hereLayer.clearLayers();
  hereAnswer.replaceChildren();
  byId("here-hint").hidden = false;
  tellHere("");
}

function tellHere(text) {
  hereNote.textContent = text;
  hereNote.hidden = !text;
}

function checkText(text) {
  clearCheck();
  hereText.value = text;
  const found = readPlace(text);
  hereText.setAttribute("aria-invalid", String(Boolean(found.refusal)));
  if (found.refusal) tellHere(`Not understood: ${found.refusal}.`);
  else answer(found, found.cell ? `The whole cell ${found.cell.locator}` : "Place checked");
}

function answer(asked, title) {
  const result = { ...judge(asked), stated: asked.stated };
  const story = answerOf(result, title);
  hereAnswer.replaceChildren(story);
  byId("here-hint").hidden = true;
  tellHere("");
  drawCheck(result);
  if (!roomy.matches) showAnswer();
  const held = result.verdict.parks.map((park) => park.name || park.id);
  say([title, result.verdict.locators.join(" "), claimText(result.verdict).join(" "), ...held].join(", "));
}

// On a small screen the answer takes the place of the form, which is a pull away.
function showAnswer() {
  const body = byId("here-body");
  body.scrollTop += hereAnswer.getBoundingClientRect().top - body.getBoundingClientRect().top;
  // Off the field, so that the keyboard on the screen goes.
  if (document.activeElement === hereText) hereAnswer.querySelector("h3").focus({ preventScroll: true });
}

// The place, the station's disc, the device's circle or the locator's cell.
function drawCheck({ lon, lat, cell, station, stated }) {
  // On the turn of the globe that the map shows.
  const x = lon + 360 * nearestWhole((findings.middle - lon) / 360);
  const plain = { renderer: hereShapes, interactive: false, className: "check-shape" };
  if (cell) {
    const west = cell.west + x - lon;
    const bounds = [[cell.south, west], [cell.south + cell.height, west + cell.width]];
    L.rectangle(bounds, { ...plain, className: "check-shape cell" }).addTo(hereLayer);
  } else {
    L.circle([lat, x], { ...plain, radius: station.radius }).addTo(hereLayer);
  }
  if (stated) {
    L.circle([lat, x], { ...plain, radius: stated, className: "check-shape stated" }).addTo(hereLayer);
  }
  if (Math.abs(lat) > findings.mapEdge) return;
  ornament([lat, x], checkIcon()).setZIndexOffset(4e6).addTo(hereLayer);
  if (!pressed) showOnMap([lat, x], cell, stated);
}

function checkIcon() {
  const mark = svg("svg", { viewBox: "-16 -16 32 32", "aria-hidden": "true" });
  const ways = "M0 -14V-5M0 14V5M-14 0H-5M14 0H5";
  for (const name of ["check-case", "check-ring"]) {
    mark.append(svg("circle", { class: name, r: 9 }), svg("path", { class: name, d: ways }));
  }
  return L.divIcon({ html: mark, className: "check-mark", iconSize: [32, 32] });
}

function showOnMap(at, cell, stated) {
  if (!cell && !stated) return centreOn({ at }, Math.max(scout_map.getZoom(), CLOSE_ZOOM));
  const shape = hereLayer.getLayers()[stated ? 1 : 0];
  scout_map.fitBounds(shape.getBounds(), {
    paddingTopLeft: [freeView().left + 30, 30],
    paddingBottomRight: [30, 30],
    maxZoom: 18,
    animate: false,
  });
}

function pressOnMap(at) {
  pressed = true;
  openCheck(decimalText(wrapLon(at.lng), at.lat));
  pressed = false;
}

function usePosition() {
  if (!navigator.geolocation || !window.isSecureContext) {
    tellHere(
      "A page opened this way gets no position from the browser. Save the file and open it in a browser, " +
        "or type the coordinates that your receiver shows.",
    );
    return;
  }
  byId("here-position").disabled = true;
  tellHere("Asking the device for its position.");
  const options = { enableHighAccuracy: true, maximumAge: 0, timeout: POSITION_WAIT_S * 1000 };
  navigator.geolocation.getCurrentPosition(positionFound, positionRefused, options);
}

function positionFound({ coords }) {
  byId("here-position").disabled = false;
  if (!checking) return;
  openCheck();
  const text = decimalText(coords.longitude, coords.latitude);
  hereText.value = text;
  const stated = coords.accuracy > 0 ? coords.accuracy : undefined;
  const fixError = stated && error95From68(stated);
  answer({ ...readPlace(text), fixError, stated }, "Your position");
}

function positionRefused({ code }) {
  byId("here-position").disabled = false;
  const why = {
    1: "The browser does not let this page see the position. Allow it for this page",
    2: "The device found no position. Try again under open sky",
    3: `The device found no position within ${POSITION_WAIT_S} s. Try again under open sky`,
  }[code];
  tellHere(`${why}, or type the coordinates that your receiver shows.`);
}

byId("here-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const text = hereText.value;
  openCheck(text);
  if (!text) checkText(text);
});
byId("here-position").addEventListener("click", usePosition);
byId("here-close").addEventListener("click", leave);
hereButton.addEventListener("click", () => (checking ? leave() : openCheck()));
