// Holes on a fastener map are added here, without asking the registry, so that a
// map can be made with no signal. Without this the same buttons ask the registry.

const most = 60; // holes of one map, as the registry has it
const svgNS = "http://www.w3.org/2000/svg";

const form = document.querySelector("form[data-keep=fasteners]");
const blank = document.getElementById("hole");
const drawing = form?.querySelector(".tapped svg");
let tapped = null; // where the picture was tapped last, in per cent

const rows = () => Array.from(form.querySelectorAll("fieldset.hole"));
const percent = (part) => String(Math.round(1000 * Math.min(Math.max(part, 0), 1)) / 10);
const numberOf = (row) => row.querySelector("[name^=hole-]").value;

function add(at) {
  const n = rows().length;
  const used = new Set(rows().map(numberOf));
  let number = 1;
  while (used.has(String(number))) number++;
  const row = blank.content.firstElementChild.cloneNode(true);
  for (const e of row.querySelectorAll("[id], [name], [for]")) {
    for (const a of ["id", "name", "for"]) {
      if (e.hasAttribute(a)) e.setAttribute(a, e.getAttribute(a).replace(/-\d+$/, "-" + n));
    }
  }
  const last = rows().at(-1);
  const field = (name, of = row) => of.querySelector(`[name^="${name}-"]`);
  field("hole").value = number;
  field("x").value = at?.x ?? "";
  field("y").value = at?.y ?? "";
  if (last) { // a cover's fasteners are mostly alike
    for (const name of ["head", "thread"]) field(name).value = field(name, last).value;
  }
  row.querySelector("legend").append(number);
  row.dataset.added = "";
  if (last) last.after(row);
  else blank.before(row);
  if (at) draw(number, at);
  field(at ? "length" : "x").focus();
}

// draw marks the hole on the picture.
function draw(number, at) {
  const { width, height } = drawing.viewBox.baseVal;
  const x = width * at.x / 100, y = height * at.y / 100;
  const circle = document.createElementNS(svgNS, "circle"), text = document.createElementNS(svgNS, "text");
  for (const [e, values] of [[circle, { cx: x, cy: y, r: 10, class: "screw" }], [text, { x, y: y + 4, class: "screwno" }]]) {
    for (const [k, v] of Object.entries(values)) e.setAttribute(k, v);
  }
  text.textContent = number;
  circle.dataset.added = text.dataset.added = "";
  drawing.append(circle, text);
}

if (form && blank && drawing) {
  const picture = form.querySelector("input[type=image]");
  picture.addEventListener("click", (e) => {
    const box = picture.getBoundingClientRect();
    tapped = e.detail ? { x: percent((e.clientX - box.left) / box.width), y: percent((e.clientY - box.top) / box.height) } : null;
  });
  form.addEventListener("reset", () => { for (const e of form.querySelectorAll("[data-added]")) e.remove(); });
  form.addEventListener("submit", (e) => {
    if (e.submitter !== picture && e.submitter?.name !== "add" || rows().length >= most) return;
    e.preventDefault();
    add(e.submitter === picture ? tapped : null);
  });
}
