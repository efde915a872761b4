// One line of a count sheet: a number, passes, a letter, or a roll-call; blank until something is written.
//
// Exports
//   lineCard(line, before, {letters, wanted, changed, round})  {element, read}; read() gives what stands in it, or
//                        throws Asked
//   writtenCard(before, {letters, changed, remove})    the same for an animal that is not on the sheet

import { labelled, numberBox, tiles, whole } from "../tankside/boxes.js";
import { button, h } from "../tankside/dom.js";
import { Asked } from "../tankside/fields.js";
import { present } from "../tankside/lists.js";
import { clock } from "../tankside/times.js";
import { inWords } from "./passes.js";

const SEEN = [["", "Not marked"], ["seen", "Seen"], ["not seen", "Not seen"], ["not looked for", "Not looked for"]];
const SEXES = [["males", "Males"], ["females", "Females"], ["hermaphrodites", "Hermaphr."], ["unknown", "Not known"]];
let running = 0;

export function lineCard(line, before, around) {
  const asks = { letter: letterField, "roll-call": rollCall, number: line.count_class === "C" ? passesField : numberField }[line.asks];
  const what = asks(line, before, around);
  const sexes = line.sexed ? sexesField(before) : null;
  return card(line, before, around, [what, sexes].filter(Boolean), [
    heading(line),
    line.counted ? h("p", { class: "under" }, "You have sent this line. What you write now takes its place.") : null,
  ]);
}

export function writtenCard(before, around) {
  running += 1;
  const name = h("input", { autocomplete: "off", maxlength: "200", value: before.name ?? "" });
  const legend = h("legend", {}, "Not on the sheet");
  const line = { line: `w${running}`, unit: "animal" };
  const parts = [numberField(line, before, around), letterField(line, before, around, "Or a letter")];
  const made = card(line, before, around, parts, [legend, labelled(`name-${running}`, "What it is, in your words", name)]);
  made.element.append(button("Take it out", () => around.remove(made)));
  const read = made.read;
  made.read = () => {
    const said = read();
    if (!name.value.trim()) throw new Asked("Say what it is, as you would to a colleague.", name);
    if (said.value === null && !said.letter) throw new Asked(`${name.value.trim()}: write how many, or a letter.`, name);
    return { ...said, name: name.value.trim() };
  };
  made.draft = ((draft) => () => ({ ...draft(), name: name.value }))(made.draft);
  made.focus = () => name.focus();
  return made;
}

/** The box with its note and its moment: the moment of the last number, not of the last word. */
function card(line, before, { changed, zone }, parts, head) {
  let moment = before.counted_at ?? null;
  const at = h("p", { class: "under moment" });
  const tell = () => { at.textContent = moment ? `Counted ${clock(moment, zone)}` : "Not counted"; };
  const note = h("input", { autocomplete: "off", maxlength: "300", value: before.remark ?? "" });
  running += 1;
  const noted = h("details", { open: Boolean(before.remark) }, h("summary", {}, "Note"), labelled(`note-${running}`, "Note", note));
  const counted = () => {
    moment = parts.some((part) => part.filled()) ? new Date(present()).toISOString() : null;
    tell();
    changed();
  };
  for (const part of parts) part.element.addEventListener("input", counted);
  note.addEventListener("input", changed);
  tell();
  const stated = (how) => ({ ...Object.assign({}, ...parts.map((part) => part[how]())), counted_at: moment, remark: note.value });
  return {
    element: h("fieldset", { class: "card count-line" }, head, parts.map((part) => part.element), noted, at),
    read: () => stated("read"),
    draft: () => stated("draft"),
    blank: () => !parts.some((part) => part.filled()),
    focus: () => parts[0].element.querySelector("input")?.focus(),
  };
}

function heading(line) {
  const under = [
    `line ${line.line}`, line.place, `class ${line.count_class || "–"}`, `counted by ${line.unit}`, line.marks, line.joined ? "joined: all parts in one session" : "",
  ].filter(Boolean).join(", ");
  const letters = h("span", { class: "mark", "aria-hidden": "true" }, line.letters);
  const picture = line.picture_url ? h("img", { class: "mark", src: line.picture_url, alt: "", width: 56, height: 56 }) : letters;
  if (line.picture_url) picture.addEventListener("error", () => picture.replaceWith(letters));
  return [
    h("legend", {}, line.common_name || line.name),
    h("div", { class: "row head" }, picture, h("div", {}, line.common_name ? h("i", {}, line.name) : null, h("small", {}, under))),
  ];
}

function atLeast(before) {
  const box = h("input", { type: "checkbox", checked: Boolean(before.at_least) });
  return { box, element: h("label", { class: "tile least" }, box, h("span", {}, "At least: some hide or bury")) };
}

function numberField(line, before) {
  const box = numberBox(`count-${line.line}`, before.value);
  const least = atLeast(before);
  const words = line.unit === "animal" ? "How many" : `How many (${line.unit})`;
  const read = () => {
    const value = whole(box);
    if (Number.isNaN(value)) throw new Asked(`“${box.value}” is no whole number. Zero is written: 0. Nothing: not counted.`, box);
    return { value, at_least: least.box.checked };
  };
  return {
    element: h("div", {}, labelled(`count-${line.line}`, words, box), least.element),
    filled: () => box.value.trim() !== "",
    read,
    draft: () => ({ value: Number.isNaN(whole(box)) ? null : whole(box), at_least: least.box.checked }),
  };
}

/** Class C: each pass or picture in a box of its own; another box comes when the last is filled. */
function passesField(line, before, { wanted }) {
  const given = before.passes ?? [];
  const list = h("div", { class: "pair three" });
  const said = h("p", { class: "under", role: "status" });
  const least = atLeast(before);
  const boxes = [];
  const add = (value) => {
    const id = `count-${line.line}-${boxes.length + 1}`;
    const box = numberBox(id, value);
    boxes.push(box);
    list.append(labelled(id, `Pass ${boxes.length}`, box));
  };
  const numbers = () => boxes.map(whole).filter((n) => Number.isInteger(n));
  const tell = () => { said.textContent = inWords(numbers(), wanted); };
  for (let i = 0; i < Math.max(wanted, given.length + 1); i += 1) add(given[i]);
  list.addEventListener("input", () => {
    if (boxes.length < 30 && boxes.at(-1).value.trim()) add();
    tell();
  });
  tell();
  return {
    element: h("div", {}, list, said, least.element),
    filled: () => boxes.some((box) => box.value.trim() !== ""),
    read: () => {
      const wrong = boxes.find((box) => Number.isNaN(whole(box)));
      if (wrong) throw new Asked(`“${wrong.value}” is no whole number. Zero is written: 0.`, wrong);
      return { passes: numbers(), at_least: least.box.checked };
    },
    draft: () => ({ passes: numbers(), at_least: least.box.checked }),
  };
}

function letterField(line, before, { letters }, legend = "How much of it") {
  const choices = [["", "Not counted"], ...letters.map((one) => [one.letter, `${one.letter} ${one.words}`])];
  const chosen = tiles(`letter-${line.line}`, legend, choices, before.letter ?? "");
  const read = () => ({ letter: chosen.value() });
  return { element: chosen.element, filled: () => chosen.value() !== "", read, draft: read };
}

function rollCall(line, before) {
  const marks = line.individuals.map((one, n) => [one.accession, tiles(`seen-${line.line}-${n}`, one.words, SEEN, before.seen?.[one.accession] ?? "")]);
  const read = () => ({ seen: Object.fromEntries(marks.map(([accession, mark]) => [accession, mark.value()]).filter(([, seen]) => seen)) });
  return {
    element: h("div", { class: "roll" }, marks.map(([, mark]) => mark.element)),
    filled: () => Object.keys(read().seen).length > 0,
    read,
    draft: read,
  };
}

function sexesField(before) {
  running += 1;
  const boxes = SEXES.map(([sex, words]) => [sex, words, numberBox(`sex-${running}-${sex}`, before.sexes?.[sex])]);
  const draft = () => ({ sexes: Object.fromEntries(boxes.map(([sex, , box]) => [sex, Number.isNaN(whole(box)) ? null : whole(box)])) });
  return {
    element: h("details", { open: Boolean(before.sexes && Object.values(before.sexes).some((n) => n !== null)) }, h("summary", {}, "Of these, by sex"),
      h("div", { class: "pair four" }, boxes.map(([sex, words, box]) => labelled(`sex-${running}-${sex}`, words, box)))),
    filled: () => boxes.some(([, , box]) => box.value.trim() !== ""),
    read: () => {
      const wrong = boxes.find(([, , box]) => Number.isNaN(whole(box)));
      if (wrong) throw new Asked(`“${wrong[2].value}” is no whole number.`, wrong[2]);
      return draft();
    },
    draft,
  };
}
