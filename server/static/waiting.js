// The list of what waits on this phone: each entry can be looked at, sent,
// mended and deleted, and what the registry refused is laid beside what its
// record says now.

import { say, ageWords, timeWords, sizeWords } from "./words.js";
import * as queue from "./queue.js";
import { shown, hidden, formLike } from "./fields.js";
import { keptMachines, removeMachine } from "./keep.js";

function element(name, attributes = {}, ...children) {
  const e = document.createElement(name);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  e.append(...children);
  return e;
}

export function list(courier) {
  const waiting = document.getElementById("waiting"), kept = document.getElementById("kept");
  const redraw = async () => {
    if (waiting) await drawWaiting(waiting, courier, redraw);
    if (kept) await drawKept(kept, courier, redraw);
  };
  document.addEventListener("asfound-changed", redraw);
  redraw();
}

// drawWaiting leaves an entry that is as it was in its place, with what has been
// opened in it.
async function drawWaiting(place, courier, redraw) {
  const entries = await queue.all();
  const held = queue.held(entries);
  const before = new Map(Array.from(place.children, (a) => [a.dataset.as, a]));
  const now = entries.map((e) => {
    const as = JSON.stringify([e.seq, e.key, e.state, e.why, held.has(e.seq)]);
    const a = before.get(as) || article(e, held.has(e.seq), courier, redraw);
    a.dataset.as = as;
    return a;
  });
  place.replaceChildren(...(now.length ? now : [element("p", {}, say("nothingWaits"))]));
}

function article(entry, isHeld, courier, redraw) {
  const state = entry.state === "refused" ? "refused" : isHeld ? "held" : "waiting";
  const mark = { refused: "gone", held: "near", waiting: "open" }[state];
  const out = element("article", { class: "panel entry", id: "entry-" + entry.seq, "aria-labelledby": "title-" + entry.seq },
    element("h2", { id: "title-" + entry.seq }, entry.title),
    element("p", {}, element("span", { class: "mark " + mark }, say("state_" + state)), " ",
      element("span", { class: "hint" }, entry.name ? say("madeOn", entry.button, entry.name, ageWords(Date.now() - entry.at)) : say("made", entry.button, ageWords(Date.now() - entry.at)))));
  if (entry.why.length) {
    if (state === "refused") out.append(element("h3", {}, say("why")));
    out.append(element("ul", { class: "why" }, ...entry.why.map((w) => element("li", {}, w))));
  }
  out.append(element("details", { id: "says-" + entry.seq }, element("summary", {}, say("show")), fieldsOf(entry)));
  const acts = state === "waiting" ? [[say("retry"), () => courier.send({ wait: true }), "send"]] : [];
  if (state !== "refused") acts.push([say("remove1"), () => sure(out, entry, courier, redraw)]);
  else acts.push([say("compare"), () => compare(out, entry, courier, redraw), "send"], [say("edit"), entry.page.split("#")[0] + "#waiting=" + entry.seq], [say("theirs"), () => sure(out, entry, courier, redraw)]);
  out.append(courier.buttons(acts), element("div", { class: "beside" }));
  return out;
}

const files = (entry) => entry.fields.filter(([, v]) => v instanceof Blob);

function fieldsOf(entry) {
  const facts = element("dl", { class: "facts check" }, element("div", {}, element("dt", {}, say("recorded")), element("dd", {}, timeWords(entry.at))));
  for (const f of entry.shown) {
    if (f.text) facts.append(element("div", {}, element("dt", {}, f.label), element("dd", { class: "typed" }, f.text)));
  }
  for (const [, file] of files(entry)) {
    const words = say("file", file.name, sizeWords(file.size));
    const value = element("dd", {}, words);
    if (file.type.startsWith("image/")) {
      const img = element("img", { alt: file.name, src: URL.createObjectURL(file) });
      img.addEventListener("load", () => URL.revokeObjectURL(img.src));
      value.append(img);
    }
    facts.append(element("div", {}, element("dt", {}, say("files")), value));
  }
  return facts;
}

// sure asks once more, in the place of the buttons, before an entry is deleted.
function sure(out, entry, courier, redraw) {
  const asked = element("div", { class: "caution stop" }, element("p", {}, say("sure")), courier.buttons([
    [say("sureYes"), async () => { await queue.remove(entry.seq); courier.announce(); document.dispatchEvent(new Event("asfound-shown")); }],
    [say("sureNo"), () => { delete out.dataset.as; redraw(); }]]));
  out.querySelector(".buttons").replaceWith(asked);
  asked.querySelector("button").focus();
}

// compare lays the entry beside the same form as the registry fills it in now.
async function compare(out, entry, courier) {
  const both = out.querySelector(".beside");
  let form;
  try {
    const response = await fetch(entry.page, { cache: "no-store" });
    if (!response.ok) throw new Error(String(response.status));
    form = formLike(new DOMParser().parseFromString(await response.text(), "text/html"), entry);
  } catch {
    both.replaceChildren(element("p", { class: "refused" }, say("noCompare")));
    return;
  }
  both.replaceChildren();
  const acts = [];
  if (form) {
    both.append(sideBySide(entry, shown(form)));
    const now = hidden(form);
    const correction = now.some(([name, value]) => name !== "by" && !entry.fields.some(([n, v]) => n === name && v === value));
    acts.push([say(correction ? "correction" : "again"), () => sendAgain(entry, now, courier), "send"]);
  } else {
    acts.push([say("again"), () => sendAgain(entry, [], courier), "send"]);
  }
  acts.push([say("openRecord"), entry.page]);
  both.append(courier.buttons(acts));
  both.querySelector("table")?.focus();
}

function sideBySide(entry, record) {
  const body = element("tbody");
  const now = new Map(record.map((f) => [f.name, f]));
  const mine = new Map(entry.shown.map((f) => [f.name, f]));
  for (const name of new Set([...mine.keys(), ...now.keys()])) {
    const a = mine.get(name)?.text || "", b = now.get(name)?.text || "";
    if (!a && !b) continue;
    const differs = a !== b;
    const th = element("th", { scope: "row" }, (mine.get(name) || now.get(name)).label);
    if (differs) th.append(" ", element("span", { class: "mark near" }, say("differs")));
    body.append(element("tr", differs ? { class: "picked" } : {}, th,
      element("td", { "data-label": say("mine"), class: "typed" }, a || say("empty")), element("td", { "data-label": say("record"), class: "typed" }, b || say("empty"))));
  }
  return element("table", { class: "list", tabindex: "-1" }, element("caption", {}, say("compare")),
    element("thead", {}, element("tr", {}, ...["field", "mine", "record"].map((w) => element("th", { scope: "col" }, say(w))))), body);
}

// sendAgain sends the entry on what the record says now: what travels unseen,
// such as which record is corrected, is taken from there. Another content has
// another key.
async function sendAgain(entry, now, courier) {
  const unseen = new Set([...entry.hidden, ...now.map(([name]) => name)]);
  const fields = now.length ? [...entry.fields.filter(([name]) => !unseen.has(name)), ...now] : entry.fields;
  await queue.put({ ...entry, fields, hidden: Array.from(unseen), key: queue.freshKey(), state: "waiting", why: [], tries: 0, copied: true });
  await courier.send({ wait: true });
}

async function drawKept(place, courier, redraw) {
  const machines = await keptMachines();
  if (!machines.length) {
    place.replaceChildren(element("p", {}, say("nothingKept")));
    return;
  }
  place.replaceChildren(...machines.map((m) => element("article", { class: "panel" }, element("h3", {}, m.name), element("p", { class: "hint" }, say("keptMachine", timeWords(m.at))),
    element("ul", { class: "plain" }, ...m.pages.map((p) => element("li", {}, element("a", { class: "target", href: p.at }, p.title)))),
    courier.buttons([[say("remove"), async () => { await removeMachine(m.machine); redraw(); }]]))));
}
