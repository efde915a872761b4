// The confirmation in words, its way to the server, and undo.

import { button, h, say, show, view } from "./dom.js";
import { setting } from "./lists.js";
import { all, lookedAt, photograph, put } from "./outbox.js";
import { current } from "./person.js";
import { pictureField } from "./picture_field.js";
import { picturesOf } from "./picture_outbox.js";
import { inWords as troubleWords } from "./store.js";
import { reasons, sentence } from "./details.js";

const MINUTE_MS = 60_000;
let shown = null;

export async function showSaved({ identifier, place, person, go, again }) {
  const wait = view();
  const rows = await wait(all());
  const row = rows.find((one) => one.identifier === identifier);
  if (!row) return go(place ? "tank" : "tanks", { place: place?.code });
  const undo = rows.find((one) => one.body.undoes === identifier);
  const state = stateOf(row, undo);
  const pictures = await wait(picturesOf(identifier));
  const key = `${identifier} ${row.state} ${undo?.state} ${pictures.map((one) => one.state)}`;
  if (again && shown === key) return;
  shown = key;
  const told = [
    h("p", { class: `big ${state.sign}` }, h("span", { "aria-hidden": "true" }, state.mark), ` ${state.words}`),
    row.answer?.alarm ? h("p", { class: "warn" }, `Alarm: ${row.answer.alarm}. The curator and the veterinarian see it now.`) : null,
    (row.answer?.flags ?? []).length ? h("ul", { class: "notes" }, row.answer.flags.map((flag) => h("li", {}, sentence(flag.words)))) : null,
    afterwards(row, undo, person),
    row.state === "came back" ? h("p", { class: "note" }, reasons(row)) : null,
    row.state === "came back" ? button("Mend it", () => mend(row, go), { class: "main" }) : null,
    picturesTold(row, pictures, person),
  ].flat().filter(Boolean);
  const title = row.answer?.words || row.words;
  const standing = document.getElementById("told");
  if (again && standing?.dataset.identifier === identifier) {
    // The ways on stay where they are: a button that is drawn anew or moves under a finger does not feel it.
    standing.style.minHeight = `${standing.offsetHeight}px`;
    standing.replaceChildren(...told);
    document.querySelector("h1").textContent = title;
    if (!canUndo(row, undo, person)) document.getElementById("undo")?.remove();
    return say(state.words);
  }
  show(
    title,
    h("div", { id: "told", "data-identifier": identifier }, told),
    place ? button(`Another animal in ${place.name}`, () => go("tank", { place: place.code }), { class: "main" }) : null,
    h("div", { class: "grid" },
      button("Other tank", () => go("tanks")),
      canUndo(row, undo, person) ? undoButton(row, { id: "undo" }) : null),
    mayBePictured(row, person) ? pictureField({ had: pictures.length, onReady: (picture) => add(row, picture) }).element : null,
  );
  if (again) say(state.words);
}

/** Whom to ask once it cannot be undone here any more, and by which number they find it. */
export function afterwards(row, undo, person) {
  const event = row.answer?.event;
  if (row.state !== "sent" || undo || !event || row.body.kind === "undo" || canUndo(row, undo, person)) return null;
  return h("small", {}, `Event ${event}. Was it wrong? The registrar takes it back: tell them this number.`);
}

/** What becomes of the pictures of an entry, in words: those here, and those that were lost with their page. */
export function picturesTold(row, pictures, person) {
  const of = (state) => pictures.filter((one) => one.state === state);
  const [waiting, sent, lost] = [of("waiting").length, of("sent").length, Math.max(0, (row.pictures ?? 0) - pictures.length)];
  return [
    sent ? h("small", {}, `${many(sent)} sent.`) : null,
    waiting ? h("small", {}, `${many(waiting)} kept here, not yet sent: the entry does not wait for it.`) : null,
    lost ? h("small", { class: "lost" }, `${many(lost)} not kept: no room on this device, or the page was closed before it was drawn.`) : null,
    ...of("came back").map((one) => h("p", { class: "note" }, `A picture came back. ${sentence(one.words)} `, one.author.id === person.id ? button("I have read it", () => lookedAt(one)) : null)),
  ].filter(Boolean);
}

const many = (n) => `${n} ${n === 1 ? "picture" : "pictures"}`;

function mayBePictured(row, person) {
  return !["undo", "reading", "slip"].includes(row.body.kind) && !row.mend && row.author.id === person.id && row.state !== "came back";
}

async function add(row, picture) {
  try {
    await photograph(row, picture.data);
  } catch (error) {
    say(troubleWords(error));
  }
}

export function stateOf(row, undo) {
  if (undo && undo.state === "sent") return { sign: "undone", mark: "↩", words: "Undone. Both lines stay in the history." };
  if (undo && undo.state === "waiting") return { sign: "waits", mark: "↩", words: undoWaits(row) };
  if (row.state === "sent") return { sign: "sent", mark: "✓", words: "Saved and sent." };
  if (row.state === "came back") return { sign: "back", mark: "!", words: "It came back. It is not in the book." };
  return { sign: "waits", mark: "✓", words: "Saved on this device. Not yet sent: it goes by itself when there is signal." };
}

// Who looks at the book meanwhile finds the entry there, when it was sent before it was undone.
function undoWaits(row) {
  const waits = row.state === "sent" ? "The entry was sent before, this is not yet sent." : "Both are not yet sent.";
  return `Undone on this device. ${waits}`;
}

export function canUndo(row, undo, person) {
  const mayBe = row.state === "waiting" || (row.state === "sent" && row.answer.undo_until);
  return mayBe && !undo && !row.mend && !["undo", "reading"].includes(row.body.kind) && row.author.id === person.id && minutesLeft(row) > 0;
}

function minutesLeft(row) {
  // By the device's own clock on both sides, for the server's may be another.
  const until = Date.parse(row.saved_at) + setting("undo_minutes", 10) * MINUTE_MS;
  return Math.ceil((until - Date.now()) / MINUTE_MS);
}

export function undoButton(row, props = {}) {
  const undo = button(`Undo (${minutesLeft(row)} min left)`, async () => {
    undo.disabled = true;
    const { place, lot, open_name } = row.body;
    try {
      await put(row.path, { kind: "undo", undoes: row.identifier, place, lot, open_name }, `Undone: ${row.words}`, current());
      say("Undone");
    } catch (error) {
      undo.disabled = false;
      undo.textContent = troubleWords(error);
    }
  }, props);
  return undo;
}

/** Opens the entry again with what it said; it is sent under an identifier of its own and names the old one. */
export function mend(row, go) {
  if (row.mend) return location.assign(row.mend + row.identifier);
  if (row.body.kind === "reading") return location.assign(`/tank/readings#mend/${row.identifier}`);
  const { kind, place, lot, open_name, numbers } = row.body;
  const n = numbers.males + numbers.females + numbers.hermaphrodites + numbers.unknown;
  go("details", { place, lot, open: open_name, kind: row.body.unlisted ? "unlisted" : kind, n: n || row.body.dead_on_arrival || 1, replaces: row.identifier });
}
