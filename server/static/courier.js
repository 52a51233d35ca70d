// The courier, on every page but the owner's: it says what waits on this phone,
// keeps a form when the registry cannot be reached, and sends what was kept.
// Without it, and wherever it cannot work, the forms are sent as they are.

import { say, ageWords, timeWords } from "./words.js";
import * as queue from "./queue.js";
import { shown, hidden, formLike, fill } from "./fields.js";
import { keepable } from "./keep.js";

const bar = document.getElementById("courier");
const line = document.getElementById("courier-says");
const day = 86400000;
const againMs = 30000;

let last = ""; // what happened last, said before what waits
const others = "BroadcastChannel" in window ? new BroadcastChannel("asfound") : null;

// announce tells the other parts of this page, and the other pages.
function announce() {
  document.dispatchEvent(new Event("asfound-changed"));
  others?.postMessage("changed");
}

function speak(text) {
  if (line.textContent !== text) line.textContent = text;
}

export function buttons(list) {
  const p = document.createElement("p");
  p.className = "buttons";
  for (const [text, act, kind] of list) {
    const b = document.createElement(typeof act === "string" ? "a" : "button");
    if (typeof act === "string") { b.href = act; b.className = "button " + (kind || "quiet"); }
    else { b.type = "button"; b.className = kind || "quiet"; b.addEventListener("click", act); }
    b.textContent = text;
    p.append(b);
  }
  return p;
}

// show says how many wait and of how old, how many were refused, and what
// happened last.
async function show() {
  const list = await queue.all();
  const refused = list.filter((e) => e.state === "refused").length;
  const waiting = list.filter((e) => e.state !== "refused");
  const parts = last ? [last] : [];
  let level = refused ? "warn" : "";
  if (waiting.length) {
    const age = Date.now() - Math.min(...waiting.map((e) => e.at));
    parts.push(waiting.length === 1 ? say("waitsOne", ageWords(age)) : say("waitsMany", waiting.length, ageWords(age)));
    if (age > 5 * day) { level = "loud"; parts.push(say("loud")); }
    else if (age > day) { level = "warn"; parts.push(say("warn")); }
  }
  if (refused) parts.push(say(refused === 1 ? "refusedOne" : "refusedMany", refused));
  if (document.documentElement.dataset.kept) parts.unshift(say("copy", timeWords(document.documentElement.dataset.kept)));
  speak(parts.join(" "));
  bar.className = "courier" + (parts.length ? " on " + level : "");
  bar.querySelector(".buttons")?.remove();
  if (list.length) {
    const acts = waiting.length ? [[say("sendNow"), () => send({ wait: true }), "send"]] : [];
    if (location.pathname !== "/waiting") acts.push([say("seeWaiting"), "/waiting"]);
    if (acts.length) bar.append(buttons(acts));
  }
}

// progress is told in steps of ten per cent: it is read out too.
function progress(i, n, part) {
  bar.classList.add("on");
  speak(say("sending", i, n, 10 * Math.floor(part * 10)));
}

let again;

// send sends what waits, and tries again by itself while the page is seen.
export async function send(options = {}) {
  clearTimeout(again);
  if (!(await queue.all()).some((e) => e.state !== "refused")) return show();
  const out = await queue.sendAll(progress, options);
  last = "";
  if (out.sent.length === 1) last = say("sentOne", out.sent[0].title);
  else if (out.sent.length) last = say("sentMany", out.sent.length);
  if (out.later) {
    last = [last, say("later", out.later)].filter(Boolean).join(" ");
    again = setTimeout(() => { if (!document.hidden) send(); }, againMs);
  }
  await show();
  announce();
}

function entryOf(form, submitter) {
  const data = new FormData(form, submitter);
  const machine = location.pathname.match(/^\/machines\/([^/]+)/)?.[1] || "";
  const copied = Boolean(document.documentElement.dataset.kept);
  const field = form.elements.namedItem("key");
  // A page that was kept, or shown again by the browser, brings a key that may
  // have been used: two steps from one page are two entries.
  if (field && (!field.value || copied || form.dataset.used === field.value)) field.value = queue.freshKey();
  if (field) form.dataset.used = field.value;
  const title = document.querySelector("h1")?.textContent.trim() || document.title;
  return {
    who: queue.who(), key: field?.value || queue.freshKey(), at: Date.now(), action: form.getAttribute("action"), kind: form.dataset.keep, thing: form.dataset.thing ?? form.getAttribute("action"),
    page: form.dataset.page || location.pathname + location.search, machine, title, button: submitter?.textContent.trim() || title, name: document.querySelector(".tag-name")?.textContent.trim() || "", copied, tries: 0, state: "waiting", why: [],
    multipart: form.enctype === "multipart/form-data",
    fields: Array.from(data).filter(([, v]) => !(v instanceof File && !v.name && !v.size)),
    shown: shown(form), hidden: hidden(form).map(([name]) => name),
  };
}

// pass lets the browser send the form itself.
function pass(form, submitter) {
  form.dataset.passing = "yes";
  form.requestSubmit(submitter);
  delete form.dataset.passing;
}

// leaving is asked for when something waits, and drops the pages that were kept:
// whoever signs in next on this phone must not read them.
async function leaving(event) {
  const form = event.target;
  if (form.getAttribute("action") !== "/sign-out" || form.dataset.passing) return;
  event.preventDefault();
  const waits = (await queue.all()).length;
  if (waits && !confirm(say("leaving", waits))) return;
  await caches.delete("asfound-kept");
  pass(form, event.submitter);
}

async function submitted(event) {
  const form = event.target, submitter = event.submitter;
  if (!form.dataset.keep || form.dataset.passing || event.defaultPrevented) return;
  if (submitter?.hasAttribute("formaction") && submitter.getAttribute("formaction") !== form.getAttribute("action")) return;
  event.preventDefault();
  if (form.dataset.busy) return;
  form.dataset.busy = "yes";
  try {
    await keepForm(form, submitter);
  } finally {
    delete form.dataset.busy;
  }
}

async function keepForm(form, submitter) {
  const entry = entryOf(form, submitter);
  if (form.dataset.replaces) entry.seq = Number(form.dataset.replaces);
  try {
    entry.seq = await queue.put(entry);
  } catch (error) {
    last = say(error?.name === "QuotaExceededError" ? "noRoom" : "noStore");
    speak(last);
    bar.className = "courier on warn";
    return pass(form, submitter);
  }
  navigator.storage?.persist?.();
  const answer = navigator.onLine ? await queue.sendFirst(entry, progress) : { later: say("noSignal") };
  if (answer.yes) {
    announce();
    return location.assign(answer.to);
  }
  if (answer.refused) {
    await queue.remove(entry.seq); // the form is still here, and says why
    return pass(form, submitter);
  }
  if (form.dataset.next && entry.copied && submitter?.value !== "stay") return location.assign(form.dataset.next);
  last = say("stored", entry.title);
  await show();
  announce();
  if (navigator.onLine) again = setTimeout(() => send(), answer.later ? againMs : 0);
  delete form.dataset.replaces;
  form.reset(); // last: an empty form takes the next entry
}

// fillIn shows an entry that waits in the form that it came from.
async function fillIn() {
  const seq = Number(location.hash.match(/^#waiting=(\d+)$/)?.[1]);
  const entry = seq && await queue.get(seq);
  const form = entry && formLike(document, entry);
  if (!form) return;
  fill(form, entry);
  form.dataset.replaces = seq;
  const note = document.createElement("p");
  note.className = "notice";
  note.textContent = say("filled");
  form.before(note);
  note.scrollIntoView();
}

async function begin() {
  if (!window.isSecureContext || !("locks" in navigator)) {
    if (document.querySelector("form[data-keep]")) {
      bar.className = "courier on";
      speak(say("atOnce"));
    }
    return;
  }
  document.addEventListener("submit", submitted);
  document.addEventListener("submit", leaving);
  navigator.serviceWorker?.register("/worker.js").catch(() => {});
  try {
    await queue.all();
  } catch {
    if (document.querySelector("form[data-keep]")) {
      bar.className = "courier on warn";
      speak(say("noStore"));
    }
    return;
  }
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  window.addEventListener("online", () => send());
  others?.addEventListener("message", () => { show(); document.dispatchEvent(new Event("asfound-changed")); });
  document.addEventListener("asfound-shown", show);
  for (const place of document.querySelectorAll(".keepable")) keepable(place, buttons);
  await fillIn();
  await show();
  if (document.getElementById("waiting") || document.getElementById("kept")) {
    const { list } = await import("./waiting.js");
    list({ buttons, send, announce });
  }
  if (navigator.onLine) await send();
}

begin();
