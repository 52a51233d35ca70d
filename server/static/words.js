// Every sentence that the scripts say, each whole, in one place to be translated.
// {name} stands for a value. A sentence about a number has a form for one.

const sentences = {
  waitsOne: "One entry waits on this phone to be sent. It was made {age} ago.",
  waitsMany: "{n} entries wait on this phone to be sent. The oldest was made {age} ago.",
  warn: "It has waited for more than a day: find a signal soon.",
  loud: "It has waited for more than five days. Some phones clear what a page keeps after seven. Send it now, or copy it onto paper.",
  refusedOne: "The registry has refused one entry. It is still on this phone.",
  refusedMany: "The registry has refused {n} entries. They are still on this phone.",
  sending: "Sending {i} of {n}: {percent} %. You may leave this page: it is kept on this phone until the registry has it.",
  sentOne: "Sent and recorded: {title}.",
  sentMany: "{n} entries were sent and recorded.",
  later: "Not sent: {why} It is kept on this phone and is tried again.",
  noSignal: "The registry cannot be reached.",
  stalled: "The line stood still.",
  busy: "The registry cannot record just now.",
  noYes: "Something answered that is not the registry. Open a page of the registry, and sign in there if it asks.",
  noReason: "The registry does not say why. Lay it beside the record, or open the page.",
  stored: "Kept on this phone: {title}. It is sent when there is a signal.",
  noRoom: "This browser has no room to keep it, so it is sent at once. Delete pictures from the phone to make room.",
  noStore: "This browser keeps nothing, perhaps because the window is private. Every form is sent at once.",
  atOnce: "The connection is not secure, so this browser keeps nothing: pictures and forms are sent at once.",
  copy: "This page is the copy that was kept on this phone at {time}. The record may have moved on since.",
  sendNow: "Send now",
  seeWaiting: "See what waits",
  keep: "Keep on this phone",
  keepAgain: "Keep it again as it is now",
  keeping: "Keeping page {i} of {n}.",
  kept: "Kept on this phone at {time}: {n} pages of this machine, which open with no signal.",
  keptSome: "Kept on this phone at {time}: {n} pages of this machine. {missed} could not be had.",
  keepFailed: "Not kept: {why}",
  nothingWaits: "Nothing waits. What was recorded here has reached the registry.",
  nothingKept: "No machine is kept on this phone. Its work page and its cards have a button for that.",
  keptMachine: "Kept at {time}.",
  remove: "Remove from this phone",
  state_waiting: "waits to be sent",
  state_held: "waits for an entry before it about the same thing",
  state_refused: "refused",
  recorded: "Recorded here",
  made: "{button}, {age} ago",
  madeOn: "{button} for {machine}, {age} ago",
  files: "Files",
  file: "{name}, {size}",
  show: "View what it says",
  retry: "Send it now",
  again: "Send it again",
  correction: "Send mine as a correction",
  edit: "Edit mine",
  theirs: "Keep theirs and delete mine",
  remove1: "Delete",
  sure: "Delete it for good? It is nowhere else.",
  sureYes: "Yes, delete it",
  sureNo: "No, leave it",
  deleted: "Deleted from this phone.",
  why: "Why it was refused",
  compare: "Both side by side",
  field: "Field",
  mine: "On this phone",
  record: "In the record now",
  differs: "differs",
  empty: "nothing",
  noCompare: "The record cannot be read without a signal, so it is not shown beside yours.",
  openRecord: "See the page as it stands now",
  filled: "This form is filled in with what waits on this phone. What waits is replaced when you send it.",
  minute: "less than a minute",
  minutes: "{n} min",
  hours: "{n} h",
  days: "{n} days",
};

export function say(name, values = {}) {
  return sentences[name].replace(/\{(\w+)\}/g, (_, key) => values[key]);
}

export function ageWords(ms) {
  const minutes = Math.floor(ms / 60000);
  if (minutes < 1) return say("minute");
  if (minutes < 120) return say("minutes", { n: minutes });
  const hours = Math.floor(minutes / 60);
  if (hours < 48) return say("hours", { n: hours });
  return say("days", { n: Math.floor(hours / 24) });
}

// timeWords writes a time today by its clock alone, and any other with its day.
export function timeWords(when) {
  const t = new Date(when);
  const clock = t.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  if (t.toDateString() === new Date().toDateString()) return clock;
  return t.toLocaleDateString("en-GB", { day: "numeric", month: "long" }) + ", " + clock;
}

export function sizeWords(bytes) {
  if (bytes < 1024) return bytes + " bytes";
  if (bytes < 1048576) return Math.round(bytes / 1024) + " kB";
  return (bytes / 1048576).toFixed(1) + " MB";
}
