// The map that folium makes, once the list can be seen and used; the panel that explains it.

import { byId, makeElement } from "./elements.js";
import "./show_list.js"; // first: it waits until the list is seen
import { pause } from "./pauses.js";

const library = makeElement("script", "", byId("leaflet").textContent);
document.head.append(library); // which runs it
library.remove();
await pause();

// A reader who asked for less motion gets none.
export const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
const motion = { zoomAnimation: !still, fadeAnimation: !still, markerZoomAnimation: !still, inertia: !still };

export const { scoutMap, backgroundTiles } = makeMap(motion);
export const mapKey = byId("key");
