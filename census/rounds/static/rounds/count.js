// Count sheets on the phone: the sheets of who holds the device, and no others; blank boxes, no numbers.
//
// The address: /tank/count, /tank/count#<sheet>/<round>, and #mend/<identifier> for one that came back.

import { reasons } from "../tankside/details.js";
import { button, h, say, show, view as begin } from "../tankside/dom.js";
import { atRest, startPage } from "../tankside/frame.js";
import { known } from "../tankside/lists.js";
import { all, looked, onChange } from "../tankside/outbox.js";
import { current } from "../tankside/person.js";
import { stateOf } from "../tankside/saved.js";
import { dayAndClock } from "../tankside/times.js";
import { PATH, draftOf, draftOfRow, keepDraft, says, sheetsOf } from "./count_sheets.js";
import { showSheet } from "./count_sheet.js";

let view = "";

const key = (sheet) => `${sheet.number}/${sheet.round}`;
const go = (to) => {
  if (location.hash === `#${to}` || (!to && !location.hash)) open();
  else location.hash = to;
};

async function open() {
  const person = current();
  if (!person) return;
  view = "";
  const wait = begin();
  const hash = decodeURIComponent(location.hash.slice(1));
  const got = await wait(sheetsOf(person));
  if (current()?.id !== person.id) return;
  if (hash.startsWith("mend/")) return mend(person, got, hash.slice(5));
  if (hash.startsWith("saved/")) return showSaved(person, hash.slice(6));
  const sheet = got?.sheets.find((one) => key(one) === hash);
  if (sheet) return openSheet(person, got, sheet);
  return showSheets(person, got, hash);
}

async function openSheet(person, got, sheet, row = null) {
  view = "sheet";
  const wait = begin();
  const draft = await wait(draftOf(person, sheet));
  if (current()?.id !== person.id) return;
  showSheet({ person, sheet, got, row, draft, back: () => go(""), done: (identifier) => go(`saved/${identifier}`) });
}

/** What came back is opened with what it said, for its counter alone; it names the entry that it replaces. */
async function mend(person, got, identifier) {
  const wait = begin();
  const row = (await wait(all())).find((one) => one.identifier === identifier && one.author.id === person.id && one.state === "came back");
  const sheet = row && got?.sheets.find((one) => one.number === row.body.sheet && one.round === row.body.round);
  if (!sheet) return showSheets(person, got, "");
  const draft = await wait(draftOf(person, sheet));
  if (!Object.values(draft.lines).some(says)) await wait(keepDraft(person, sheet, draftOfRow(row)));
  return openSheet(person, got, sheet, row);
}

async function showSheets(person, got, asked) {
  view = "sheets";
  atRest();
  const wait = begin();
  const rows = (await wait(all())).filter((row) => row.path === PATH);
  const mine = rows.filter((row) => row.author.id === person.id);
  const replaced = new Set(mine.map((row) => row.body.replaces).filter(Boolean));
  const waiting = new Set(mine.filter((row) => row.state === "waiting").map((row) => `${row.body.sheet}/${row.body.round}`));
  const back = mine.filter((row) => row.state === "came back" && !row.looked && !replaced.has(row.identifier));
  const sheets = got?.sheets.filter((sheet) => !waiting.has(key(sheet)) && !sentSince(mine, sheet, got)) ?? [];
  const drafts = new Map(await wait(Promise.all(sheets.map(async (sheet) => [sheet, await draftOf(person, sheet)]))));
  show("Your count sheets",
    asked ? h("p", { class: "note" }, `“${asked}” is no sheet of yours on this device.`) : null,
    back.map((row) => h("section", { class: "back" }, h("h2", {}, row.words), h("p", {}, "It came back: ", reasons(row)),
      h("div", { class: "grid" },
        button("Mend it", () => go(`mend/${row.identifier}`), { class: "main" }),
        button("I have read it", () => looked(row.sequence))))),
    sheets.length
      ? h("ul", { class: "list" }, sheets.map((sheet) => h("li", {}, h("button", { type: "button", on: { click: () => go(key(sheet)) } },
          h("strong", { class: "mark" }, sheet.place),
          h("span", {}, h("strong", {}, sheet.place_name), h("small", {}, `${sheet.number}${sheet.round > 1 ? `, count ${sheet.round}: only the lines asked for` : ""}`),
            h("small", {}, sofar(sheet, drafts.get(sheet))))))))
      : h("p", { class: "note" }, nothing(person, got)),
    waiting.size ? h("p", { class: "note" }, `Handed in here and not yet sent: ${[...waiting].map((one) => one.split("/")[0]).join(", ")}.`) : null,
    got ? h("p", { class: "under" }, `Sheets of ${dayAndClock(got.fetched_at, known().zone)}${got.fresh ? "" : ", kept on this device"}.`) : null);
}

/** Sent after the kept copy was made: the copy does not know of it yet. */
function sentSince(mine, sheet, got) {
  return mine.some((row) => row.state === "sent" && row.body.hand_in && `${row.body.sheet}/${row.body.round}` === key(sheet) && row.body.saved_at > got.fetched_at);
}

function sofar(sheet, draft) {
  const n = Object.values(draft.lines).filter(says).length;
  return n ? `${n} of ${sheet.lines.length} lines written, not handed in` : `${sheet.lines.length} ${sheet.lines.length === 1 ? "line" : "lines"}`;
}

function nothing(person, got) {
  if (got) return "Nothing to count: no sheet is issued to you.";
  if (!person.pass) return "Your sheets come with a signal, after your code: choose yourself again where there is one.";
  return "No signal, and this device has not had your sheets yet. Open this page once where there is one; then it works without.";
}

async function showSaved(person, identifier, again = false) {
  const wait = begin();
  const row = (await wait(all())).find((one) => one.identifier === identifier && one.author.id === person.id);
  if (!row) return go("");
  view = `saved/${identifier}/${row.state}`;
  atRest();
  const state = stateOf(row);
  show(row.answer?.words || row.words,
    h("p", { class: `big ${state.sign}` }, h("span", { "aria-hidden": "true" }, state.mark), ` ${state.words}`),
    row.state === "came back" ? h("p", { class: "note" }, reasons(row)) : null,
    (row.answer?.flags ?? []).length ? h("ul", { class: "notes" }, row.answer.flags.map((flag) => h("li", {}, flag.words))) : null,
    row.state === "came back" ? button("Mend it", () => go(`mend/${row.identifier}`), { class: "main" }) : null,
    button("Your other sheets", () => go(""), { class: row.state === "came back" ? "" : "main" }));
  if (again) say(state.words);
}

onChange(async () => {
  const person = current();
  if (!person) return;
  const before = view;
  const [what, identifier, state] = view.split("/");
  if (view === "sheets") open();
  if (what !== "saved") return;
  const row = (await all()).find((one) => one.identifier === identifier);
  if (view === before && row && row.state !== state) showSaved(person, identifier, true);
});
startPage(open);
addEventListener("hashchange", open);
