// What was written on this device and waits to be sent. Any page of the tank side writes through it.
//
// Exports
//   put(path, body, words, author, more)  keeps one entry and starts sending; answers its identifier once the disk
//                   has it, and throws when the device could not keep it (store.inWords says why).
//                   path: where it is sent, e.g. "/api/v1/entries"; the server there takes
//                         {sent_at, entries: [body, ...]} and answers {answers: [{identifier, outcome, ...}]}
//                   body: the entry; identifier, person, pass and saved_at are put in here
//                   words: the entry in words, for the lists of this device
//                   author: {id, name, initials, pass} from person.current(); without one nothing is kept
//                   more: {mend, emptied, pictures}. mend: the address of the page that opens it again when it came
//                         back, without its identifier. emptied: the only fields of the body that stay on the
//                         device once it is sent, for what the next who holds the device may not see.
//                         pictures: promises of {data}, each a JPEG, or of null. Those that are not drawn yet
//                         follow by themselves: the entry is kept first, and is kept without them if it must
//   photograph(row, data)  keeps one more picture with an entry of this device
//   lookedAt(picture)      notes that its author has read why it came back
//   pending()       rows that are not yet sent, in order: {sequence, identifier, path, body, words, author,
//                   saved_at, state, answer}; saved_at is the device's own clock, body.saved_at the house's
//   all()           every row still kept: state "waiting" | "sent" | "came back"
//   cameBack(id)    rows that came back to the person of this id and were neither mended nor looked at yet
//   looked(sequence) notes that the author has read why a row came back
//   send()          sends what waits, in order; one sender at a time over all tabs and the worker.
//                   Answers "sent" | "nothing" | "busy" | "no signal" | "revoked" | "unknown" | "later"
//   sendEverything()  the same, and then the pictures whose entries were taken; for the worker
//   keepSending()   sends now, on regained signal, when the page is shown, and every minute
//   onChange(tell)  calls tell() whenever a row changes, in this tab or another

import { NoSignal, ask, device, onDevice, onOthers, problemOf, tellOthers } from "./device.js";
import { stamp } from "./lists.js";
import { addPicture, lookedAtPicture, pictureRow, picturesBy, sendPictures } from "./picture_outbox.js";
import { addRow, alterPicture, alterRows, change, newIdentifier, rows } from "./store.js";

export { newIdentifier };

const AT_ONCE = 50;
const MINUTE_MS = 60_000;
const DAYS_KEPT_MS = 7 * 24 * 60 * MINUTE_MS;
const LEASE_MS = 30_000;
const LOCK = "tidetally-outbox";
const me = newIdentifier();
const watching = new Set();

export class NoAuthorError extends Error {
  constructor() {
    super("Nobody is chosen. Choose who you are, then save again.");
    this.name = "NoAuthorError";
  }
}

export async function put(path, body, words, author, { mend = null, emptied = null, pictures = [] } = {}) {
  if (!author?.id) throw new NoAuthorError();
  const saved_at = new Date().toISOString();
  const identifier = newIdentifier();
  const { id, name, initials, pass = null } = author;
  const row = {
    identifier,
    path,
    body: { ...body, identifier, person: id, pass, saved_at: await stamp() },
    words,
    author: { id, name, initials },
    saved_at,
    state: "waiting",
    answer: null,
    mend,
    emptied,
    // How many were chosen: what is not here later was lost with the page, and that is said.
    pictures: pictures.length,
  };
  const drawn = await ready(pictures);
  await addRow(row, drawn.filter(Boolean).map(({ data }) => pictureRow(identifier, author, data))).catch((error) => {
    if (!pictures.length) throw error;
    return addRow(row); // no room for a picture may still be room for the entry
  });
  pictures.filter((_, i) => drawn[i] === undefined).forEach((one) => one.then((late) => late && addPicture(pictureRow(identifier, author, late.data), changed)).catch(() => {}));
  changed();
  askForBackground();
  send();
  return identifier;
}

/** What each promise holds now; undefined while it is under way. */
function ready(promises) {
  return Promise.all(promises.map((one) => Promise.race([one, new Promise((go) => setTimeout(go))])));
}

export async function photograph(row, data) {
  await addPicture(pictureRow(row.identifier, row.author, data), changed);
  await alterRows(row.sequence === undefined ? [] : [row.sequence], (now) => ({ ...now, pictures: (now.pictures ?? 0) + 1 }));
  changed();
}

export const lookedAt = (picture) => lookedAtPicture(picture.identifier, changed);

export const pending = () => rows("waiting");
export const all = () => rows();

export async function cameBack(personId) {
  const found = await rows();
  const mended = new Set(found.map((row) => row.body.replaces));
  return found.filter(
    (row) => row.state === "came back" && row.author.id === personId && !row.looked && !mended.has(row.identifier),
  );
}

export async function looked(sequence) {
  await alterRows([sequence], (row) => ({ ...row, looked: true }));
  changed();
}

export function onChange(tell) {
  watching.add(tell);
}

onOthers((what) => {
  if (what === "outbox") for (const tell of watching) tell();
});

function changed() {
  for (const tell of watching) tell();
  tellOthers("outbox");
}

export function keepSending() {
  addEventListener("online", () => send());
  addEventListener("pageshow", () => send());
  document.addEventListener("visibilitychange", () => document.hidden || send());
  onDevice(() => send());
  setInterval(() => send(), MINUTE_MS);
  tidy();
  return send();
}

let running = null;
let again = false;

export function send() {
  if (running) {
    again = true; // something was added while the last look at the outbox was under way
    return running;
  }
  running = alone()
    .catch((error) => {
      console.info("outbox:", error);
      return "later";
    })
    .finally(() => {
      running = null;
      if (again) {
        again = false;
        send();
      }
    });
  running.then(() => sendPictures(changed));
  return running;
}

export async function sendEverything() {
  const outcome = await send();
  await sendPictures(changed);
  return outcome;
}

async function alone() {
  if (navigator.locks) return navigator.locks.request(LOCK, () => sendAll(null));
  // Plain http has no locks: a row with an end says who sends. A tab that died holds it half a minute.
  if (!(await takeLease())) {
    setTimeout(send, LEASE_MS);
    return "busy";
  }
  try {
    return await sendAll(takeLease);
  } finally {
    await change("lease", (now) => (now?.owner === me ? null : (now ?? null)));
  }
}

async function takeLease() {
  const now = Date.now();
  const row = await change("lease", (held) =>
    held && held.owner !== me && held.until > now && held.until < now + 2 * LEASE_MS
      ? held
      : { owner: me, until: now + LEASE_MS },
  );
  return row.owner === me;
}

async function sendAll(renew) {
  let outcome = "nothing";
  let most = AT_ONCE;
  for (;;) {
    const batch = await nextBatch(most);
    if (batch.length === 0) return outcome;
    if ((await device())?.state === undefined) return "unknown";
    if (renew && !(await renew())) return "busy";
    const got = await sendBatch(batch);
    if (got === "split") most = 1;
    else if (got === "sent") outcome = "sent";
    else return got;
  }
}

/** The first rows that wait, as many as go to the same path without leaving out one between. */
async function nextBatch(most) {
  const waiting = await pending();
  const end = waiting.findIndex((row) => row.path !== waiting[0].path);
  return waiting.slice(0, end === -1 ? waiting.length : end).slice(0, most);
}

async function sendBatch(batch) {
  let answer;
  let got;
  try {
    answer = await ask(batch[0].path, {
      method: "POST",
      json: { sent_at: await stamp(), entries: batch.map((row) => row.body) },
    });
    if (answer.ok) got = await answer.json();
  } catch (error) {
    if (error instanceof NoSignal || error instanceof SyntaxError || error.name === "AbortError") return "no signal";
    if (error instanceof TypeError) return "no signal"; // the answer broke off in the middle
    throw error;
  }
  if (answer.status === 401) return (await device())?.state ?? "unknown";
  if (answer.status === 413 || answer.status === 422 || answer.status === 400) return unreadable(batch, answer);
  if (!answer.ok || !Array.isArray(got?.answers)) return "later";
  return settle(batch, got.answers);
}

/** The server could not read the envelope: one by one tells which entry it was, and the rest goes on. */
async function unreadable(batch, answer) {
  if (batch.length > 1) return "split";
  const words = (await problemOf(answer)) || "The server could not read this entry.";
  await alterRows([batch[0].sequence], (row) => ({
    ...row,
    state: "came back",
    answer: { identifier: row.identifier, outcome: "came back", problems: [{ field: "", words }], flags: [] },
  }));
  changed();
  return "sent";
}

async function settle(batch, answers) {
  const byIdentifier = new Map(answers.map((answer) => [answer.identifier.toLowerCase(), answer]));
  const answered = batch.filter((row) => byIdentifier.has(row.identifier));
  await alterRows(answered.map((row) => row.sequence), (row) => {
    if (row.state !== "waiting") return row;
    const answer = byIdentifier.get(row.identifier);
    if (answer.outcome === "came back") return { ...row, state: "came back", answer };
    return { ...row, state: "sent", answer, body: row.emptied ? only(row.body, row.emptied) : row.body };
  });
  changed();
  return answered.length ? "sent" : "later";
}

function only(body, names) {
  return Object.fromEntries(names.filter((name) => name in body).map((name) => [name, body[name]]));
}

/** Sent rows are kept a week to look at; what waits, or came back and was not read, is kept for ever. */
async function tidy() {
  const old = new Date(Date.now() - DAYS_KEPT_MS).toISOString();
  const pictures = await picturesBy();
  const picturesOf = (row) => pictures.get(row.identifier) ?? [];
  const done = (await all()).filter(
    (row) =>
      row.saved_at < old &&
      ((row.state === "sent" && picturesOf(row).every((one) => ["sent", "looked"].includes(one.state))) || (row.state === "came back" && row.looked)),
  );
  for (const one of done.flatMap(picturesOf)) await alterPicture(one.identifier, () => null);
  if (done.length) await alterRows(done.map((row) => row.sequence), () => null);
}

async function askForBackground() {
  try {
    const registration = await navigator.serviceWorker?.getRegistration?.("/tank/");
    await registration?.sync?.register("outbox");
  } catch {
    // Not every browser sends in the background, and a person may forbid it: the page sends itself.
  }
}
