// Photographs that wait to be sent with their entries. An entry never waits for its picture: they go by a queue
// of their own, each after its entry was taken, and what becomes of them changes nothing of the entry.
//
// A row: {identifier, entry, author, saved_at, state: "waiting" | "sent" | "came back" | "looked", data, words}. data is
// the JPEG as an ArrayBuffer, null once it is sent; words: why it came back.
//
// Exports
//   pictureRow(entry, author, data)  a row to be kept, with an identifier of its own
//   addPicture(row, tell)   keeps it and starts sending; throws when the device could not keep it
//   picturesOf(entry)       the rows of one entry
//   picturesBy()            all rows by the identifier of their entry
//   waitingPictures()       those not yet sent
//   picturesBack(id)        those that came back to the person of this id
//   lookedAtPicture(identifier, tell)  its author has read why it came back; it is not kept any more
//   sendPictures(tell)      sends what may go; tell() is called whenever a row changes

import { NoSignal, ask, problemOf } from "./device.js";
import { addPictureRow, alterPicture, newIdentifier, pictureRows, rows } from "./store.js";

// A photograph over a weak signal takes longer than an entry.
const LONGEST_MS = 60_000;
const LOCK = "tidetally-pictures";
const UNREADABLE = [400, 413, 415, 422];

export function pictureRow(entry, { id, name, initials }, data) {
  const saved_at = new Date().toISOString();
  return { identifier: newIdentifier(), entry, author: { id, name, initials }, saved_at, state: "waiting", data, words: "" };
}

export async function addPicture(row, tell) {
  await addPictureRow(row);
  tell();
  sendPictures(tell);
}

export const picturesOf = (entry) => pictureRows(entry);

export async function picturesBy() {
  const found = new Map();
  for (const row of await pictureRows()) found.set(row.entry, [...(found.get(row.entry) ?? []), row]);
  return found;
}

export async function waitingPictures() {
  return (await pictureRows()).filter((row) => row.state === "waiting");
}

export async function picturesBack(personId) {
  return (await pictureRows()).filter((row) => row.state === "came back" && row.author.id === personId);
}

export async function lookedAtPicture(identifier, tell) {
  await alterPicture(identifier, (row) => ({ ...row, state: "looked", data: null }));
  tell();
}

let running = null;
let again = false;

export function sendPictures(tell) {
  if (running) {
    again = true; // one was added, or its entry was taken, while the last look was under way
    return running;
  }
  running = alone(tell)
    .catch((error) => console.info("pictures:", error.message))
    .finally(() => {
      running = null;
      if (!again) return;
      again = false;
      sendPictures(tell);
    });
  return running;
}

/** One sender at a time where the browser has locks; elsewhere two send the same, and the server keeps one. */
function alone(tell) {
  return navigator.locks ? navigator.locks.request(LOCK, () => sendAll(tell)) : sendAll(tell);
}

async function sendAll(tell) {
  const tried = new Set();
  for (;;) {
    const one = await next(tried);
    if (!one) return;
    tried.add(one.identifier);
    if (!(await sendOne(one, tell))) return;
  }
}

/** The oldest that waits and whose entry was taken. */
async function next(tried) {
  const waiting = (await waitingPictures()).filter((row) => !tried.has(row.identifier));
  if (!waiting.length) return null;
  const states = new Map((await rows()).map((row) => [row.identifier, row.state]));
  return waiting.find((row) => (states.get(row.entry) ?? "sent") === "sent");
}

/** Answers whether the next one may be tried now. */
async function sendOne(one, tell) {
  let answer;
  let got;
  try {
    answer = await ask(`/api/v1/entries/${one.entry}/pictures/${one.identifier}`, {
      method: "POST",
      body: one.data,
      headers: { "Content-Type": "image/jpeg" },
      limit: LONGEST_MS,
    });
    if (answer.ok) got = await answer.json();
  } catch (error) {
    if (error instanceof NoSignal || error instanceof SyntaxError || error instanceof TypeError || error.name === "AbortError") return false;
    throw error;
  }
  if (UNREADABLE.includes(answer.status)) {
    got = { outcome: "came back", words: (await problemOf(answer)) || "The server could not read this picture." };
  }
  if (answer.status === 404) return true; // the server does not know its entry yet: it waits, others need not
  if (!got?.outcome) return false;
  await alterPicture(one.identifier, (row) => {
    if (row.state !== "waiting") return row;
    if (got.outcome === "came back") return { ...row, state: "came back", words: got.words };
    return { ...row, state: "sent", data: null };
  });
  tell();
  return true;
}
