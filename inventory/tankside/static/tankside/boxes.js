// Boxes of a form, as all pages of the tank side make them.
//
// Exports
//   labelled(id, words, field, help)   a field under its label
//   select(choices, chosen)            choices: [value, words]
//   tiles(name, legend, choices, chosen)  one of several, as big buttons: {element, value(), inputs}
//   numberBox(id, value, props)        a box for a whole number
//   whole(box)                         what stands in it: null when blank, NaN when it is no whole number
//   cutShort(field)                    a day or a time of which only a part was typed; its value is then empty

import { h } from "./dom.js";

export function tiles(name, legend, choices, chosen = "") {
  const inputs = choices.map(([value]) => h("input", { type: "radio", name, value, checked: value === chosen }));
  const element = h("fieldset", { class: "tiles" }, h("legend", {}, legend), h("div", { class: "grid" },
    choices.map(([, words], i) => h("label", { class: "tile" }, inputs[i], h("span", {}, words)))));
  return { element, value: () => inputs.find((input) => input.checked)?.value ?? "", inputs };
}

export function labelled(id, words, field, help = "") {
  if (help) field.setAttribute("aria-describedby", `${id}-help`);
  field.id = id;
  return h("div", { class: "field" }, h("label", { for: id }, words), field, help ? h("small", { id: `${id}-help` }, help) : null);
}

export function select(choices, chosen = "") {
  return h("select", {}, choices.map(([value, words]) => h("option", { value, selected: value === chosen }, words)));
}

export function numberBox(id, value, props = {}) {
  return h("input", { id, type: "text", inputmode: "numeric", pattern: "[0-9]*", autocomplete: "off", maxlength: "6", value: value ?? "", ...props });
}

export function whole(box) {
  const text = box.value.trim();
  if (text === "") return null;
  return /^\d{1,6}$/.test(text) ? Number(text) : Number.NaN;
}

export function cutShort(field) {
  return field.validity.badInput;
}
