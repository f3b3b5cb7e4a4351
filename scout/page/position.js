// The device's position: asked for once or followed, and what to say and do where a page gets none.

const POSITION_WAIT_S = 30;
const OPTIONS = { enableHighAccuracy: true, maximumAge: 0, timeout: POSITION_WAIT_S * 1000 };

// A page opened from a disk, or handed over by a file or mail program.
const fromFile = !/^https?:$/.test(window.location.protocol);

export const FILE_ADVICE = fromFile
  ? "This map was opened from a file, and most phones give a file no position, whatever you allow. Put the map on a web " +
    "space as a site (scout pack --web writes it) and open it there; or read the coordinates in a compass or GPS app and " +
    "type them into “Check a place”."
  : "";

const UNABLE =
  "A page opened this way gets no position from the browser. Save the file and open it in a browser, " +
  "or type the coordinates that your receiver shows.";

function addAdvice(text) {
  return FILE_ADVICE ? `${text} ${FILE_ADVICE}` : text;
}

function wordFailure({ code }) {
  const why = {
    1: "The browser does not let this page see the position. Allow it for this page",
    2: "The device found no position. Try again under open sky",
    3: `The device found no position within ${POSITION_WAIT_S} s. Try again under open sky`,
  }[code];
  return addAdvice(`${why}, or type the coordinates that your receiver shows.`);
}

function canAsk(refuse) {
  if (navigator.geolocation && window.isSecureContext) return true;
  refuse(addAdvice(UNABLE));
  return false;
}

// `take` gets the browser's position, or `refuse` why there is none, in words.
export function askPosition(take, refuse) {
  if (!canAsk(refuse)) return;
  navigator.geolocation.getCurrentPosition(take, (error) => refuse(wordFailure(error)), OPTIONS);
}

// The same for every position from now on. Gives what ends it; `refuse` may be called again and again.
export function followPosition(take, refuse) {
  if (!canAsk(refuse)) return null;
  const number = navigator.geolocation.watchPosition(take, (error) => refuse(wordFailure(error)), OPTIONS);
  const screen = keepScreenOn();
  return () => {
    navigator.geolocation.clearWatch(number);
    screen.release();
  };
}

export let screenKept = false; // whether it stays on while a position is followed

export function wordScreen() {
  return screenKept ? "The screen stays on." : "This browser does not keep the screen on: touch it now and then.";
}

// A screen that goes dark ends the watching on most phones. Browsers let the lock go with the page out of sight.
function keepScreenOn() {
  let [wanted, lock] = [true, null];
  const ask = async () => {
    try {
      const got = await navigator.wakeLock.request("screen");
      if (!wanted) return void got.release();
      lock = got;
      screenKept = true;
    } catch {
      screenKept = false;
    }
  };
  const askAgain = () => {
    if (document.visibilityState === "visible") ask();
  };
  document.addEventListener("visibilitychange", askAgain);
  ask();
  return {
    release() {
      wanted = false;
      screenKept = false;
      document.removeEventListener("visibilitychange", askAgain);
      lock?.release();
    },
  };
}
