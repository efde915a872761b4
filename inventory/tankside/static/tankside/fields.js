// The fields of an entry beyond animal and number. Each function answers {element, read}: read() gives the
// part of the entry's body that the field states, or throws Asked with what is missing.
//
// Exports  FIELDS (by the names in kinds.js), when, wholeTime, sexNumbers, noteField, writtenIn, moreThanBook, Asked

import { cutShort, labelled, numberBox, select, tiles, whole } from "./boxes.js";
import { h } from "./dom.js";
import { ABUNDANCE, BODIES, PARTS, SEXES, SUSPICIONS } from "./kinds.js";
import { present } from "./lists.js";
import { keptBy } from "./tanks.js";
import { localMinute } from "./times.js";

export class Asked extends Error {
  constructor(words, field) {
    super(words);
    this.field = field;
  }
}

export const FIELDS = { body, cause, last_seen, suspicion, to_place, sexes, stages, eggs, young, range, arrival, unlisted };

function body({ lot, before }) {
  const kept = tiles("body", "The body", BODIES, before.body?.kept);
  const bag = h("input", { autocomplete: "off", value: before.body?.bag ?? "", autocapitalize: "characters" });
  const part = select(PARTS, before.body?.part ?? "whole");
  const rest = h("div", { hidden: !before.body }, labelled("bag", "Bag or jar number", bag, "One number, one death."), labelled("part", "How much of it", part));
  for (const input of kept.inputs) input.addEventListener("change", () => {
    rest.hidden = input.value === "not found" || input.value === "discarded";
  });
  const asked = lot?.protected || lot?.count_class === "A";
  return {
    element: h("div", {}, asked ? h("p", { class: "warn" }, "Say what becomes of the body: it is asked for this animal.") : null, kept.element, rest),
    first: asked,
    read: () => (kept.value() ? { body: { kept: kept.value(), bag: rest.hidden ? "" : bag.value.trim(), part: part.value } } : {}),
  };
}

function cause({ lists, before }) {
  const known = lists.causes.filter((one) => one !== "not known");
  const field = select([["", "not known"], ...known.map((one) => [one, one])], before.cause);
  return { element: labelled("cause", "Cause", field), read: () => ({ cause: field.value }) };
}

function last_seen({ before, lists }) {
  const field = h("input", { type: "date", max: localMinute(present(), lists.zone).slice(0, 10), value: before.last_seen ?? "" });
  return { element: labelled("last-seen", "Last seen for certain", field, "Leave empty if nobody knows."), first: true, read: () => ({ last_seen: complete(field, "The day is not complete: give day, month and year, or clear it.") }) };
}

function suspicion({ before }) {
  const field = select([["", "nothing"], ...SUSPICIONS.map((one) => [one, one])], before.suspicion);
  return { element: labelled("suspicion", "Suspected, not known", field), first: true, read: () => ({ suspicion: field.value }) };
}

function to_place({ place, lists, person, before }) {
  const others = lists.places.filter((one) => one.code !== place.code);
  const group = (label, some) => (some.length ? h("optgroup", { label }, some.map((one) => h("option", { value: one.code, selected: one.code === before.to_place }, `${one.code} ${one.name}`))) : null);
  const field = h("select", { required: true }, h("option", { value: "" }, "Choose a tank"),
    group("My tanks", others.filter((one) => keptBy(one, person))),
    group("Other tanks", others.filter((one) => !keptBy(one, person))));
  return {
    element: labelled("to-place", "To which tank", field),
    first: true,
    to: () => others.find((one) => one.code === field.value)?.name,
    read: () => {
      if (!field.value) throw new Asked("Choose the tank that they went to.", field);
      return { to_place: field.value };
    },
  };
}

function sexes({ before, lot }) {
  const from = select(SEXES, before.from_sex || "unknown");
  const to = tiles("to-sex", "Now", SEXES.slice(1), before.to_sex);
  return {
    element: h("div", {}, labelled("from-sex", "Until now in the book as", from), to.element,
      lot?.can_change_sex ? h("p", { class: "under" }, "These can change sex: a changed ratio is no error.") : null),
    first: true,
    to: () => to.value(),
    read: () => {
      if (!to.value()) throw new Asked("Choose the sex that they are now.", to.inputs[0]);
      if (to.value() === from.value) throw new Asked("Before and after are the same sex.", from);
      return { from_sex: from.value, to_sex: to.value() };
    },
  };
}

function stages({ lists, before }) {
  const words = (one) => [one, one];
  const from = select([["", "not stated"], ...lists.stages.map(words)], before.stage);
  const to = tiles("to-stage", "Now", lists.stages.map(words), before.to_stage);
  return {
    element: h("div", {}, labelled("from-stage", "Until now in the book as", from), to.element),
    first: true,
    to: () => to.value(),
    read: () => {
      if (!to.value()) throw new Asked("Choose the stage that they are now.", to.inputs[0]);
      return { stage: from.value, to_stage: to.value() };
    },
  };
}

/** Egg cases and egg masses are lines of their own, never part of the animals. */
function eggs({ lot, before }) {
  if (lot.unit.startsWith("egg")) return { element: null, read: () => ({}) };
  const what = tiles("eggs", "What was laid", [["egg case", "Egg cases"], ["egg mass", "Egg masses"]], before.stage || "egg case");
  return { element: what.element, first: true, to: () => what.value(), read: () => ({ stage: what.value() }) };
}

/** Hatched out of a line of egg cases: which line the young belong to. */
function young({ lot, lists, before }) {
  if (!lot.unit.startsWith("egg")) return { element: null, read: () => ({}) };
  const near = lists.lots.filter((one) => one.place === lot.place && one.unit === "animal" && one.name === lot.name);
  const field = select([["", near.length ? "Choose" : "None of this species here"], ...near.map((one) => [one.accession, `${one.common_name || one.name} ${one.accession}`])], before.to_lot ?? (near.length === 1 ? near[0].accession : ""));
  return { element: labelled("to-lot", "The young belong to", field), first: true, read: () => ({ to_lot: field.value || null }) };
}

/** Of eggs and young nobody can count: the least and the most, on both sides of the number that was chosen. */
function range({ lot, before }) {
  if (lot?.kind === "individual") return { element: null, read: () => ({}) };
  const boxes = { at_least: numberBox("at-least", before.at_least), at_most: numberBox("at-most", before.at_most) };
  const { at_least, at_most } = boxes;
  const number = (box) => (Number.isNaN(whole(box)) ? null : whole(box));
  const open = Object.keys(boxes).some((name) => before[name] !== undefined && before[name] !== null);
  return {
    element: h("details", { class: "range", open },
      h("summary", {}, "Not sure: from … to …"),
      h("div", { class: "from-to" }, labelled("at-least", "From, at least", at_least), labelled("at-most", "To, at most", at_most)),
      h("p", { class: "under" }, "Your number stays the best value; the range is kept beside it. One of them may stay empty.")),
    first: true,
    // What is no number is told when it is saved.
    about: () => ({ low: number(at_least), high: number(at_most) }),
    read: ({ n }) => {
      const [low, high] = [whole(at_least), whole(at_most)];
      for (const box of [at_least, at_most]) {
        if (Number.isNaN(whole(box))) throw new Asked("Say from how many to how many, as whole numbers.", box);
      }
      if (low !== null && low > n) throw new Asked(`At least ${low} is more than your number, ${n}: correct one of them.`, at_least);
      if (high !== null && high < n) throw new Asked(`At most ${high} is less than your number, ${n}: correct one of them.`, at_most);
      return { ...(low === null ? {} : { at_least: low }), ...(high === null ? {} : { at_most: high }) };
    },
  };
}

/** What is dead on arrival never enters the stock: it is told beside those that live, or instead of them. */
function arrival({ lot, before }) {
  const from = h("input", { autocomplete: "off" });
  const none = Boolean(before.dead_on_arrival) && !Object.values(before.numbers ?? {}).some(Boolean);
  const all = h("input", { type: "checkbox", name: "all-dead", checked: none });
  const dead = numberBox("dead", none ? "" : before.dead_on_arrival || "");
  const some = labelled("dead", "Dead on arrival, besides those above", dead, "The number above is of those alive.");
  all.addEventListener("change", () => {
    some.hidden = all.checked;
  });
  some.hidden = none || lot?.kind === "individual";
  return {
    element: h("div", {},
      h("label", { class: "tile" }, all, h("span", {}, lot?.kind === "individual" ? "Dead on arrival" : "All were dead on arrival")),
      some,
      h("p", { class: "under" }, "What is dead on arrival never enters the stock; the registrar counts it against the permit."),
      labelled("from", "From whom, or which permit", from)),
    first: true,
    to: () => (all.checked ? "all" : whole(dead) || ""),
    read: ({ n }) => {
      const note = from.value.trim() && `from ${from.value.trim()}`;
      if (all.checked) return { note, dead_on_arrival: n, none_alive: true };
      if (Number.isNaN(whole(dead))) throw new Asked("Say how many were dead on arrival, as a number.", dead);
      return whole(dead) ? { note, dead_on_arrival: whole(dead) } : { note };
    },
  };
}

const NOT_LISTED = "Not on the list: ";
const GOT_HERE = "; how it got here: ";

/** An animal that the tank's list does not have: how many, or which one by its letter, and what it looks like. */
function unlisted({ number, before }) {
  const wrote = writtenIn(before);
  const name = h("input", { autocomplete: "off", value: wrote.name });
  const how = tiles("how", "How it got here", [["not known", "Not known"], ["arrived", "Arrived"], ["settled", "Settled"], ["moved", "Moved here"]], wrote.how);
  const by = tiles("by", "Told by", [["number", "A number"], ["letter", "A letter or mark"], ["abundance", "Too many to count"]],
    before.letter ? "letter" : before.abundance ? "abundance" : "number");
  const letter = h("input", { autocomplete: "off", autocapitalize: "characters", maxlength: "40", value: before.letter ?? "" });
  const abundance = select([["", "Choose"], ...ABUNDANCE.map(([value, words]) => [value, `${value}, ${words}`])], before.abundance ?? "");
  const instead = {
    letter: labelled("letter", "Which letter or mark", letter, "Of the one animal that you mean, as on its tag, or of its name."),
    abundance: labelled("abundance", "How abundant", abundance),
  };
  const asked = () => {
    number.element.hidden = by.value() !== "number";
    for (const [what, element] of Object.entries(instead)) element.hidden = by.value() !== what;
  };
  for (const input of by.inputs) input.addEventListener("change", asked);
  asked();
  const marked = () => (by.value() === "letter" ? letter.value.trim() : "");
  const many = () => ABUNDANCE.find(([value]) => value === abundance.value)?.[1] ?? "many";
  const told = () => (marked() ? `marked ${marked()}` : by.value() === "abundance" ? many() : "");
  return {
    element: h("div", {}, by.element, Object.values(instead), labelled("what", "What it is, in your words", name, "The book does not change until the registrar gives it a name."), how.element),
    first: true,
    to: told,
    read: ({ n }) => {
      if (by.value() === "letter" && !marked()) throw new Asked("Say which letter or mark it bears.", letter);
      if (by.value() === "abundance" && !abundance.value) throw new Asked("Say how abundant they are.", abundance);
      if (!name.value.trim()) throw new Asked("Say what it is, as you would to a colleague.", name);
      return {
        ...(marked() ? { letter: marked() } : {}),
        ...(by.value() === "abundance" ? { abundance: abundance.value } : {}),
        note: `${NOT_LISTED}${told() || n}, ${name.value.trim()}${GOT_HERE}${how.value()}`,
      };
    },
  };
}

/** The words that were made of an entry that came back, apart again: {name, how, note}. */
export function writtenIn({ note = "", letter }) {
  if (!note.startsWith(NOT_LISTED)) return { name: "", how: "not known", note };
  const told = letter ? `marked ${letter}, ` : note.slice(NOT_LISTED.length).split(", ", 1)[0] + ", ";
  const [name, ...rest] = note.slice(NOT_LISTED.length + told.length).split(GOT_HERE);
  const [how, ...more] = rest.join(GOT_HERE).split("; ");
  return { name, how, note: more.join("; ") };
}

/** Now, unless another time is given: in the house's own time, as the book keeps it. */
export function when({ lists, before }) {
  const field = h("input", { type: "datetime-local", max: localMinute(present(), lists.zone), value: before.happened?.length === 16 ? before.happened : "" });
  return { element: labelled("when", "When, if not now", field, "House time."), read: () => ({ happened: wholeTime(field) }) };
}

/** What stands in the field, null when it is empty. Half a date reads as an empty one and would be told as now. */
function complete(field, words) {
  if (cutShort(field)) throw new Asked(words, field);
  return field.value || null;
}

export function wholeTime(field) {
  return complete(field, "The time is not complete: give day, month, year, hour and minute, or clear it for now.");
}

/** How many of them are male, female, hermaphrodite; the rest is not known. */
export function sexNumbers({ before }) {
  const boxes = SEXES.slice(1).map(([value, words]) => {
    const given = before.numbers?.[`${value}s`];
    return [value, words, numberBox(`of-${value}`, given ? String(given) : "")];
  });
  return {
    element: h("fieldset", {}, h("legend", {}, "Of these, as far as it is known"), boxes.map(([value, words, box]) => labelled(`of-${value}`, `${words.charAt(0).toUpperCase()}${words.slice(1)}s`, box))),
    read: ({ n }) => {
      const numbers = { males: 0, females: 0, hermaphrodites: 0, unknown: 0 };
      for (const [value, words, box] of boxes) {
        if (Number.isNaN(whole(box))) throw new Asked(`Say how many are ${words}, as a whole number.`, box);
        numbers[`${value}s`] = whole(box) ?? 0;
      }
      const sexed = numbers.males + numbers.females + numbers.hermaphrodites;
      if (sexed > n) throw new Asked(`${sexed} by sex, but ${n} in all: correct one of them.`, boxes[0][2]);
      return { numbers: { ...numbers, unknown: n - sexed } };
    },
  };
}

export function noteField({ before, required = false }) {
  const field = h("textarea", { rows: 3 });
  field.value = before.note ?? "";
  return {
    element: labelled("note", "Note", field),
    read: () => {
      if (required && !field.value.trim()) throw new Asked("Write the note first.", field);
      return { note: field.value.trim() };
    },
  };
}

/** Only for a move that came back: the book said that there are not so many. */
export function moreThanBook() {
  const box = h("input", { type: "checkbox", name: "more" });
  return {
    element: h("label", { class: "tile" }, box, h("span", {}, "I count more than the book")),
    first: true,
    read: () => ({ more_than_book: box.checked }),
  };
}
