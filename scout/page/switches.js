// What the key can switch on and off. The online background is the only thing that ever asks the network.

const layers = {
  parks: [parkAreas],
  "park-names": [parkNames],
  lattice: [latticeLines],
  stretches: [stretches],
  corners: [corners],
  misses: [misses],
  home: [homeLayer],
  walks: [walkLayer],
  cars: [carLayer],
  barriers: [groundLayers.barriers],
  closed: [groundLayers.closed],
  power: [groundLayers.power],
};

function applySwitch(box) {
  layers[box.value].forEach((layer) => put(layer, scout_map, box.checked));
  if (box.value === "lattice") drawLattice();
  if (box.value === "park-names") drawParkNames();
}

function note(text) {
  const line = byId("background-note");
  line.textContent = text;
  line.hidden = !text;
}

function applyBackground(box) {
  if (box.checked && navigator.onLine === false) {
    box.checked = false;
    note("This device is offline: the background stays off.");
    return;
  }
  put(background_tiles, scout_map, box.checked);
  scout_map.getContainer().classList.toggle("on-tiles", box.checked);
  note("");
  repaint();
}

background_tiles.on("tileerror", () => {
  note(
    "Some background pictures did not arrive: no network, or the server refuses pages opened from a disk. " +
      "Everything else works without them.",
  );
});

const boxes = [...document.querySelectorAll("#key input[name=layer]")];
boxes.forEach((box) => box.addEventListener("change", () => {
  applySwitch(box);
  keepView();
}));

// The view and the switches are as the reader left them.
function keepView() {
  if (viewBefore) return; // on its way to paper
  const { lat, lng } = scout_map.getCenter();
  keep("view", { at: [lat, lng], zoom: scout_map.getZoom(), off: boxes.filter((b) => !b.checked).map((b) => b.value) });
}

function recallView() {
  recall("view", ({ at, zoom, off }) => {
    for (const box of boxes) box.checked = !off.includes(box.value);
    if ([...at, zoom].every(Number.isFinite)) scout_map.setView(at, zoom, { animate: false });
  });
}

byId("background").addEventListener("change", (event) => applyBackground(event.target));
