// Readings of a tank's water, kept on the device like every entry: tank, what, value, save.
//
// The address holds the tank: /tank/readings#E02. One that came back is mended at #mend/<identifier>.

import { button, h, say, show, view } from "./dom.js";
import { reasons } from "./details.js";
import { atRest, busy, startPage } from "./frame.js";
import { known, placeOf, present } from "./lists.js";
import { inOrder, inWords, plain, problemOf } from "./log_measures.js";
import { all, put } from "./outbox.js";
import { current } from "./person.js";
import { inWords as troubleWords } from "./store.js";
import { keptBy } from "./tanks.js";
import { clock } from "./times.js";

const PATH = "/api/v1/entries";

async function open() {
  const person = current();
  if (!person) return;
  const hash = decodeURIComponent(location.hash.slice(1));
  if (hash.startsWith("mend/")) {
    const wait = view();
    const row = (await wait(all())).find((one) => one.identifier === hash.slice(5));
    if (row) return showForm(person, placeOf(row.body.place), row);
  }
  const place = placeOf(hash);
  place ? showForm(person, place) : showTanks(person, hash);
}

function showTanks(person, typed) {
  atRest();
  const places = known().places;
  const list = (title, some) => (some.length ? [h("h2", {}, title), h("ul", { class: "list" }, some.map((place) => h("li", {},
    h("button", { type: "button", on: { click: () => go(place.code) } }, h("strong", { class: "mark" }, place.code), h("span", {}, place.name)))))] : null);
  show(
    "Readings: which tank?",
    typed && !typed.startsWith("mend/") ? h("p", { class: "note" }, `“${typed}” is no tank of the lists on this device.`) : null,
    list("My tanks", places.filter((place) => keptBy(place, person))),
    list("Other tanks", places.filter((place) => !keptBy(place, person))),
  );
}

function go(code) {
  location.hash = encodeURIComponent(code);
}

function showForm(person, place, before = null, saved = "") {
  busy();
  const measures = inOrder(known().temperature_unit);
  const stated = before?.body.reading;
  const isBefore = ([quantity, unit]) => stated && quantity === stated.quantity && unit === stated.unit;
  const select = h("select", { id: "measure" }, measures.map((one, n) => h("option", { value: n, selected: isBefore(one) }, one[2])));
  const value = h("input", { id: "value", inputmode: "decimal", autocomplete: "off", enterkeyhint: "done", value: stated?.value ?? "" });
  const note = h("input", { id: "note", autocomplete: "off", maxlength: "500", value: before?.body.note ?? "" });
  const wrong = h("p", { class: "problem", id: "value-wrong", role: "alert", hidden: true });
  const kept = saved ? h("p", { class: "big waits" }, h("span", { "aria-hidden": "true" }, "✓"), ` Saved on this device: ${saved}`) : null;
  const refuse = (words) => {
    // What was saved before would be read as the answer to what is refused now.
    kept?.remove();
    wrong.hidden = false;
    wrong.textContent = words;
    value.setAttribute("aria-describedby", wrong.id);
    value.focus();
  };
  const save = async (event) => {
    event.preventDefault();
    const measure = measures[Number(select.value)];
    const problem = problemOf(measure, value.value);
    if (problem) return refuse(problem);
    const [quantity, unit] = measure;
    const told = `${inWords(measure, value.value.trim())}, ${place.name}, ${clock(present(), known().zone)}`;
    const body = { kind: "reading", place: place.code, note: note.value.trim(), reading: { quantity, unit, value: plain(value.value) } };
    try {
      await wait(put(PATH, before ? { ...body, replaces: before.identifier } : body, told, person));
    } catch (error) {
      return refuse(troubleWords(error));
    }
    say(`Saved: ${told}`);
    showForm(person, place, null, told);
  };
  const wait = show(
    `Reading, ${place.name}`,
    kept,
    before ? h("p", { class: "note" }, reasons(before)) : null,
    h("form", { novalidate: true, on: { submit: save } },
      h("div", { class: "field" }, h("label", { for: "measure" }, "What"), select),
      h("div", { class: "field" }, h("label", { for: "value" }, "Value"), value, wrong),
      h("div", { class: "field" }, h("label", { for: "note" }, "Note"), note),
      h("button", { class: "main" }, "Save")),
    button("Other tank", () => go("")),
  );
  if (saved) atRest();
}

startPage(open);
addEventListener("hashchange", open);
