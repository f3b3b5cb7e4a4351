// Why a text is no place, in one line that says how to write it; the bounds every place must keep.

const HOW_TO_WRITE = 'write 45.123, -89.456 or 45 30.5 N 89 15.2 W, or a locator such as EN55';

export class Refusal extends Error {
  constructor(what, remedy = HOW_TO_WRITE) {
    super(`${what}; ${remedy}`);
  }
}

export function checkPlace(lat, lon, lettered = false) {
  if (Math.abs(lat) > 90) {
    const swapped = Math.abs(lon) <= 90 && Math.abs(lat) <= 180 && !lettered;
    throw new Refusal(
      `latitude ${lat} is over 90`,
      swapped ? `latitude comes first: write ${lon}, ${lat}` : "latitude runs from 90 S to 90 N",
    );
  }
  if (Math.abs(lon) > 180) throw new Refusal(`longitude ${lon} is over 180`, "longitude runs from -180 to 180");
  return { lon: lon === 180 ? -180 : lon + 0, lat: lat + 0 };
}
