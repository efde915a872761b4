// Who are you: the people of the house as big buttons, then a pad for the four digits.
//
// Exports
//   showChooser()   draws the chooser; resolves with the person once one is confirmed

import { device } from "./device.js";
import { button, h, say, show, view } from "./dom.js";
import { lists, onLists } from "./lists.js";
import { cameBack } from "./outbox.js";
import { choose, current, knownHere, whyLeft } from "./session.js";

const DIGITS = 4;
let waitingForLists = null;
let leavePad = () => {};

onLists(() => waitingForLists?.());

export function showChooser() {
  return new Promise((resolve) => showPeople(resolve));
}

async function showPeople(resolve) {
  leavePad();
  const wait = view();
  const [me, got] = await wait(Promise.all([device(), lists()]));
  if (!me?.token) return showNotEnrolled(resolve);
  if (me.state !== "enrolled") return showRefused(me);
  if (!got) return showNoLists(resolve);
  waitingForLists = null;
  const known = await wait(knownHere());
  const here = known.map((id) => got.persons.find((person) => person.id === id)).filter(Boolean);
  const others = got.persons.filter((person) => !here.includes(person));
  const [already, strangers] = await wait(Promise.all([here, others].map((some) => people(some, resolve))));
  const why = whyLeft();
  show(
    "Who are you?",
    why && h("p", { class: "note" }, why),
    here.length ? already : null,
    here.length && others.length ? h("h2", {}, "Not yet on this device") : null,
    others.length ? strangers : null,
    got.persons.length ? null : h("p", { class: "note" }, "Nobody has a code yet. Each person makes one under “My code” after signing in on a computer."),
  );
}

async function people(some, resolve) {
  const items = [];
  for (const person of some) {
    const back = (await cameBack(person.id)).length;
    items.push(h("li", {}, h("button", { type: "button", class: "person", on: { click: () => showPad(person, resolve) } },
      h("strong", {}, person.initials || person.name.slice(0, 2)),
      h("span", {}, person.name),
      back ? h("span", { class: "flag" }, `${back} came back`) : null,
    )));
  }
  return h("ul", { class: "grid" }, items);
}

function showPad(person, resolve) {
  let typed = "";
  let busy = false;
  const dots = h("p", { class: "dots" });
  const words = h("p", { class: "note", hidden: true, role: "alert" });
  const draw = () => {
    dots.replaceChildren(
      h("span", { "aria-hidden": "true" }, "●".repeat(typed.length) + "○".repeat(DIGITS - typed.length)),
      h("span", { class: "aside" }, `${typed.length} of ${DIGITS} digits`),
    );
  };
  const take = async (digit) => {
    if (busy || typed.length >= DIGITS) return;
    typed += digit;
    words.hidden = true;
    draw();
    if (typed.length < DIGITS) return;
    busy = true;
    say("Checking the code");
    // Who has left the pad meanwhile does not get the device any more: somebody else may hold it.
    const answer = await wait(choose(person, typed));
    typed = "";
    busy = false;
    if (answer.ok) {
      stop();
      if (answer.words) say(answer.words);
      answer.enter();
      resolve(current());
      return;
    }
    words.textContent = answer.words;
    words.hidden = false;
    words.scrollIntoView({ block: "nearest" });
    draw();
  };
  const back = () => {
    if (busy) return;
    typed = typed.slice(0, -1);
    draw();
  };
  const keys = (event) => {
    if (/^\d$/.test(event.key)) take(event.key);
    else if (event.key === "Backspace") back();
  };
  const stop = () => removeEventListener("keydown", keys);
  leavePad();
  leavePad = stop;
  addEventListener("keydown", keys);
  const digits = [1, 2, 3, 4, 5, 6, 7, 8, 9].map((n) => button(String(n), () => take(String(n))));
  draw();
  const wait = show(
    person.name,
    h("p", { class: "lead" }, "Your code of four digits"),
    dots,
    // Below the pad: above it they would push the digits away from under the finger that types them again.
    h("div", { class: "pad" }, digits,
      button("Other person", () => { stop(); showPeople(resolve); }, { class: "small" }),
      button("0", () => take("0")),
      button("Delete", back, { class: "small" })),
    words,
  );
}

function showNotEnrolled(resolve) {
  waitingForLists = () => showPeople(resolve);
  show(
    "This device is not enrolled",
    h("p", {}, "A registrar adds it under “Devices” and gives a code that is good for 15 minutes."),
    h("p", {}, h("a", { class: "button main", href: "/tank/enrol" }, "Enrol this device")),
  );
}

function showRefused(me) {
  const revoked = me.state === "revoked";
  show(
    revoked ? "This device was taken off the list" : "The server does not know this device",
    h("p", { class: "note" }, revoked
      ? `A registrar revoked ${me.name}. Its lists are gone from here.`
      : `The server no longer knows ${me.name}.`),
    h("p", {}, "What waits to be sent is kept here, and goes when the device is enrolled again. Do not clear this browser’s data."),
    h("p", {}, h("a", { class: "button main", href: "/tank/enrol" }, "Enrol it again")),
  );
}

function showNoLists(resolve) {
  waitingForLists = () => showPeople(resolve);
  show(
    "No lists on this device yet",
    h("p", { class: "note" }, "The first time it needs a signal: the names of people, tanks and animals come from the server. After that it works without."),
    button("Try again", () => showPeople(resolve), { class: "main" }),
  );
}
