// A field slip: under which permit, when, where, with what, who, and what was caught. Kept as a draft of its
// writer while it is written, for a trip is long and a device changes hands.
//
// The address: /tank/slip, and /tank/slip#mend/<identifier> for one that came back.

import { labelled, select } from "./boxes.js";
import { reasons } from "./details.js";
import { button, h, say, show, view } from "./dom.js";
import { Asked, wholeTime } from "./fields.js";
import { atRest, busy, startPage } from "./frame.js";
import { known, present, refresh } from "./lists.js";
import { all, onChange, pending, put } from "./outbox.js";
import { current } from "./person.js";
import { stateOf } from "./saved.js";
import { inWords, lineFor, totals, warnings } from "./slip_limits.js";
import { placeFields } from "./slip_place.js";
import { takeCards } from "./slip_takes.js";
import { forget, inWords as troubleWords, keep, kept } from "./store.js";
import { localMinute } from "./times.js";

const PATH = "/api/v1/entries";
const MEND = "/tank/slip#mend/";
const KEY = (person) => `slip:${person.id}`;
let shown = null;

async function open() {
  const person = current();
  if (!person) return;
  shown = null;
  const wait = view();
  const hash = decodeURIComponent(location.hash.slice(1));
  if (hash.startsWith("mend/")) {
    const row = (await wait(all())).find((one) => one.identifier === hash.slice(5));
    if (row) return showForm(person, draftOf(row), row);
  }
  return showForm(person, (await wait(kept(KEY(person)))) ?? {});
}

/** What the slip of a row said, as the boxes hold it. */
function draftOf({ body }) {
  const text = (value) => (value === null || value === undefined ? "" : String(value));
  const words = (some) => Object.fromEntries(Object.entries(some).map(([name, value]) => [name, Array.isArray(value) || typeof value === "boolean" ? value : text(value)]));
  return {
    ...words(body.slip), happened: text(body.happened), place: text(body.place), note: text(body.note),
    takes: body.slip.takes.map((take) => ({ ...words(take), berried: text(take.berried) })),
  };
}

async function showForm(person, before, row = null) {
  busy();
  const lists = known();
  const opened = view();
  const earlier = await opened(waitingTakes(row));
  const names = new Map(lists.lots.filter((lot) => lot.common_name).map((lot) => [lot.common_name.toLowerCase(), lot.name]));
  const permitOf = () => lists.permits.find((one) => one.number === permit.value) ?? null;
  const changed = () => {
    warn();
    // Once it is saved or left, a late position of the device must not bring the draft back.
    if (!row && form.isConnected && !form.dataset.saving) keep(KEY(person), stated());
  };
  const choices = lists.permits.map((one) => [one.number, `${one.number}${one.called ? `, ${one.called}` : ""}`]);
  const permit = select([["", "Choose"], ...choices, ["other", "Another permit"]], chosenPermit());
  const number = h("input", { autocomplete: "off", maxlength: "60", value: before.permit && !lists.permits.some((one) => one.number === before.permit) ? before.permit : "" });
  const numberField = labelled("permit-number", "Number of the permit", number);
  const when = h("input", { type: "datetime-local", max: localMinute(present(), lists.zone), value: before.happened ?? "" });
  const place = placeFields(before, changed);
  const gear = h("input", { autocomplete: "off", maxlength: "120", list: "gear", value: before.gear ?? "" });
  const gears = h("datalist", { id: "gear" });
  const vessel = h("input", { autocomplete: "off", maxlength: "80", value: before.vessel ?? "" });
  const people = lists.persons.map((one) => [one, h("input", { type: "checkbox", name: "people", checked: before.people ? before.people.includes(one.id) : one.id === person.id })]);
  const others = h("input", { autocomplete: "off", maxlength: "200", value: before.others ?? "" });
  const takes = takeCards(before.takes ?? [], { permit: permitOf(), places: lists.places, changed });
  const tank = select([["", "The desk decides"], ...lists.places.map((one) => [one.code, `${one.code} ${one.name}`])], before.place ?? "");
  const note = h("textarea", { rows: 2, maxlength: "2000" });
  note.value = before.note ?? "";
  const limits = h("section", { class: "limits", "aria-labelledby": "limits", hidden: true });
  const wrong = h("p", { class: "problem", role: "alert", hidden: true });
  const form = h("form", { class: "entry slip", novalidate: true, on: { submit: save, input: changed, change: changed } },
    labelled("permit", "Permit", permit), numberField,
    labelled("happened", "When, if not now", when, "House time."),
    place.element,
    h("fieldset", {}, h("legend", {}, "With what, and who"),
      labelled("slip-gear", "Gear, several with commas", gear), gears,
      labelled("vessel", "Boat", vessel),
      h("div", { class: "grid" }, people.map(([one, box]) => h("label", { class: "tile" }, box, h("span", {}, one.name)))),
      labelled("others", "Others who were there", others)),
    takes.element,
    labelled("tank", "Those kept go to", tank),
    labelled("slip-note", "Note", note),
    limits,
    h("div", { class: "save" }, wrong, h("button", { class: "main" }, "Save the slip")));
  permit.addEventListener("change", () => takes.offer(permitOf()));
  const wait = show("Field slip",
    row ? h("p", { class: "note" }, "It came back: ", reasons(row)) : null,
    lists.permits.length ? null : h("p", { class: "note" }, "No permit that is valid today is on the lists of this device. Type its number; the limits are checked at the desk."),
    form,
    row ? null : button("Throw this draft away", async () => {
      await wait(forget(KEY(person)));
      showForm(person, {});
    }));
  warn();

  function chosenPermit() {
    if (!before.permit) return lists.permits.length === 1 ? lists.permits[0].number : lists.permits.length ? "" : "other";
    return lists.permits.some((one) => one.number === before.permit) ? before.permit : "other";
  }

  function stated() {
    return {
      permit: permit.value === "other" ? number.value : permit.value,
      happened: when.value, ...place.stated(), gear: gear.value, vessel: vessel.value, people: chosenPeople(), others: others.value,
      takes: takes.stated(), place: tank.value, note: note.value,
    };
  }

  function chosenPeople() {
    return people.filter(([, box]) => box.checked).map(([one]) => one.id);
  }

  /** Totals and warnings as far as they are known here; a wrong number in a box is no matter yet. */
  function warn() {
    numberField.hidden = permit.value !== "other";
    const of = permitOf();
    gears.replaceChildren(...(of?.gear ?? []).map((one) => h("option", { value: one })));
    limits.hidden = !of;
    if (!of) return;
    const now = stated();
    const rows = now.takes.map((take) => ({ ...take, kept: Number(take.kept) || 0, died: Number(take.died) || 0 }));
    const sums = totals(rows, of, names, earlier.filter((one) => one.permit === of.number));
    const day = (now.happened || localMinute(present(), lists.zone)).slice(0, 10);
    const told = warnings({ slip: now, permit: of, persons: lists.persons, day, sums });
    const unnamed = rows.filter((take) => take.name.trim() && !lineFor(take, of, names)).map((take) => take.name.trim());
    limits.replaceChildren(
      h("h2", { id: "limits" }, `What ${of.number} says`),
      ...(told.length ? [h("ul", { class: "warn", role: "status" }, told.map((words) => h("li", {}, words)))] : []),
      h("ul", { class: "notes" },
        sums.filter((sum) => !sum.over).map((sum) => h("li", {}, inWords(sum))),
        unnamed.length ? h("li", {}, `Not on its lines by this name: ${unnamed.join(", ")}. The desk looks which line it is.`) : null),
      h("p", { class: "under" }, "Kept and died count; those let go alive are told apart. It warns and never stops you: write what was done."));
  }

  async function save(event) {
    event.preventDefault();
    if (form.dataset.saving) return;
    form.dataset.saving = "yes";
    try {
      const said = stated();
      if (!said.permit.trim()) throw new Asked("Say under which permit.", permit.value === "other" ? number : permit);
      const slip = { permit: said.permit.trim(), people: chosenPeople(), others: said.others.trim(), ...place.read(), gear: said.gear.trim(), vessel: said.vessel.trim(), takes: takes.read() };
      const body = { kind: "slip", place: said.place, happened: wholeTime(when), note: said.note.trim(), slip, ...(row ? { replaces: row.identifier } : {}) };
      const identifier = await put(PATH, body, wordsOf(slip), current(), { mend: MEND });
      if (!row) await forget(KEY(person));
      await wait();
      if (location.hash) history.replaceState(null, "", "/tank/slip");
      say(`Saved on this device: ${wordsOf(slip)}`);
      showSaved(identifier);
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

function wordsOf(slip) {
  const sum = (field) => slip.takes.reduce((n, take) => n + take[field], 0);
  const what = slip.takes.length ? `${sum("caught")} caught, ${sum("let_go")} let go, ${sum("died")} died, ${sum("kept")} kept` : "nothing caught";
  return ["field slip", slip.permit, slip.locality].filter(Boolean).join(", ") + `: ${what}`;
}

/** What other slips on this device hold that the lists cannot know of yet. */
async function waitingTakes(row) {
  const waiting = (await pending()).filter((one) => one.body.slip && one !== row);
  return waiting.flatMap(({ body }) => body.slip.takes.map((take) => ({ ...take, permit: body.slip.permit })));
}

async function showSaved(identifier) {
  const wait = view();
  const row = (await wait(all())).find((one) => one.identifier === identifier);
  if (!row) return open();
  const state = stateOf(row);
  const key = `${identifier} ${row.state}`;
  if (shown === key) return;
  const again = shown !== null;
  shown = key;
  atRest();
  show(row.answer?.words || row.words,
    h("p", { class: `big ${state.sign}` }, h("span", { "aria-hidden": "true" }, state.mark), ` ${state.words}`),
    row.state === "came back" ? h("p", { class: "note" }, reasons(row)) : null,
    (row.answer?.flags ?? []).length ? h("ul", { class: "notes" }, row.answer.flags.map((flag) => h("li", {}, flag.words))) : null,
    row.state === "came back" ? button("Mend it", () => location.assign(MEND + identifier), { class: "main" }) : null,
    button("Another slip", () => open(), { class: row.state === "came back" ? "" : "main" }));
  if (again) say(state.words);
  if (row.state === "sent") refresh(); // what is left has changed
}

onChange(() => shown && current() && showSaved(shown.split(" ")[0]));
startPage(open);
addEventListener("hashchange", open);
