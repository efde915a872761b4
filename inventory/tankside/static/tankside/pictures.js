// Small pictures of animals, kept on the device so that they are there without signal.
//
// Exports
//   mark(lot)           the square beside a name: its picture where one is kept, else its plain letters. Both take
//                       the same room, so that nothing jumps when a picture comes in later
//   keepPictures(lots)  brings what is missing, those used most first, and forgets what no lot has any more
//
// Only the device's token fetches them. They are bounded in size and number, and the first to go when the
// device has no room: an entry is worth more than any picture.

import { NoSignal, ask } from "./device.js";
import { h } from "./dom.js";
import { forgetAll, keep, kept, keysOf, PICTURE } from "./store.js";

const LARGEST_BYTES = 100 * 1024;
const MOST = 1_000;
// The server takes 1200 requests a minute of a device, and entries go before pictures.
const AT_ONCE = 300;
const SIDE_PX = 56;

let running = false;
// The lists that came while others were seen to.
let next = null;

export function mark(lot) {
  const url = lot.picture_url;
  const letters = h("span", { class: url ? "mark square" : "mark", "aria-hidden": "true", "data-picture": url }, lot.letters);
  if (url) kept(PICTURE + url).then((data) => data && draw(letters, data), () => {});
  return letters;
}

function draw(letters, data) {
  const image = h("img", { class: "mark square", src: data, alt: "", width: SIDE_PX, height: SIDE_PX, decoding: "sync" });
  image.addEventListener("error", () => image.replaceWith(letters));
  letters.replaceWith(image);
}

export async function keepPictures(lots) {
  next = lots;
  if (running) return;
  running = true;
  while (next) {
    const now = next;
    next = null;
    await keepThose(now);
  }
  running = false;
}

/** Never fails: without pictures the page goes on with letters. */
async function keepThose(lots) {
  try {
    const wanted = mostUsed(lots);
    const have = new Set(await keysOf(PICTURE));
    await forgetAll(PICTURE, (key) => !wanted.has(key.slice(PICTURE.length)));
    await bring([...wanted].filter((url) => !have.has(PICTURE + url)).slice(0, AT_ONCE));
  } catch (error) {
    if (error.name === "QuotaExceededError") await forgetAll(PICTURE).catch(() => {});
    else if (!(error instanceof NoSignal)) console.info("no pictures:", error.message);
  }
}

function mostUsed(lots) {
  const used = [...lots].sort((a, b) => (b.used ?? 0) - (a.used ?? 0));
  return new Set([...new Set(used.map((lot) => lot.picture_url).filter(Boolean))].slice(0, MOST));
}

async function bring(urls) {
  for (const url of urls) {
    const answer = await ask(url);
    // Gone meanwhile: the next lists no longer name it. Anything else would be answered to all of them.
    if (answer.status === 404) continue;
    if (!answer.ok) return;
    const picture = await answer.blob();
    if (picture.type !== "image/jpeg" || picture.size > LARGEST_BYTES) continue;
    const data = await asText(picture);
    await keep(PICTURE + url, data);
    for (const letters of document.querySelectorAll("span.mark[data-picture]")) {
      if (letters.dataset.picture === url) draw(letters, data);
    }
  }
}

/** As an address of its own (data:), which the page's policy allows and IndexedDB keeps everywhere. */
function asText(blob) {
  return new Promise((resolve, reject) => {
    const reader = new FileReader();
    reader.addEventListener("load", () => resolve(reader.result));
    reader.addEventListener("error", () => reject(reader.error));
    reader.readAsDataURL(blob);
  });
}
