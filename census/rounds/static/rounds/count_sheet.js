// One sheet: its hints, its lines, what is not on it, and handing it in.
//
// Exports
//   showSheet({person, sheet, draft, got, row, done})  draws it; done(identifier) when it was handed in

import { reasons } from "../tankside/details.js";
import { button, h, say, show } from "../tankside/dom.js";
import { Asked } from "../tankside/fields.js";
import { busy } from "../tankside/frame.js";
import { known } from "../tankside/lists.js";
import { put } from "../tankside/outbox.js";
import { current } from "../tankside/person.js";
import { inWords as troubleWords } from "../tankside/store.js";
import { lineCard, writtenCard } from "./count_line.js";
import { EMPTIED, MEND, PATH, bodyOf, dropDraft, keepDraft, says } from "./count_sheets.js";
import { middle } from "./passes.js";

export function showSheet({ person, sheet, draft, got, row, back, done }) {
  busy();
  const around = { letters: got.letters, wanted: got.passes_wanted, zone: known().zone, changed };
  const cards = sheet.lines.map((line) => [line, lineCard(line, draft.lines[line.line] ?? {}, around)]);
  const written = [];
  const list = h("div", { class: "cards" });
  const progress = h("p", { class: "lead", role: "status" });
  const wrong = h("p", { class: "problem", role: "alert", hidden: true });
  const ask = h("div", { class: "ask", hidden: true });
  const form = h("form", { class: "entry count", novalidate: true, on: { submit: (event) => {
    event.preventDefault();
    tryTo(lookOver);
  } } },
    cards.map(([, one]) => one.element),
    sheet.round === 1 ? h("fieldset", {}, h("legend", {}, "Not on the sheet"),
      h("p", { class: "under" }, "Settlers, strays, hitch-hikers. The book does not change until the registrar gives it a name."),
      list, button("Write one in", () => addWritten({}).focus())) : null,
    wrong, ask,
    h("p", { class: "save" }, progress, h("button", { class: "main" }, "Hand in")));
  for (const one of draft.written) addWritten(one);
  const wait = show(`${sheet.place} ${sheet.place_name}${sheet.round > 1 ? ", count again" : ""}`,
    h("p", { class: "under" }, `${sheet.number}, count ${sheet.round}, list ${sheet.list_version}. Counters: ${sheet.counters.join(", ") || "you"}.`),
    row ? h("p", { class: "note" }, "It came back: ", reasons(row)) : null,
    h("details", { open: !Object.keys(draft.lines).length, class: "hints" }, h("summary", {}, "How to count here"), h("ul", { class: "notes" }, sheet.hints.map((words) => h("li", {}, words)))),
    form,
    button("Back to the sheets: what is written stays", back));
  tell();

  function addWritten(before) {
    const one = writtenCard(before, { ...around, remove: (card) => {
      written.splice(written.indexOf(card), 1);
      card.element.remove();
      changed();
    } });
    written.push(one);
    list.append(one.element);
    return one;
  }

  function tell() {
    const counted = cards.filter(([, one]) => !one.blank()).length;
    progress.textContent = `${counted} of ${cards.length} lines counted`;
  }

  function changed() {
    ask.hidden = true;
    tell();
    if (form.dataset.saving) return; // what was handed in does not stay on the device as a draft
    keepDraft(person, sheet, now("draft"));
  }

  function now(how) {
    const lines = Object.fromEntries(cards.map(([line, one]) => [line.line, one[how]()]).filter(([, said]) => says(said) || said.remark));
    return { lines, written: written.map((one) => one[how]()), ...(row ? { replaces: row.identifier } : draft.replaces ? { replaces: draft.replaces } : {}) };
  }

  /** Reads every box; what is blank is named once more before the sheet goes. */
  function lookOver() {
    const said = now("read");
    for (const [line, one] of cards) checkSexes(line, one, said.lines[line.line]);
    const blank = cards.filter(([, one]) => one.blank()).map(([line]) => `${line.line} ${line.common_name || line.name}`);
    if (!blank.length) return handIn(said);
    ask.replaceChildren(
      h("h2", { tabindex: "-1" }, `${blank.length} of ${cards.length} lines are blank: not counted`),
      h("ul", { class: "notes" }, blank.map((words) => h("li", {}, words))),
      button("Hand in as it is", () => tryTo(() => handIn(said)), { class: "main" }),
      button("Go on counting", () => { ask.hidden = true; cards.find(([, one]) => one.blank())?.[1].focus(); }));
    ask.hidden = false;
    ask.querySelector("h2").focus();
    ask.scrollIntoView({ block: "center" });
  }

  async function handIn(said) {
    if (form.dataset.saving) return;
    form.dataset.saving = "yes";
    const n = Object.values(said.lines).filter(says).length + said.written.length;
    // No number that was counted: the words stand on this device for all who hold it.
    const words = `${sheet.number}, ${sheet.place_name}, count ${sheet.round}: ${n} ${n === 1 ? "line" : "lines"}, handed in`;
    const identifier = await put(PATH, bodyOf(sheet, said, true), words, current(), { mend: MEND, emptied: EMPTIED });
    await dropDraft(person, sheet);
    await wait();
    say(`Saved on this device: ${words}`);
    done(identifier);
  }

  async function tryTo(act) {
    wrong.hidden = true;
    try {
      await act();
    } catch (error) {
      delete form.dataset.saving;
      wrong.hidden = false;
      wrong.textContent = error instanceof Asked ? error.message : troubleWords(error);
      const details = error.field?.closest?.("details");
      if (details) details.open = true;
      error.field?.focus?.();
    }
  }
}

function checkSexes(line, card, said) {
  const given = Object.values(said?.sexes ?? {}).filter((n) => n !== null);
  if (!given.length) return;
  const sum = given.reduce((a, b) => a + b, 0);
  const all = said.passes?.length ? middle(said.passes) : said.value;
  if (all !== null && all !== undefined && sum !== all) {
    throw new Asked(`${line.common_name || line.name}: ${sum} by sex, but ${all} in all. Correct one of them.`, card.element.querySelector("input"));
  }
}
