// The tank side: tank, animal, number, what happened, save. Each step is a view; the device's back key works.
//
// Views and what they need
//   tanks                     choose a tank
//   tank    {place}           the animals that the book says live there
//   animal  {place, lot|open} number and kind
//   details {place, lot|open, kind, n, replaces}   the rest, and save
//   saved   {identifier}      the confirmation, undo
//   entries                   not yet sent, came back, sent
// The address holds the tank (/tank/#E02) or the lot (/tank/#lot/2024-17): that is what the labels' codes say.

import { showAnimal, showAnimals } from "./animal.js";
import { showDetails } from "./details.js";
import { h, button, show } from "./dom.js";
import { showEntries } from "./entries.js";
import { atRest, busy, startPage } from "./frame.js";
import { known, onLists, placeOf } from "./lists.js";
import { onChange } from "./outbox.js";
import { current } from "./person.js";
import { showSaved } from "./saved.js";
import { showTanks } from "./tanks.js";

const VIEWS = {
  tanks: showTanks,
  tank: showAnimals,
  animal: showAnimal,
  details: showDetails,
  saved: showSaved,
  entries: showEntries,
};
// Views in which something would be lost by drawing again.
const UNDER_WAY = ["animal", "details"];

let step = null;

/** Goes to a view and remembers it for the back key; ``instead`` of this one, which is then not gone back to. */
function go(view, params = {}, { instead = false } = {}) {
  history[instead ? "replaceState" : "pushState"]({ view, params }, "", addressOf(view, params));
  draw(view, params);
}

function draw(view, params) {
  step = { view, params };
  const person = current();
  if (!person) return;
  UNDER_WAY.includes(view) ? busy() : atRest();
  VIEWS[view]({ ...resolved(params), person, lists: known(), go });
}

/** Codes become the rows of the lists; a lot that is gone from the lists is null. */
function resolved(params) {
  const got = known();
  return {
    ...params,
    place: params.place ? placeOf(params.place) : null,
    lot: got.lots.find((lot) => lot.accession === params.lot && (!params.place || lot.place === params.place)) ?? null,
    open: got.open_names.find((one) => one.key === params.open && one.place === params.place) ?? null,
  };
}

function addressOf(view, { place }) {
  if (view === "entries") return "/tank/#entries";
  return place ? `/tank/#${encodeURIComponent(place)}` : "/tank/";
}

/** What the address asks for: a tank, a lot, or the entries. */
function asked() {
  const hash = decodeURIComponent(location.hash.slice(1));
  if (!hash) return ["tanks", {}];
  if (hash === "entries") return ["entries", {}];
  if (hash.startsWith("lot/")) {
    const lot = known().lots.find((one) => one.accession === hash.slice(4));
    if (lot) return ["animal", { place: lot.place, lot: lot.accession }];
    return ["unknown", { typed: hash.slice(4) }];
  }
  const place = placeOf(hash);
  return place ? ["tank", { place: place.code }] : ["unknown", { typed: hash }];
}

function open() {
  const kept = history.state?.view === undefined ? null : history.state;
  const [view, params] = kept ? [kept.view, kept.params] : asked();
  if (view === "unknown") return showUnknown(params.typed);
  history.replaceState({ view, params }, "");
  draw(view, params);
}

function showUnknown(typed) {
  step = null;
  show(
    "Not on this device’s lists",
    h("p", { class: "note" }, `“${typed}” is no tank or animal of the lists on this device. If it is new, the lists need a signal once.`),
    button("Choose a tank", () => go("tanks"), { class: "main" }),
  );
}

let person = null;

startPage((chosen) => {
  // Another person starts at the tank, never in the middle of what somebody else was writing.
  if (person !== null && person !== chosen.id && UNDER_WAY.includes(history.state?.view)) {
    const { place } = history.state.params;
    history.replaceState({ view: place ? "tank" : "tanks", params: { place } }, "");
  }
  person = chosen.id;
  open();
});

addEventListener("popstate", () => current() && open());
addEventListener("hashchange", () => current() && history.state === null && open());
for (const watch of [onLists, onChange]) {
  watch(() => {
    if (step && current() && ["entries", "saved"].includes(step.view)) VIEWS[step.view]({ ...resolved(step.params), person: current(), lists: known(), go, again: true });
  });
}
