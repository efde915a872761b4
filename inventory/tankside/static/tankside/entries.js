// What was written on this device: not yet sent, came back, sent.

import { button, h, show, view } from "./dom.js";
import { device } from "./device.js";
import { all, looked, send } from "./outbox.js";
import { picturesBy } from "./picture_outbox.js";
import { afterwards, canUndo, mend, picturesTold, undoButton } from "./saved.js";
import { reasons, sentence } from "./details.js";
import { dayAndClock } from "./times.js";

const SHOWN = 50;

export async function showEntries({ person, lists, go, again }) {
  const wait = view();
  const rows = await wait(all());
  const pictures = await wait(picturesBy());
  const replaced = new Set(rows.map((row) => row.body.replaces).filter(Boolean));
  const undoOf = new Map(rows.filter((row) => row.body.undoes).map((row) => [row.body.undoes, row]));
  const waiting = rows.filter((row) => row.state === "waiting");
  const back = rows.filter((row) => row.state === "came back" && !row.looked && !replaced.has(row.identifier));
  const mine = back.filter((row) => row.author.id === person.id);
  const theirs = back.filter((row) => row.author.id !== person.id);
  const pictureBack = (row) => pictures.get(row.identifier)?.some((one) => one.state === "came back");
  const sent = rows.filter((row) => row.state === "sent").reverse().filter((row, i) => i < SHOWN || pictureBack(row));
  const told = (row) => picturesTold(row, pictures.get(row.identifier) ?? [], person);
  const state = (await wait(device()))?.state;
  const focused = document.activeElement?.textContent;
  show(
    "Entries of this device",
    h("h2", {}, `Not yet sent: ${waiting.length}`),
    state !== "enrolled" ? h("p", { class: "warn" }, "The server refuses this device. Nothing is lost: enrol it again and they go. ", h("a", { class: "button", href: "/tank/enrol" }, "Enrol it again")) : null,
    waiting.length ? [list(waiting, lists, told), button("Send now", () => send(), { class: "main" })] : h("p", {}, "Nothing waits."),
    h("h2", {}, `Came back to you: ${mine.length}`),
    mine.length ? mine.map((row) => cameBackItem(row, lists, go, told)) : h("p", {}, "Nothing came back to you."),
    theirs.length ? h("p", { class: "note" }, `Came back to others: ${countBy(theirs)}. Each sees the reason when they choose themselves.`) : null,
    h("h2", {}, "Sent"),
    sent.length ? list(sent, lists, told, (row) => (canUndo(row, undoOf.get(row.identifier), person) ? undoButton(row) : afterwards(row, undoOf.get(row.identifier), person))) : h("p", {}, "Nothing in the last seven days."),
    button("Back to the tanks", () => go("tanks")),
  );
  if (again && focused) [...document.querySelectorAll("main button")].find((one) => one.textContent === focused)?.focus({ preventScroll: true });
}

function list(rows, lists, told, beside = () => null) {
  return h("ul", { class: "entries" }, rows.map((row) => h("li", {},
    h("strong", {}, row.answer?.words || row.words),
    h("small", {}, `${row.author.initials || row.author.name}, saved ${dayAndClock(row.body.saved_at, lists.zone)}`),
    (row.answer?.flags ?? []).map((flag) => h("small", {}, sentence(flag.words))),
    told(row),
    beside(row))));
}

function cameBackItem(row, lists, go, told) {
  return h("section", { class: "back" },
    h("h3", {}, row.words),
    h("p", {}, reasons(row)),
    h("small", {}, `Saved ${dayAndClock(row.body.saved_at, lists.zone)}. It is not in the book.`),
    told(row),
    h("div", { class: "grid" },
      row.body.kind === "undo" || !(row.mend || row.body.place) ? null : button("Mend it", () => mend(row, go), { class: "main" }),
      button("I have read it", () => looked(row.sequence))));
}

function countBy(rows) {
  const counts = new Map();
  for (const { author } of rows) counts.set(author.initials || author.name, (counts.get(author.initials || author.name) ?? 0) + 1);
  return [...counts].map(([who, n]) => `${n} to ${who}`).join(", ");
}
