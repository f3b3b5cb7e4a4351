// A map on a web space (`scout pack --web`): kept on the device, so that it opens without coverage. A page of one
// file has nothing to keep and no such line.

import { byId } from "./elements.js";

const storedLine = byId("stored");

function noteStored(text) {
  storedLine.textContent = text;
  storedLine.hidden = false;
}

async function keepSite() {
  if (!window.isSecureContext || !navigator.serviceWorker) {
    noteStored("Not stored on this device: that takes an address with https, and a window that is not private.");
    return;
  }
  const workers = navigator.serviceWorker;
  const before = workers.controller;
  let isOld = false;
  workers.addEventListener("controllerchange", () => {
    isOld = Boolean(before);
    if (isOld) noteStored("A newer version of this map has been stored. Load the page again to see it.");
  });
  try {
    const registration = await workers.register("worker.js");
    const coming = registration.installing;
    coming?.addEventListener("statechange", () => {
      if (coming.state === "redundant" && !registration.active) noteFailure();
    });
    await workers.ready;
    if (!isOld) noteStored("Stored on this device: this map opens without coverage.");
  } catch {
    if (!before) noteFailure();
  }
}

function noteFailure() {
  noteStored("Not stored on this device: a file of this map is missing on the web space, or was changed there.");
}

if (storedLine) keepSite();
