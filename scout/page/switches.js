// What the key can switch on and off. The online background is the only thing that ever asks the network.

const layers = {
  parks: [parkAreas],
  "park-names": [parkNames],
  lattice: [latticeLines],
  stretches: [stretches],
  corners: [corners],
  misses: [misses],
  home: [homeLayer],
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
boxes.forEach((box) => box.addEventListener("change", () => applySwitch(box)));
byId("background").addEventListener("change", (event) => applyBackground(event.target));
