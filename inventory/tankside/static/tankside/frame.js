// The frame of every page of the tank side: head, badge, age of the lists, sending, idle time, new versions.
//
// Exports
//   startPage(draw)  starts it and calls draw(person, lists) once somebody is chosen, again when the person
//                    changes, and again when they come back after being left idle
//   startEmpty()     only the head and the worker, for a page that asks for nobody
//   atRest()         the page says that no entry is under way: a new version may take over now
//   busy()           an entry is under way: a new version waits

import { device, onDevice, onOthers } from "./device.js";
import { button, h, turns } from "./dom.js";
import { keepFresh, known, lists, onLists, present } from "./lists.js";
import { keepSending, onChange, pending } from "./outbox.js";
import { waitingPictures } from "./picture_outbox.js";
import { current, leave, onPerson, requirePerson } from "./person.js";
import { keepPictures } from "./pictures.js";
import { watchIdle } from "./session.js";
import { askToStay } from "./store.js";
import { ago, clock } from "./times.js";

const HALF_MINUTE_MS = 30_000;
let resting = true;
let newVersion = false;

export async function startPage(draw) {
  watchIdle();
  keepWorker();
  const again = () => drawFor(draw);
  onPerson(again);
  onDevice(() => device().then((me) => me?.state !== "enrolled" && leave()));
  // Another tab enrolled this device, or heard that it was taken off the list: what is being written here stays.
  onOthers((what) => what === "device" && (current() ? drawFrame() : again()));
  for (const watch of [onChange, onPerson, onLists]) watch(drawFrame);
  onLists(() => known() && keepPictures(known().lots));
  setInterval(drawFrame, HALF_MINUTE_MS);
  keepSending();
  keepFresh();
  await again();
  if ((await device())?.token) askToStay();
}

/** A page before anybody is chosen: only the head. */
export function startEmpty() {
  keepWorker();
  return drawFrame();
}

export function busy() {
  resting = false;
}

export function atRest() {
  resting = true;
  if (newVersion) location.reload();
}

const drawings = turns();
const frames = turns();

async function drawFor(draw) {
  const wait = drawings();
  drawFrame();
  if (!current()) atRest();
  const person = await wait(requirePerson());
  const got = await wait(lists());
  if (!got || current()?.id !== person.id) return;
  drawFrame();
  draw(person, got);
}

async function drawFrame() {
  const wait = frames();
  const [rows, pictures, me] = await wait(Promise.all([pending(), waitingPictures(), device()]));
  const [person, state] = [current(), me?.state];
  document.getElementById("bar").replaceChildren(
    person
      ? button(h("span", {}, h("strong", {}, person.initials || person.name), h("span", { class: "aside" }, ", change person")), () => leave(), { class: "who", title: `${person.name}: change person` })
      : h("span", { class: "who" }, "Nobody chosen"),
    badge(rows.length, pictures.length, state),
  );
  document.getElementById("age").replaceChildren(...ageWords(state).map((words) => h("span", {}, words)));
}

function badge(entries, pictures, state) {
  const waits = entries + pictures > 0;
  const words = entries ? `${entries} not yet sent` : pictures ? `${pictures} ${pictures === 1 ? "picture" : "pictures"} not yet sent` : "All sent";
  const stuck = waits && state && state !== "enrolled" ? " (device refused)" : "";
  return h("a", { id: "badge", class: waits ? "badge waits" : "badge", href: "/tank/#entries" }, words + stuck);
}

function ageWords(state) {
  const got = known();
  const words = [];
  if (got && state === "enrolled") {
    const age = Date.now() - Date.parse(got.fetched_at);
    words.push(`Lists of ${clock(present() - age, got.zone)}, ${ago(age) === "just now" ? "just now" : `${ago(age)} old`}. `);
  }
  if (!isSecureContext) {
    words.push("This address is plain http: entries are kept here without signal, but the page itself opens only with signal. Keep it open, or use https.");
  } else if (!navigator.serviceWorker) {
    words.push("This browser cannot keep the page itself: it opens only with signal.");
  }
  return words;
}

/** Registers the worker that keeps the page; a new version takes over when no entry is under way. */
async function keepWorker() {
  if (!navigator.serviceWorker) return;
  // The first worker of this page changes nothing that is shown; each later one is a new version.
  let controlled = Boolean(navigator.serviceWorker.controller);
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (controlled) takeNew();
    controlled = true;
  });
  const url = document.documentElement.dataset.worker;
  try {
    await navigator.serviceWorker.register(url, { scope: "/tank/", type: "module", updateViaCache: "none" });
  } catch {
    // A browser whose workers cannot import: the same worker without sending in the background.
    await navigator.serviceWorker
      .register(`${url}?classic`, { scope: "/tank/", updateViaCache: "none" })
      .catch((error) => console.info("no worker:", error.message));
  }
}

function takeNew() {
  newVersion = true;
  if (resting) location.reload();
}
