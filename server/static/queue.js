// The queue: forms that wait in this browser's database until the registry has
// said yes. An entry keeps the fields and the files' own bytes, a random key
// under which the registry records it once however often it is sent, when and
// on which page it was made, and what it is about.

import { say } from "./words.js";

const store = "entries";
const lockName = "asfound-send";
const stillMs = 60000; // a line that carries nothing for so long is given up
const answerMs = 180000; // a picture is looked at before it is answered for

let opened;

function database() {
  opened ||= new Promise((resolve, reject) => {
    const request = indexedDB.open("asfound", 1);
    request.onupgradeneeded = () => request.result.createObjectStore(store, { keyPath: "seq", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("blocked"));
  });
  opened.catch(() => { opened = undefined; });
  return opened;
}

// run does one thing in one transaction, and answers when it is on the disk.
async function run(mode, act) {
  const db = await database();
  return new Promise((resolve, reject) => {
    const transaction = db.transaction(store, mode, { durability: "strict" });
    const request = act(transaction.objectStore(store));
    transaction.oncomplete = () => resolve(request.result);
    transaction.onabort = () => reject(transaction.error);
    transaction.onerror = () => reject(transaction.error);
  });
}

export const all = () => run("readonly", (s) => s.getAll());
export const get = (seq) => run("readonly", (s) => s.get(seq));
export const remove = (seq) => run("readwrite", (s) => s.delete(seq));
// put keeps an entry: one with a seq in the place that it has, any other last.
export const put = (entry) => run("readwrite", (s) => s.put(entry));

// who is the account that this page was made for, "" without accounts.
export const who = () => document.documentElement.dataset.who || "";

// freshKey has 128 random bits.
export function freshKey() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}

// about names what an entry is about, "" when nothing has to wait for it.
export const about = (entry) => entry.thing && entry.machine + " " + entry.thing;

// held are the entries that wait for a refused one before them.
export function held(list) {
  const refused = new Set(), out = new Set();
  for (const entry of list) {
    if (!about(entry)) continue;
    if (entry.state === "refused") refused.add(about(entry));
    else if (refused.has(about(entry))) out.add(entry.seq);
  }
  return out;
}

function bodyOf(entry, withVersion) {
  const body = entry.multipart ? new FormData() : new URLSearchParams();
  for (const [name, value] of entry.fields) {
    if (name === "key" || name === "version" && !withVersion) continue;
    if (value instanceof Blob) body.append(name, value, value.name);
    else body.append(name, value);
  }
  body.append("key", entry.key);
  return body;
}

// post sends one entry. The answer is {yes, to}, {refused, status, why} or
// {later: why}; only the registry's own "recorded" is a yes.
function post(entry, withVersion, progress) {
  return new Promise((resolve) => {
    const x = new XMLHttpRequest();
    let clock;
    const within = (ms) => {
      clearTimeout(clock);
      clock = setTimeout(() => { x.abort(); resolve({ later: say("stalled") }); }, ms);
    };
    x.open("POST", entry.action);
    x.setRequestHeader("Idempotency-Key", entry.key);
    x.setRequestHeader("Accept", "application/json, text/html;q=0.9");
    x.upload.onprogress = (e) => { within(stillMs); if (e.lengthComputable) progress(e.loaded / e.total); };
    x.upload.onload = () => within(answerMs);
    x.onerror = () => { clearTimeout(clock); resolve({ later: say("noSignal") }); };
    x.onload = () => { clearTimeout(clock); resolve(answerOf(x)); };
    within(stillMs);
    x.send(bodyOf(entry, withVersion));
  });
}

function answerOf(x) {
  if (x.status === 201) {
    try {
      const to = JSON.parse(x.responseText).to;
      if (typeof to === "string") return { yes: true, to };
    } catch { /* it is not the registry that answered */ }
  }
  if (x.status >= 500 || x.status === 408 || x.status === 429) return { later: say("busy") };
  if (x.status < 400 || x.status === 401 || x.status === 403 || !x.getResponseHeader("X-Request-Id")) return { later: say("noYes") };
  return { refused: true, status: x.status, why: refusalOf(x.responseText) };
}

// refusalOf finds the registry's own words in the page with which it refused.
function refusalOf(html) {
  const page = new DOMParser().parseFromString(html, "text/html");
  const found = page.querySelectorAll("#summary li, #summary p");
  const list = found.length ? found : page.querySelectorAll("#differ > p:first-of-type, main .lead, main .lead + p");
  const words = Array.from(list, (n) => n.textContent.trim()).filter(Boolean);
  return words.length ? words : [say("noReason")];
}

const locked = (options, act) => navigator.locks.request(lockName, options, act);

// sendAll sends what waits, in order, once each, one page at a time. What
// cannot be sent now stops it; what is refused stays, and holds what is about
// the same thing. It answers {sent: [entry…], later: why or ""}.
export function sendAll(tell, { wait = false } = {}) {
  return locked({ ifAvailable: !wait }, async (lock) => {
    const out = { sent: [], later: "" };
    if (!lock) return out;
    const tried = new Set();
    for (;;) {
      const list = await all();
      const hold = held(list);
      // What somebody else made on this phone waits until they sign in again.
      const ready = list.filter((e) => e.state !== "refused" && (e.who || "") === who() && !hold.has(e.seq) && !tried.has(e.seq));
      if (!ready.length) return out;
      const n = out.sent.length + ready.length;
      const answer = await sendOne(ready[0], false, (part) => tell(out.sent.length + 1, n, part));
      tried.add(ready[0].seq);
      if (answer.later) return { ...out, later: answer.later };
      if (answer.yes) out.sent.push(ready[0]);
    }
  });
}

// sendFirst sends one entry as the form that it was a moment ago: a refusal is
// not noted, because the form itself is still there to show it.
export const sendFirst = (entry, tell) => locked({}, async () => {
  const list = await all();
  if (list.some((e) => e.seq < entry.seq && e.state !== "refused")) return { later: "" };
  return sendOne(entry, true, (part) => tell(1, 1, part));
});

async function sendOne(entry, first, progress) {
  progress(0);
  const answer = await post(entry, first && !entry.copied, progress);
  if (answer.yes) {
    await remove(entry.seq);
  } else if (answer.refused && !first) {
    await put({ ...entry, state: "refused", status: answer.status, why: answer.why });
  } else if (answer.later) {
    await put({ ...entry, tries: entry.tries + 1, why: [answer.later] });
  }
  return answer;
}
