// The sentences that the scripts say, in the language of the page. The server
// writes them into a script of their own, which runs before this.

const sentences = globalThis.asfoundWords;
const language = document.documentElement.lang;

// say fills the places {1}, {2} … of a sentence.
export function say(name, ...values) {
  return sentences[name].replace(/\{(\d)\}/g, (_, place) => values[place - 1]);
}

export function ageWords(ms) {
  const minutes = Math.floor(ms / 60000);
  if (minutes < 1) return say("minute");
  if (minutes < 120) return say("minutes", minutes);
  const hours = Math.floor(minutes / 60);
  if (hours < 48) return say("hours", hours);
  return say("days", Math.floor(hours / 24));
}

// timeWords writes a time today by its clock alone, and any other with its day.
export function timeWords(when) {
  const t = new Date(when);
  const clock = t.toLocaleTimeString(language, { hour: "2-digit", minute: "2-digit" });
  if (t.toDateString() === new Date().toDateString()) return clock;
  return t.toLocaleDateString(language, { day: "numeric", month: "long" }) + ", " + clock;
}

export function sizeWords(bytes) {
  if (bytes < 1024) return say("bytes", bytes);
  if (bytes < 1048576) return say("kB", Math.round(bytes / 1024));
  return say("MB", (bytes / 1048576).toLocaleString(language, { maximumFractionDigits: 1 }));
}
