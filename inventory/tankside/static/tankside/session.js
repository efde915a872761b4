// Who holds the device just now. Pages use person.js; this is what stands behind it and the chooser.
//
// Exports
//   current()        {id, name, initials, pass} or null: nobody is chosen, or two idle minutes have passed
//   choose(person, code)  {ok, words, enter}: with signal the server decides, without, this device's own
//                    verifier. When it is right, enter() makes the person the one who holds the device
//   leave(why)       back to nobody; why is said on the chooser
//   whyLeft()        the reason of the last leave(), once
//   watchIdle()      counts idle time from touches and keys
//   onPerson(tell)
//   knownHere()      ids of people who were confirmed on this device, latest first

import { NoSignal, ask, problemOf } from "./device.js";
import { setting } from "./lists.js";
import { change, kept } from "./store.js";
import { canVerify, makeVerifier, matches } from "./verifier.js";

const SESSION = "tidetally-person";
const PEOPLE = "people";
const MINUTE_MS = 60_000;
const PASS_MS = 16 * 60 * MINUTE_MS;
const LOCK_MS = 15 * MINUTE_MS;
const TRIES = 5;
// Somebody whose code can be proved here does not wait long for a weak signal: three seconds for a switch.
const PATIENCE_MS = 2_000;
const watching = new Set();

let left = "";
let idle = null;

export function onPerson(tell) {
  watching.add(tell);
}

export function current() {
  const session = read();
  if (!session) return null;
  const { id, name, initials } = session;
  const pass = session.pass && Date.now() - session.pass_at < PASS_MS ? session.pass : null;
  return { id, name, initials, pass };
}

export function whyLeft() {
  const why = left;
  left = "";
  return why;
}

export function leave(why = "") {
  sessionStorage.removeItem(SESSION);
  left = why;
  for (const tell of watching) tell();
}

export async function knownHere() {
  const people = (await kept(PEOPLE)) ?? {};
  return Object.keys(people)
    .filter((id) => people[id].pass_at)
    .sort((a, b) => people[b].used_at - people[a].used_at)
    .map(Number);
}

export async function choose(person, code) {
  const mine = ((await kept(PEOPLE)) ?? {})[person.id] ?? {};
  if (mine.locked_until > Date.now()) return no(lockedWords(person, mine.locked_until));
  const asked = await askServer(person, code, mine.verifier ? PATIENCE_MS : undefined);
  return asked ?? withoutSignal(person, code, mine);
}

async function askServer(person, code, limit) {
  let answer;
  try {
    answer = await ask("/api/v1/persons/check", { method: "POST", json: { person: person.id, code }, limit });
    if (answer.ok) {
      const { pass } = await answer.json();
      const about = { pass, pass_at: Date.now(), verifier: await makeVerifier(code), wrong: 0, locked_until: 0 };
      await note(person, about);
      return right(person, about);
    }
  } catch (error) {
    if (error instanceof NoSignal || error instanceof SyntaxError || error instanceof TypeError) return null;
    throw error;
  }
  if (answer.status >= 500) return null;
  if (answer.status === 401) return no("The registrar has taken this device off the list, or does not know it. Enrol it again.");
  return no(await refusal(answer));
}

async function refusal(answer) {
  const left = (await answer.clone().json().catch(() => ({}))).tries_left;
  const words = (await problemOf(answer)) || "The code is not right.";
  return left > 0 ? `${words} ${triesWords(left)}` : words;
}

function triesWords(left) {
  return `${left} ${left === 1 ? "try" : "tries"} left.`;
}

async function withoutSignal(person, code, mine) {
  if (!mine.pass_at) {
    return no(`No signal, and ${person.name} has not used this device before. It needs a signal the first time.`);
  }
  if (mine.verifier && canVerify()) return prove(person, code, mine);
  if (Date.now() - mine.pass_at < PASS_MS) {
    // Plain http: the code cannot be proved. Entries go without a pass, and the registrar sees that.
    return right(person, { pass: null }, "No signal, and on this address a code cannot be checked without one: the registrar will be asked to confirm that it was you.");
  }
  return no("No signal. On this address a code cannot be checked without one; the last check here is more than 16 hours old.");
}

async function prove(person, code, mine) {
  if (await matches(code, mine.verifier)) {
    await note(person, { wrong: 0, locked_until: 0 });
    return right(person, mine);
  }
  const wrong = (mine.wrong ?? 0) + 1;
  const locked_until = wrong >= TRIES ? Date.now() + LOCK_MS : 0;
  await note(person, { wrong: locked_until ? 0 : wrong, locked_until });
  if (locked_until) return no(lockedWords(person, locked_until));
  return no(`The code is not right. ${triesWords(TRIES - wrong)}`);
}

function lockedWords(person, until) {
  const minutes = Math.max(1, Math.ceil((until - Date.now()) / MINUTE_MS));
  return `Too many wrong codes for ${person.name}. Locked on this device for ${minutes} more ${minutes === 1 ? "minute" : "minutes"}. Forgotten? Choose a new one under “My code” after signing in on a computer.`;
}

async function note(person, about) {
  await change(PEOPLE, (people = {}) => ({
    ...people,
    [person.id]: { ...people[person.id], ...about, used_at: Date.now() },
  }));
}

function right({ id, name, initials }, { pass = null, pass_at = 0 }, words = "") {
  const enter = () => {
    write({ id, name, initials, pass, pass_at, seen: Date.now() });
    for (const tell of watching) tell();
  };
  return { ok: true, words, enter };
}

function no(words) {
  return { ok: false, words };
}

const idleMs = () => setting("idle_seconds", 120) * 1000;

function read() {
  const text = sessionStorage.getItem(SESSION);
  if (!text) return null;
  const session = JSON.parse(text);
  return Date.now() - session.seen < idleMs() ? session : null;
}

function write(session) {
  sessionStorage.setItem(SESSION, JSON.stringify(session));
  clearTimeout(idle);
  // Each touch begins it anew, so it needs no clock of day: one that was set back would keep somebody chosen.
  idle = setTimeout(leaveIdle, idleMs());
}

function touched() {
  const session = read();
  if (session) write({ ...session, seen: Date.now() });
}

/** A device that slept has not run down its timer. */
function lookIdle() {
  if (!read()) leaveIdle();
}

function leaveIdle() {
  if (!sessionStorage.getItem(SESSION)) return;
  leave("Nobody touched this device for a while. What was saved is kept; an entry under way is not.");
}

export function watchIdle() {
  for (const name of ["pointerdown", "keydown"]) addEventListener(name, touched, { capture: true, passive: true });
  document.addEventListener("visibilitychange", lookIdle);
  if (read()) touched();
  else if (sessionStorage.getItem(SESSION)) lookIdle();
}
