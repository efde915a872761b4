// The animals of a slip: one card for each name, the permit's names offered first.
//
// Exports
//   takeCards(before, {permit, places, changed})  {element, read, stated, offer}; read() gives the takes, or
//             throws Asked; stated() what stands in the boxes; offer(permit) offers another permit's names

import { labelled, numberBox, select, whole } from "./boxes.js";
import { button, h } from "./dom.js";
import { Asked } from "./fields.js";
import { SEXES } from "./kinds.js";
import { nameOf } from "./slip_limits.js";

const PARTS = [["let_go", "Let go"], ["died", "Died"], ["kept", "Kept"]];
let running = 0;

export function takeCards(before, { permit, places, changed }) {
  const cards = [];
  const list = h("div", { class: "cards" });
  const offered = h("div", { class: "grid names" });
  const known = h("datalist", { id: "permit-names" });
  const add = (take, focus = true) => {
    const card = takeCard(take, { places, changed, remove: () => {
      cards.splice(cards.indexOf(card), 1);
      card.element.remove();
      changed();
      list.querySelector("input")?.focus();
    } });
    cards.push(card);
    list.append(card.element);
    if (focus) card.focus();
  };
  const offer = (of) => {
    offered.replaceChildren(
      ...(of?.lines ?? []).map((line) => button(line.words, () => {
        const name = nameOf(line);
        add({ name, line: line.number, as: name ? "" : line.words });
        changed();
      })),
      button("Another name", () => add({})));
    known.replaceChildren(...(of?.lines ?? []).filter((line) => nameOf(line)).map((line) => h("option", { value: nameOf(line) })));
  };
  offer(permit);
  for (const take of before) add(take, false);
  return {
    element: h("fieldset", {}, h("legend", {}, "What was caught"), list, known, h("p", { class: "lead" }, "Add a name"), offered),
    read: () => cards.map((card) => card.read()),
    stated: () => cards.map((card) => card.stated()),
    offer,
  };
}

function takeCard(before, { places, changed, remove }) {
  running += 1;
  const id = (name) => `take-${running}-${name}`;
  const name = h("input", { autocomplete: "off", maxlength: "200", list: "permit-names", value: before.name ?? "" });
  const caught = numberBox(id("caught"), before.caught);
  const parts = PARTS.map(([field]) => numberBox(id(field), before[field]));
  const bycatch = h("input", { type: "checkbox", checked: Boolean(before.bycatch) });
  const place = select([["", "As the slip says"], ...places.map((one) => [one.code, `${one.code} ${one.name}`])], before.place ?? "");
  const sex = select([["", "not stated or mixed"], ...SEXES.slice(1)], before.sex ?? "");
  const size = numberBox(id("size"), before.size_mm);
  const eggs = select([["", "nobody looked"], ["true", "yes"], ["false", "no"]], before.berried ?? "");
  const unit = h("input", { autocomplete: "off", maxlength: "40", placeholder: "animal", value: before.unit ?? "" });
  const remarks = h("input", { autocomplete: "off", maxlength: "500", value: before.remarks ?? "" });
  const legend = h("legend", {});
  const as = before.as ? h("p", { class: "under" }, `Under “${before.as}”`) : null;
  const title = () => { legend.textContent = name.value.trim() || "New name"; };
  title();
  const element = h("fieldset", { class: "card", on: { input: () => { title(); changed(); }, change: changed } },
    legend, as,
    labelled(id("name"), "Name, as you would write it", name),
    h("div", { class: "pair four" },
      labelled(id("caught"), "Caught", caught),
      PARTS.map(([field, words], i) => labelled(id(field), words, parts[i]))),
    h("label", { class: "tile" }, bycatch, h("span", {}, "By-catch")),
    h("details", {}, h("summary", {}, "More: tank, sex, size, eggs"),
      labelled(id("place"), "Those kept go to", place),
      labelled(id("sex"), "Sex", sex),
      labelled(id("size"), "Size, mm", size),
      labelled(id("eggs"), "Carries eggs", eggs),
      labelled(id("unit"), "Counted in", unit, "Animals, if left empty; else colony, piece."),
      labelled(id("remarks"), "Remarks", remarks)),
    button("Take this name out", remove));
  const stated = () => ({
    line: before.line, as: before.as, name: name.value, caught: caught.value, bycatch: bycatch.checked, place: place.value, sex: sex.value,
    size_mm: size.value, berried: eggs.value, unit: unit.value, remarks: remarks.value,
    ...Object.fromEntries(PARTS.map(([field], i) => [field, parts[i].value])),
  });
  return { element, read, stated, focus: () => (name.value ? caught : name).focus() };

  function read() {
    const called = name.value.trim();
    if (!called) throw new Asked("Write what it was, as you would to a colleague.", name);
    for (const box of [caught, ...parts, size]) {
      if (Number.isNaN(whole(box))) throw new Asked(`${called}: “${box.value}” is no whole number.`, box);
    }
    const numbers = parts.map((box) => whole(box) ?? 0);
    const sum = numbers.reduce((a, b) => a + b, 0);
    const all = whole(caught) ?? sum;
    if (!all) throw new Asked(`${called}: say how many were caught.`, caught);
    if (all !== sum) throw new Asked(`${called}: ${all} caught, but ${numbers[0]} let go, ${numbers[1]} died and ${numbers[2]} kept are ${sum}.`, caught);
    return {
      name: called, caught: all, let_go: numbers[0], died: numbers[1], kept: numbers[2], bycatch: bycatch.checked,
      place: place.value, sex: sex.value, size_mm: whole(size), berried: eggs.value === "" ? null : eggs.value === "true",
      unit: unit.value.trim(), remarks: [before.as && `taken as “${before.as}”`, remarks.value.trim()].filter(Boolean).join("; "),
    };
  }
}
