// The animals of a tank, and for one of them: how many, and what happened.

import { whole } from "./boxes.js";
import { button, h, show } from "./dom.js";
import { offered } from "./kinds.js";
import { mark } from "./pictures.js";

const STRIP = 30;

// The number chosen for an animal, until it is saved or left: another kind is not another number.
let counted = { about: "", n: 1 };

export function forgetNumber() {
  counted = { about: "", n: 1 };
}

/** What the book says lives in the tank, most used first; then look-alikes, then what is on no list. */
export function showAnimals({ place, lists, go }) {
  if (!place) return go("tanks");
  forgetNumber();
  const lots = lists.lots.filter((lot) => lot.place === place.code).sort((a, b) => (b.used ?? 0) - (a.used ?? 0));
  const open = lists.open_names.filter((one) => one.place === place.code);
  show(
    `${place.code} ${place.name}`,
    lots.length
      ? h("ul", { class: "list" }, lots.map((lot) => h("li", {}, animalButton(lot, () => go("animal", { place: place.code, lot: lot.accession })))))
      : h("p", { class: "note" }, "The book says that nothing lives here."),
    open.length ? h("h2", {}, "Not sure which") : null,
    open.length ? h("ul", { class: "list" }, open.map((one) => h("li", {},
      h("button", { type: "button", on: { click: () => go("animal", { place: place.code, open: one.key }) } },
        h("strong", { class: "mark", "aria-hidden": "true" }, "?"), h("span", {}, openWords(one)))))) : null,
    h("h2", {}, "Something else"),
    h("div", { class: "grid" },
      offered({}).map((kind) => button(kind.button, () => go("details", { place: place.code, kind: kind.kind, n: 1 }))),
      button("Other tank", () => go("tanks"))),
  );
}

export function openWords(one) {
  return one.key.startsWith("genus:") ? `${one.label} (genus only)` : one.label;
}

export function nameOf({ lot, open }) {
  if (lot) return lot.house_name || lot.common_name || lot.name;
  return open ? openWords(open) : "";
}

function animalButton(lot, act) {
  const under = [
    lot.house_name ? lot.common_name || lot.name : null,
    lot.marks,
    lot.kind === "group" || lot.house_name ? null : lot.kind,
    lot.unit === "animal" ? null : `counted by ${lot.unit}`,
  ].filter(Boolean).join(", ");
  return h("button", { type: "button", on: { click: act } },
    mark(lot),
    h("span", {},
      h("strong", {}, nameOf({ lot })),
      h("small", {}, lot.common_name || lot.house_name ? h("i", {}, lot.name) : null),
      under ? h("small", {}, under) : null,
      lot.hazards?.length ? h("small", { class: "hazard" }, "Caution") : null));
}

/** Number and kind on one view: a death is the animal, the number if it is not 1, "Died", save. */
export function showAnimal({ place, lot, open, go, person }) {
  if (!place || !(lot || open)) return go(place ? "tank" : "tanks", { place: place?.code });
  const about = [person.id, place.code, lot?.accession ?? open.key].join(" ");
  if (counted.about !== about || !counted.n) counted = { about, n: 1 };
  const one = lot?.kind === "individual";
  const said = h("p", { class: "lead" });
  const wrong = h("p", { class: "problem", id: "many-wrong", role: "alert", hidden: true });
  const chosen = () => {
    said.textContent = one ? place.name : counted.n ? `${counted.n} in ${place.name}` : place.name;
  };
  const strip = one ? null : numberStrip((number) => {
    counted = { about, n: number };
    wrong.hidden = Boolean(number);
    chosen();
  }, counted.n ?? 1, wrong);
  const next = (kind) => {
    if (counted.n) return go("details", { place: place.code, lot: lot?.accession, open: open?.key, kind, n: counted.n });
    wrong.hidden = false;
    wrong.textContent = "Say how many, as a whole number: 1 or more.";
    strip.querySelector("#many").focus();
  };
  chosen();
  show(
    nameOf({ lot, open }),
    lot ? underName(lot) : null,
    open ? h("p", { class: "under" }, "The species stays open until the registrar or the vet says which it was.") : null,
    strip,
    said,
    h("div", { class: "grid kinds" }, offered({ lot, open }).map((kind) =>
      button(kind.button, () => next(kind.kind), { class: kind.kind === "died" ? "main wide" : "" }))),
  );
}

/** What stands below the name in the heading; a picture only where one is kept, for letters tell no more here. */
function underName(lot) {
  const latin = lot.common_name || lot.house_name ? [h("i", {}, lot.name), ` ${lot.accession}`] : [];
  if (!lot.picture_url) return latin.length ? h("p", { class: "under" }, latin) : null;
  return h("p", { class: "under pictured" }, mark(lot), h("span", {}, latin));
}

/** 1 to 30 beside one another, to be pushed along with a finger; any number by the box at its end.

``tell`` hears each number, and null of what is none; ``wrong``: where that is said. */
export function numberStrip(tell, first = 1, wrong = null) {
  const box = h("input", { id: "many", type: "text", inputmode: "numeric", pattern: "[0-9]*", autocomplete: "off", "aria-describedby": wrong?.id, maxlength: "5", value: first > STRIP ? String(first) : "" });
  const numbers = Array.from({ length: STRIP }, (_, i) => button(String(i + 1), () => set(i + 1), { "aria-pressed": String(i + 1 === first) }));
  const set = (n) => {
    box.value = "";
    press(n);
    tell(n);
  };
  const press = (n) => numbers.forEach((one, i) => one.setAttribute("aria-pressed", String(i + 1 === n)));
  box.addEventListener("input", () => {
    const typed = whole(box);
    const n = typed === null ? 1 : typed >= 1 ? typed : null;
    press(n);
    tell(n);
  });
  return h("fieldset", { class: "number" },
    h("legend", {}, "How many?"),
    h("div", { class: "strip" }, numbers),
    h("div", { class: "row" }, h("label", { for: "many" }, `More than ${STRIP}`), box),
    wrong);
}
