// The worker that stands between the pages and the line. The server writes
// before this: build, which changes with the program, and shell, the files and
// pages that are kept from the start. Pages come from the line first. What is
// posted, owners' pages, programs' answers and downloads never pass through.

const shellName = "asfound-shell-" + build;
const keptName = "asfound-kept"; // by keep.js; it outlives a new build
const patienceMs = 6000; // then a kept copy is shown, if there is one

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(shellName).then((cache) => cache.addAll(shell)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith("asfound-shell-") && name !== shellName) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

const isOurs = (path) => !/^\/(o|api|import)(\/|$)/.test(path) && !/\.(pdf|zip|json)$/.test(path);

self.addEventListener("fetch", (event) => {
  const request = event.request, at = new URL(request.url);
  if (request.method !== "GET" || at.origin !== self.location.origin || !isOurs(at.pathname)) return;
  if (at.pathname.startsWith("/static/")) event.respondWith(fromShell(request));
  else if (request.mode === "navigate") event.respondWith(page(request));
  else if (request.destination === "image") event.respondWith(picture(request));
});

async function fromShell(request) {
  const cache = await caches.open(shellName);
  const exact = await cache.match(request);
  if (exact) return exact;
  // A page that was kept under an older build names files that are gone.
  return fetch(request).catch(async () => await cache.match(request, { ignoreSearch: true }) || Response.error());
}

async function picture(request) {
  const kept = await (await caches.open(keptName)).match(request);
  return kept || fetch(request);
}

// copyOf finds the kept copy of a page: at its very address, or without the note
// of what was just recorded, or without who is at work. Nothing else of an
// address may differ, or a form would be about another thing.
async function copyOf(kept, request) {
  const at = new URL(request.url);
  let copy = await kept.match(request);
  for (const names of [["recorded", "saved"], ["by"]]) {
    for (const name of names) at.searchParams.delete(name);
    copy ||= await kept.match(at.href);
  }
  return copy;
}

async function page(request) {
  const kept = await caches.open(keptName);
  const copy = await copyOf(kept, request);
  const live = fetch(request).then(async (response) => {
    if (response.ok && !response.redirected && await kept.match(request)) await refresh(kept, request, response.clone());
    return response;
  });
  live.catch(() => {});
  try {
    if (!copy) return await live;
    const late = new Promise((resolve) => setTimeout(resolve, patienceMs));
    return await Promise.race([live, late]) || marked(copy);
  } catch {
    if (copy) return marked(copy);
    const cache = await caches.open(shellName);
    return await cache.match(new URL(request.url).pathname) || await cache.match("/offline") || Response.error();
  }
}

// refresh puts a newer copy in the place of a kept one.
async function refresh(kept, request, response) {
  const headers = new Headers(response.headers);
  headers.set("X-Kept-At", new Date().toISOString());
  await kept.put(request, new Response(await response.text(), { headers })).catch(() => {});
}

// marked is a kept page that says of itself since when it was kept.
async function marked(copy) {
  const at = copy.headers.get("X-Kept-At");
  const html = await copy.text();
  return new Response(html.replace("<html ", `<html data-kept="${at}" `), { headers: copy.headers });
}
