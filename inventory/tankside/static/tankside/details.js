// The last step: the entry in words, cautions first, what may be added, and save.

import { forgetNumber, nameOf } from "./animal.js";
import { whole } from "./boxes.js";
import { button, h, say, show, view } from "./dom.js";
import { Asked, FIELDS, moreThanBook, noteField, sexNumbers, when, writtenIn } from "./fields.js";
import { inWords, kindOf } from "./kinds.js";
import { present } from "./lists.js";
import { all, put } from "./outbox.js";
import { current } from "./person.js";
import { pictureField } from "./picture_field.js";
import { picturesOf } from "./picture_outbox.js";
import { inWords as troubleWords } from "./store.js";
import { clock } from "./times.js";

const ENTRIES = "/api/v1/entries";
const WITHOUT_NUMBER = ["note"];

export async function showDetails({ place, lot, open, kind: name, n, replaces, person, lists, go }) {
  const kind = kindOf(name);
  if (!place || !kind) return go("tanks");
  if (!lot && !open && !kind.for.includes("tank")) return showGone(place, replaces, go);
  const opened = view();
  const old = replaces ? (await opened(all())).find((row) => row.identifier === replaces) : null;
  const had = old ? (await opened(picturesOf(old.identifier))).length : 0;
  const one = lot?.kind === "individual";
  const counted = !WITHOUT_NUMBER.includes(name);
  const number = counted && !one && (old || name === "unlisted") ? numberField(n) : null;
  const around = { place, lot, open, lists, person, number, before: old?.body ?? {} };
  const asked = kind.asks.map((one) => FIELDS[one](around));
  if (old && name === "moved") asked.push(moreThanBook(around));
  const sexed = lot && !one && !["sexed", "eggs"].includes(name) && counted;
  const more = [
    ...asked.filter((field) => !field.first),
    ...(counted ? [when(around)] : []),
    ...(sexed ? [sexNumbers(around)] : []),
  ];
  const note = noteField({ before: name === "unlisted" ? writtenIn(around.before) : old ? around.before : {}, required: name === "note" });
  (counted ? more : asked).push(note);
  const first = asked.filter((field) => field.first || field === note);
  const photographs = pictureField({ had });

  const heading = () => inWords({
    kind: name, n: number ? number.value() : n, unit: lot?.unit, one, animal: nameOf({ lot, open }), place: place.name,
    to: first.map((field) => field.to?.()).find(Boolean),
    about: first.map((field) => field.about?.()).find(Boolean),
  });
  const wrong = h("p", { class: "problem", role: "alert", hidden: true });
  let saving = false;
  const save = async (event) => {
    event.preventDefault();
    if (saving) return;
    saving = true; // two taps of a wet hand are one entry
    try {
      const body = read();
      const words = `${heading()}, ${clock(present(), lists.zone)}`;
      const identifier = await wait(put(ENTRIES, body, words, current(), { pictures: photographs.taken() }));
      say(`Saved on this device: ${words}`);
      forgetNumber();
      // Back leads to the animal, not to the same entry ready to be saved a second time.
      go("saved", { identifier, place: place.code }, { instead: true });
    } catch (error) {
      saving = false;
      wrong.hidden = false;
      wrong.textContent = error instanceof Asked ? error.message : troubleWords(error);
      if (error instanceof Asked) openTo(error.field);
      else wrong.scrollIntoView({ block: "center" });
    }
  };
  const read = () => {
    const many = counted ? (number ? number.read() : n) : 0;
    const body = {
      kind: name === "unlisted" ? "note" : name,
      place: place.code,
      lot: lot?.accession ?? null,
      open_name: open?.key ?? null,
      happened: null,
      numbers: { males: 0, females: 0, hermaphrodites: 0, unknown: many },
      note: "",
      ...(name === "unlisted" ? { unlisted: true } : {}),
      ...(replaces ? { replaces } : {}),
    };
    let noneAlive = false;
    for (const field of [...first, ...more]) {
      const { note: words, none_alive: none, ...stated } = field.read({ n: many });
      Object.assign(body, stated);
      noneAlive ||= Boolean(none);
      if (words) body.note = [body.note, words].filter(Boolean).join("; ");
    }
    if (noneAlive) body.numbers = { males: 0, females: 0, hermaphrodites: 0, unknown: 0 };
    return body;
  };
  const said = () => {
    document.querySelector("h1").textContent = heading();
  };
  const wait = show(
    heading(),
    old ? h("p", { class: "note" }, "It came back. ", reasons(old)) : null,
    cautions(lot, kind),
    h("form", { class: "entry", novalidate: true, on: { submit: save, change: said } },
      number?.element,
      first.map((field) => field.element),
      more.length ? h("details", { open: Boolean(old) }, h("summary", {}, moreWords(kind, sexed, lot?.protected || lot?.count_class === "A")), more.map((field) => field.element)) : null,
      had ? h("p", { class: "under" }, `${had === 1 ? "Its picture goes" : `Its ${had} pictures go`} with it.`) : null,
      photographs.element,
      // What is wrong stands in what stays in sight: on a phone it lay under the button.
      h("div", { class: "save" }, wrong, h("button", { class: "main" }, "Save"))),
  );
}

/** An entry that came back, or one that was under way, of an animal that the tank's list has no more. */
function showGone(place, replaces, go) {
  show(
    `No longer on the list of ${place.name}`,
    h("p", { class: "note" }, "The animal of this entry has died, gone to another tank or got another number since. Nothing was saved."),
    h("p", {}, replaces
      ? "If it still has to be told, enter it anew with the animal as the list has it now. Then say of the entry that came back that you have read it."
      : "Enter it anew with the animal as the list has it now."),
    button(`To the animals of ${place.name}`, () => go("tank", { place: place.code }), { class: "main" }),
    replaces ? button("To what came back", () => go("entries")) : null,
  );
}

function numberField(n) {
  const box = h("input", { id: "n", type: "text", inputmode: "numeric", pattern: "[0-9]*", autocomplete: "off", value: String(n) });
  const value = () => whole(box);
  const element = h("div", { class: "field" }, h("label", { for: "n" }, "How many"), box);
  return {
    element,
    value: () => value() || n,
    read: () => {
      if (element.hidden) return 0; // told by something else than a number
      if (!(value() >= 1)) throw new Asked("Say how many, as a whole number: 1 or more.", box);
      return value();
    },
  };
}

function moreWords(kind, sexed, bodyFirst) {
  const words = [
    !bodyFirst && kind.asks.includes("body") && "body",
    kind.asks.includes("cause") && "cause",
    "time",
    sexed && "sexes",
    "note",
  ].filter(Boolean);
  return `More: ${words.join(", ")}`;
}

/** Before anybody takes an animal or a body into the hand. */
function cautions(lot, kind) {
  if (!kind.touches || !lot?.hazards?.length) return null;
  return h("section", { class: "caution", "aria-labelledby": "caution" },
    h("h2", { id: "caution" }, "Caution before you touch it"),
    h("ul", {}, lot.hazards.map((words) => h("li", {}, words))),
    h("p", {}, "The house’s own rules and its veterinarian come first."));
}

/** The server's words as a sentence of their own. */
export function sentence(words) {
  const first = `${words.charAt(0).toUpperCase()}${words.slice(1)}`;
  return /[.!?]$/.test(first) ? first : `${first}.`;
}

export function reasons(row) {
  return (row.answer?.problems ?? []).map((problem) => sentence(problem.words)).join(" ") || row.answer?.words || "The server gave no reason.";
}

function openTo(field) {
  const details = field?.closest?.("details");
  if (details) details.open = true;
  field?.focus?.();
}
