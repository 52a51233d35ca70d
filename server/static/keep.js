// Keeping the pages of a machine on this phone, with the pictures on them, so
// that they open with no signal. Only what a person asked for is kept, and the
// registry names which pages those are.

import { say, timeWords } from "./words.js";

export const cacheName = "asfound-kept";
const about = "/kept/"; // what is known of a kept machine, under its id

export async function keptMachines() {
  if (!("caches" in window)) return [];
  const cache = await caches.open(cacheName);
  const out = [];
  for (const request of await cache.keys()) {
    if (new URL(request.url).pathname.startsWith(about)) out.push(await (await cache.match(request)).json());
  }
  return out.sort((a, b) => a.name.localeCompare(b.name));
}

// removeMachine forgets the pages and pictures of a machine.
export async function removeMachine(machine) {
  const cache = await caches.open(cacheName);
  for (const request of await cache.keys()) {
    const path = new URL(request.url).pathname;
    if (path === about + machine || path === "/machines/" + machine || path.startsWith("/machines/" + machine + "/")) await cache.delete(request);
  }
}

const picturesOn = (page) => Array.from(page.querySelectorAll("main img, main input[type=image], main image"), (n) => n.getAttribute("src") || n.getAttribute("href"))
  .filter((at) => at?.startsWith("/machines/"));

async function fetched(at) {
  const response = await fetch(at, { cache: "no-store" });
  if (!response.ok || response.redirected) throw new Error(String(response.status));
  return response;
}

async function keepMachine(address, tell) {
  const list = await (await fetched(address)).json();
  const cache = await caches.open(cacheName);
  const at = new Date().toISOString();
  const pages = [], pictures = new Set();
  let missed = 0;
  for (const [i, page] of list.pages.entries()) {
    tell(say("keeping", i + 1, list.pages.length));
    try {
      const response = await fetched(page);
      const html = await response.text();
      const headers = new Headers(response.headers);
      headers.set("X-Kept-At", at);
      await cache.put(page, new Response(html, { headers }));
      const read = new DOMParser().parseFromString(html, "text/html");
      pages.push({ at: page, title: read.querySelector("main h1")?.textContent.trim() || read.title });
      for (const picture of picturesOn(read)) pictures.add(picture);
    } catch (error) {
      if (error.name === "QuotaExceededError" || error instanceof TypeError) throw error;
      missed++;
    }
  }
  for (const picture of pictures) {
    if (!await cache.match(picture)) await cache.put(picture, await fetched(picture)).catch(() => { missed++; });
  }
  const kept = { machine: list.machine, name: list.name, at, pages, missed };
  await cache.put(about + list.machine, new Response(JSON.stringify(kept), { headers: { "Content-Type": "application/json" } }));
  return kept;
}

const keptWords = (kept) => say(kept.missed ? "keptSome" : "kept", timeWords(kept.at), kept.pages.length, kept.missed);

// keepable puts the button into its place on a page, and what it says beside it.
export async function keepable(place, buttons) {
  if (!("caches" in window) || !navigator.serviceWorker) return;
  const line = document.createElement("p");
  line.className = "hint";
  line.setAttribute("role", "status");
  const machine = place.dataset.list.split("/")[2];
  const old = (await keptMachines()).find((k) => k.machine === machine);
  if (old) line.textContent = keptWords(old);
  const act = async () => {
    try {
      await navigator.serviceWorker.ready;
      const kept = await keepMachine(place.dataset.list, (text) => { line.textContent = text; });
      line.textContent = keptWords(kept);
    } catch (error) {
      line.textContent = say("keepFailed", say(error.name === "QuotaExceededError" ? "noRoomPages" : "noSignal"));
    }
  };
  place.append(buttons([[say(old ? "keepAgain" : "keep"), act]]), line);
}
