// Moments in which the browser does its own work.

// For whatever the reader has done meanwhile.
export function pause() {
  return new Promise((resolve) => window.setTimeout(resolve));
}

// For the browser to show what was made; a page in the background draws no frame and goes on all the same.
export function awaitFrame() {
  return new Promise((resolve) => {
    window.requestAnimationFrame(() => window.setTimeout(resolve));
    window.setTimeout(resolve, 250);
  });
}
