// The fields of a form as a person reads them: what is asked, and what stands
// there. The same for a form on the page and for one that was fetched.

const skipped = ["key", "version"];

function labelOf(form, control) {
  const group = (control.type === "radio" || control.type === "checkbox") && control.closest("fieldset")?.querySelector("legend");
  const label = group || control.id && form.ownerDocument.querySelector(`label[for="${CSS.escape(control.id)}"]`);
  const hole = control.closest("fieldset.hole")?.querySelector("legend");
  const text = (label ? ownText(label) : control.name).trim();
  return hole && label !== hole ? hole.textContent.trim() + ", " + text : text;
}

// ownText is a label without its hint.
const ownText = (label) => Array.from(label.childNodes, (n) => n.nodeType === 1 && n.matches(".hint") ? "" : n.textContent).join("");

function valueOf(form, control) {
  if (control.tagName === "SELECT") return control.value ? control.selectedOptions[0].textContent : "";
  if (control.type === "radio" || control.type === "checkbox") {
    const label = form.ownerDocument.querySelector(`label[for="${CSS.escape(control.id)}"]`);
    return control.checked ? (label ? ownText(label).trim() : control.value) : "";
  }
  if (control.type === "file") return Array.from(control.files || [], (f) => f.name).join(", ");
  return control.value;
}

// shown gives [{name, label, text}], one for each question, in order.
export function shown(form) {
  const out = new Map();
  for (const control of form.elements) {
    if (!control.name || skipped.includes(control.name) || ["hidden", "submit", "button", "image"].includes(control.type)) continue;
    const text = valueOf(form, control);
    const known = out.get(control.name);
    if (!known) out.set(control.name, { name: control.name, label: labelOf(form, control), text });
    else if (text) known.text = known.text ? known.text + ", " + text : text;
  }
  return Array.from(out.values());
}

// hidden gives the fields that travel unseen, without the key and the version.
export function hidden(form) {
  return Array.from(form.elements).filter((c) => c.type === "hidden" && c.name && !skipped.includes(c.name)).map((c) => [c.name, c.value]);
}

// formLike finds the form of a page that an entry came from.
export function formLike(page, entry) {
  return Array.from(page.querySelectorAll("form[data-keep]")).find((f) => f.dataset.keep === entry.kind && f.getAttribute("action") === entry.action);
}

// fill puts the fields of an entry into a form. What the form has no field for
// travels along unseen, so that nothing is lost.
export function fill(form, entry) {
  const unseen = new Set(entry.hidden);
  const byName = new Map();
  for (const [name, value] of entry.fields) {
    if (unseen.has(name) || skipped.includes(name)) continue;
    byName.set(name, [...(byName.get(name) || []), value]);
  }
  for (const control of form.elements) {
    if (control.type === "radio" || control.type === "checkbox") control.checked = (byName.get(control.name) || []).includes(control.value);
  }
  for (const [name, values] of byName) {
    const controls = Array.from(form.elements).filter((c) => c.name === name);
    const control = controls[0];
    if (control?.type === "file") {
      const files = new DataTransfer();
      for (const f of values) files.items.add(new File([f], f.name, { type: f.type }));
      control.files = files.files;
    } else if (control?.type === "radio" || control?.type === "checkbox") {
      continue;
    } else if (control) {
      control.value = values[0];
    } else {
      for (const value of values) {
        const input = Object.assign(document.createElement("input"), { type: "hidden", name, value });
        form.append(input);
      }
    }
  }
}
