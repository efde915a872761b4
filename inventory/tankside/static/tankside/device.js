// Who this device is, and how it asks the server.
//
// Exports
//   device()          {id, name, token, state} or null; state: "enrolled" | "revoked" | "unknown"
//   enrol(code)       exchanges a one-time code for a token; answers {ok, words}
//   ask(path, options) fetch with the device's token; throws NoSignal when no answer came in options.limit
//                     milliseconds. options.json is sent as JSON, options.body as it is. A 401 is noted: the device's state becomes "revoked" or "unknown".
//   NoSignal          the error of an answer that did not come
//   onDevice(tell)    calls tell() when the state changes
//   tellOthers() / onOthers(tell)   between the tabs and the worker of this device

import { PICTURE, change, forget, forgetAll, keep, kept } from "./store.js";

const LONGEST_MS = 20_000;
const KEY = "device";
const PASSES_OF_A_REVOKED_DEVICE = ["lists", "people"];

export class NoSignal extends Error {
  constructor(cause) {
    super("no answer from the server");
    this.name = "NoSignal";
    this.cause = cause;
  }
}

const watching = new Set();
const channel = typeof BroadcastChannel === "undefined" ? null : new BroadcastChannel("tidetally-tank-side");

export function onOthers(tell) {
  channel?.addEventListener("message", (event) => tell(event.data));
}

export function tellOthers(what) {
  channel?.postMessage(what);
}

export function onDevice(tell) {
  watching.add(tell);
}

export async function device() {
  return (await kept(KEY)) ?? null;
}

export async function enrol(code) {
  let answer;
  try {
    answer = await timed("/api/v1/devices/enrol", { method: "POST", json: { code } });
  } catch {
    return { ok: false, words: "No answer from the server. Enrolling needs a signal: go where there is one and try again." };
  }
  if (!answer.ok) {
    return { ok: false, words: (await problemOf(answer)) || "The server did not take this code. Ask the registrar for a new one: a code is good for 15 minutes and for one device." };
  }
  const got = await answer.json();
  await keep(KEY, { ...got.device, token: got.token, state: "enrolled" });
  tellOthers("device");
  return { ok: true, words: `This device is ${got.device.name}.` };
}

export async function ask(path, options = {}) {
  const me = await device();
  if (!me?.token) throw new NoSignal("not enrolled");
  const answer = await timed(path, { ...options, token: me.token });
  if (answer.status === 401) await refused(me.token, await answer.clone().text());
  else if (answer.ok && me.state !== "enrolled") await setState(me.token, "enrolled");
  return answer;
}

/** The sentence in an answer that was not a good one; empty when it holds none. */
export async function problemOf(answer) {
  try {
    const body = await answer.json();
    for (const key of ["words", "detail", "message"]) {
      if (typeof body[key] === "string") return body[key];
      if (typeof body[key]?.words === "string") return body[key].words;
    }
  } catch {
    // An answer of a machine between us and the server: no sentence of ours in it.
  }
  return "";
}

async function timed(path, { token, json, headers = {}, limit = LONGEST_MS, ...options }) {
  const stop = new AbortController();
  const clock = setTimeout(() => stop.abort(), limit);
  try {
    return await fetch(path, {
      ...options,
      headers: {
        ...headers,
        ...(token ? { Authorization: `Bearer ${token}` } : {}),
        ...(json === undefined ? {} : { "Content-Type": "application/json" }),
      },
      ...(json === undefined ? {} : { body: JSON.stringify(json) }),
      credentials: "omit",
      cache: "no-store",
      signal: stop.signal,
    });
  } catch (error) {
    throw new NoSignal(error);
  } finally {
    clearTimeout(clock);
  }
}

async function refused(token, said) {
  const revoked = /revoked/i.test(said);
  await setState(token, revoked ? "revoked" : "unknown");
  // What could be read on a lost tablet goes; what waits to be sent stays.
  if (!revoked) return;
  for (const key of PASSES_OF_A_REVOKED_DEVICE) await forget(key);
  await forgetAll(PICTURE);
}

async function setState(token, state) {
  let changed = false;
  await change(KEY, (now) => {
    if (now?.token !== token || now.state === state) return now;
    changed = true;
    return { ...now, state };
  });
  if (!changed) return;
  tellOthers("device");
  for (const tell of watching) tell();
}
