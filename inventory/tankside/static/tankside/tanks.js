// Choose a tank: by its label, by its short code, or from the list, my own first.

import { button, h, show, view } from "./dom.js";
import { placeOf } from "./lists.js";
import { cameBack } from "./outbox.js";
import { picturesBack } from "./picture_outbox.js";
import { canScan, scan } from "./scan.js";

export async function showTanks({ person, lists, go }) {
  const wait = view();
  const mine = lists.places.filter((place) => keptBy(place, person));
  const others = lists.places.filter((place) => !keptBy(place, person));
  const back = (await wait(cameBack(person.id))).length;
  const pictures = (await wait(picturesBack(person.id))).length;
  const withCamera = await wait(canScan());
  show(
    "Which tank?",
    back ? h("p", { class: "warn" }, h("a", { class: "button", href: "/tank/#entries" }, `${back} of your entries came back: look`)) : null,
    pictures ? h("p", { class: "warn" }, h("a", { class: "button", href: "/tank/#entries" }, `${pictures} of your pictures came back: look`)) : null,
    withCamera ? button("Scan the tank’s label", () => scan({ place: (code) => go("tank", { place: code }), lot: (lot) => go("animal", lot), stop: () => go("tanks") }), { class: "main" }) : null,
    typedCode(go),
    mine.length ? [h("h2", {}, "My tanks"), placeList(mine, go)] : null,
    others.length ? [h("h2", {}, mine.length ? "Other tanks" : "Tanks"), placeList(others, go)] : null,
    lists.places.length ? null : h("p", { class: "note" }, "The book has no tank yet."),
  );
}

export function keptBy(place, person) {
  return place.keeper_ids?.includes(person.id) ?? false;
}

function typedCode(go) {
  const input = h("input", { id: "code", name: "code", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", enterkeyhint: "go" });
  const wrong = h("p", { class: "problem", id: "code-wrong", role: "alert", hidden: true });
  return h("form", { class: "code", novalidate: true, on: { submit: (event) => {
    event.preventDefault();
    const place = placeOf(input.value);
    if (place) return go("tank", { place: place.code });
    wrong.hidden = false;
    wrong.textContent = input.value.trim() ? `No tank has the code “${input.value.trim()}”.` : "Type the code on the tank’s label.";
    input.setAttribute("aria-describedby", wrong.id);
    input.focus();
  } } },
    h("label", { for: "code" }, "Code on the label"),
    h("div", { class: "row" }, input, h("button", {}, "Open")),
    wrong,
  );
}

function placeList(places, go) {
  return h("ul", { class: "list" }, places.map((place) => h("li", {},
    h("button", { type: "button", on: { click: () => go("tank", { place: place.code }) } },
      h("strong", { class: "mark" }, place.code),
      h("span", {}, place.name)))));
}
