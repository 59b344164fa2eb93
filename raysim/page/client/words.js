// Small words, numbers and elements that all modules use. Text is set as text, never as HTML.

export function make(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...inside);
  return made;
}

export const button = (words, act, attributes = {}) =>
  make("button", { type: "button", onclick: act, ...attributes }, words);

// A number of mm without needless digits.
export const mm = (value) => String(Math.round(100 * value) / 100);

const PER_UNIT = { mm: 1, cm: 10, m: 1000, in: 25.4, '"': 25.4, inch: 25.4, ft: 304.8, "'": 304.8 };

// A length as typed, in mm: "12", "12.5 cm", "4 3/16 in". Throws words where it is none.
export function lengthIn(text, unit) {
  const met = /^\s*(-?)(\d+(?:\.\d+)?|\.\d+)?(?:\s*(\d+)\/([1-9]\d*))?\s*([a-z"']*)\s*$/i.exec(text);
  const size = met && PER_UNIT[met[5] === "" ? unit : met[5].toLowerCase()];
  if (!met || !size || (met[2] === undefined && met[3] === undefined)) {
    const comma = text.includes(",") ? ": write the point as “.”" : ", such as 45 or 1 3/4 in";
    throw new Error(`“${text.slice(0, 30)}” is no length${comma}`);
  }
  const value = Number(met[2] || 0) + (met[3] ? Number(met[3]) / Number(met[4]) : 0);
  if (value * size > 100000) throw new Error(`${text.slice(0, 30)} is no length in a box`);
  return (met[1] ? -1 : 1) * value * size;
}

// A length as it is shown in the unit of the scene.
export function shown(value, unit) {
  if (unit === "mm") return mm(value);
  const sixteenths = Math.round((16 * value) / 25.4), whole = Math.floor(sixteenths / 16);
  const exact = Math.abs(sixteenths * 25.4 / 16 - value) < 0.02;
  if (!exact || value < 0) return String(Math.round((1000 * value) / 25.4) / 1000);
  let top = sixteenths % 16, below = 16;
  if (top === 0) return String(whole);
  while (top % 2 === 0) { top /= 2; below /= 2; }
  return whole === 0 ? `${top}/${below}` : `${whole} ${top}/${below}`;
}

// What is drawn anew while a finger or a button is down would take the click away: it waits. After a
// finger the click comes some time later.
const CLICK_COMES = 100;  // ms, own choice
let down = false;
const waiting = new Set();
document.addEventListener("pointerdown", () => { down = true; }, true);
for (const kind of ["pointerup", "pointercancel"]) {
  document.addEventListener(kind, () => {
    down = false;
    setTimeout(() => {
      const now = [...waiting];
      waiting.clear();
      for (const draw of now) draw();
    }, CLICK_COMES);
  }, true);
}

export const whenFree = (draw) => () => { if (down) waiting.add(draw); else draw(); };

const known = (one) => one.dataset.at || one.dataset.cell || one.getAttribute("aria-label") || one.textContent;

// Put other things into a place; the focus stays, what is being typed, or was refused with a reason, is
// not taken away, and what was unfolded stays open.
export function refill(place, build) {
  const active = place.contains(document.activeElement) ? document.activeElement : null;
  if (active?.matches("input:not([type=checkbox])") && active.value !== active.defaultValue) {
    active.addEventListener("blur", whenFree(() => refill(place, build)), { once: true });
    return;
  }
  const name = active && known(active), folds = () => [...place.querySelectorAll("summary")];
  const open = folds().filter((one) => one.parentElement.open).map(known);
  const fields = () => [...place.querySelectorAll(".field input[data-at]")].filter(known);
  const of = () => place.querySelector("h3")?.textContent, before = of();
  const refused = fields().filter((one) => one.value !== one.defaultValue);
  place.replaceChildren(...build());
  for (const one of folds()) one.parentElement.open ||= open.includes(known(one));
  if (of() === before) for (const one of fields()) {
    const own = refused.find((other) => known(other) === known(one));
    if (own) one.parentElement.replaceWith(own.parentElement);
  }
  if (name) [...place.querySelectorAll("input, select, button, summary")].find((one) => known(one) === name)?.focus();
}

let fields = 0;

// A field of one line: given(text) is called with what was typed; what it throws is said below.
export function field(label, value, given, more = {}) {
  const name = `field-${++fields}`;
  const input = make("input", { id: name, value, autocomplete: "off", ...more.attributes });
  const said = make("span", { class: "said", role: "alert", id: `${name}-said` });
  input.addEventListener("change", () => {
    try {
      given(input.value);
      input.defaultValue = input.value;
      input.removeAttribute("aria-invalid");
      said.textContent = "";
    } catch (error) {
      input.setAttribute("aria-invalid", "true");
      said.textContent = error.message;
    }
  });
  input.setAttribute("aria-describedby", said.id);
  input.dataset.at = more.at || "";
  const unit = more.unit ? make("span", { class: "unit" }, more.unit) : "";
  return make("p", { class: "field" }, make("label", { for: name }, label), input, unit, said);
}

// A choice: options are [value, words]; given(value).
export function choice(label, value, options, given, more = {}) {
  const name = `field-${++fields}`;
  const select = make("select", { id: name, onchange: () => given(select.value) });
  for (const [one, words] of options) select.append(make("option", { value: one }, words));
  if (!options.some(([one]) => one === value)) {
    select.prepend(make("option", { value }, value || "choose"));
  }
  select.value = value;
  select.dataset.at = more.at || "";
  return make("p", { class: "field" }, make("label", { for: name }, label), select);
}
