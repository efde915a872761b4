// What the device needs to know for entries: people, places, what lives there. No numbers of the book.
//
// Exports
//   lists()        the lists: asked of the server first, and when it does not answer soon, the kept copy;
//                  null when this device has never had them. Fields: see GET /api/v1/tank-side; besides,
//                  fetched_at (this device's clock)
//   known()        what lists() gave last, without waiting; null before
//   refresh()      asks the server now; true when it answered
//   onLists(tell)  calls tell() when they have changed
//   keepFresh()    asks again every five minutes and on regained signal
//   present()      the present of the house in milliseconds: this device's clock, and in a demonstration, which
//                  lives on another day, the shift that the lists tell (clock_shift_seconds, zero in a house)
//   stamp()        the same as text, by the lists as they are kept now: in another tab or in the worker too
//   setting(name, otherwise)  a named setting of the house
//   placeOf(typed) the place of a code or short code, however it is typed; null when there is none

import { NoSignal, ask, device } from "./device.js";
import { change, kept } from "./store.js";

const KEY = "lists";
const SOON_MS = 1_500;
const AGAIN_MS = 5 * 60_000;
const watching = new Set();

let memory = null;
let asking = null;

export const known = () => memory;

export async function lists() {
  memory ??= (await kept(KEY)) ?? null;
  const answer = refresh();
  await (memory ? Promise.race([answer, new Promise((go) => setTimeout(go, SOON_MS))]) : answer);
  return memory;
}

export function refresh() {
  asking ??= fetchLists().finally(() => {
    asking = null;
  });
  return asking;
}

async function fetchLists() {
  if ((await device())?.state === undefined) return false;
  const before = await kept(KEY);
  try {
    const answer = await ask("/api/v1/tank-side", {
      headers: before?.etag ? { "If-None-Match": before.etag } : {},
    });
    if (answer.status === 401) {
      memory = (await kept(KEY)) ?? null;
      for (const tell of watching) tell();
      return false;
    }
    if (answer.status === 304) return renew(before);
    if (!answer.ok) return false;
    return renew({ ...(await answer.json()), etag: answer.headers.get("ETag") });
  } catch (error) {
    if (error instanceof NoSignal || error instanceof SyntaxError || error instanceof TypeError) return false;
    throw error;
  }
}

async function renew(got) {
  memory = await change(KEY, () => ({ ...got, fetched_at: new Date().toISOString() }));
  for (const tell of watching) tell();
  return true;
}

export function onLists(tell) {
  watching.add(tell);
}

export function keepFresh() {
  addEventListener("online", () => refresh());
  setInterval(() => refresh(), AGAIN_MS);
}

const presentBy = (got) => Date.now() + (got?.clock_shift_seconds ?? 0) * 1000;

export const present = () => presentBy(memory);

export async function stamp() {
  return new Date(presentBy(await kept(KEY))).toISOString();
}

export function setting(name, otherwise) {
  return memory?.settings?.[name] ?? otherwise;
}

export function placeOf(typed) {
  const wanted = typed.trim().toLowerCase();
  if (!wanted) return null;
  const places = memory?.places ?? [];
  return (
    places.find((place) => place.code.toLowerCase() === wanted) ??
    places.find((place) => place.short_code?.toLowerCase() === wanted) ??
    null
  );
}
