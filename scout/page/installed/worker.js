// Keeps the files of one map on the device, all or none, and answers from there. VERSION and FILES (of each name its
// type and its digest) stand above; a new pack has another version, and its files replace the old ones.

const PREFIX = `scout map ${self.registration.scope} `; // other maps of the same web space keep theirs
const CACHE_NAME = PREFIX + VERSION;

// A file with exactly the bytes of this pack; one that was only half put on the web space is refused.
async function fetchFile(name) {
  const [type, digest] = FILES[name];
  const found = await fetch(new Request(name, { integrity: digest, cache: "reload" }));
  if (!found.ok) throw new Error(`${name}: the web space answers ${found.status}`);
  // Made anew, for an answer that came by a redirection is refused where a page is opened.
  return new Response(await found.arrayBuffer(), { headers: { "Content-Type": type } });
}

async function store() {
  const names = Object.keys(FILES);
  const answers = await Promise.all(names.map(fetchFile));
  const cache = await caches.open(CACHE_NAME);
  await Promise.all(names.map((name, k) => cache.put(name, answers[k])));
}

async function dropOlder() {
  const kept = await caches.keys();
  await Promise.all(kept.filter((name) => name.startsWith(PREFIX) && name !== CACHE_NAME).map((name) => caches.delete(name)));
}

// Which of our files an address means, whatever its query; none for what is not ours.
function findName(address) {
  const [scope, wanted] = [new URL(self.registration.scope), new URL(address)];
  if (wanted.origin !== scope.origin || !wanted.pathname.startsWith(scope.pathname)) return null;
  const name = wanted.pathname.slice(scope.pathname.length) || "index.html";
  return Object.hasOwn(FILES, name) ? name : null;
}

async function answerFrom(name, request) {
  const cache = await caches.open(CACHE_NAME);
  return (await cache.match(name)) ?? fetch(request);
}

self.addEventListener("install", (event) => event.waitUntil(store().then(() => self.skipWaiting())));
self.addEventListener("activate", (event) => event.waitUntil(dropOlder().then(() => self.clients.claim())));
self.addEventListener("fetch", (event) => {
  const name = event.request.method === "GET" ? findName(event.request.url) : null;
  if (name !== null) event.respondWith(answerFrom(name, event.request));
});
