// The field for a photograph: take or choose one, see it small, take it away again.
//
// Exports
//   pictureField({had, onReady})  {element, taken()}. had: how many the entry has already. taken() answers those
//                    chosen so far, each a promise of {data} that is drawn, or of null when it was taken away or
//                    cannot be opened. onReady(picture), when given, gets each as soon as it is drawn, and then
//                    the field keeps nothing
//   MOST             pictures with one entry
//
// A photograph is drawn anew here, at most SIDE px, so that nothing of the file leaves the device: no position,
// no name, no second picture behind the first.

import { button, h, say } from "./dom.js";

export const MOST = 3;
const SIDE = 1600;
const SMALL = 160;
const QUALITY = 0.82;
const LESS_QUALITY = 0.6;
// The server takes 4 MiB.
const LARGEST_BYTES = 3.5 * 1024 * 1024;
// Before it is opened: a telephone's photograph has 3 to 15 MB.
const LARGEST_FILE_MB = 60;
const ACCEPT = "image/jpeg,image/png,image/webp";

class NoPicture extends Error {}

export function pictureField({ had = 0, onReady = null } = {}) {
  const chosen = [];
  const list = h("ul", { class: "pictures" });
  const wrong = h("p", { class: "problem", role: "alert", hidden: true });
  const tiles = h("div", { class: "grid" });
  const fits = () => {
    tiles.hidden = had + chosen.length >= MOST;
  };
  const took = (file) => {
    wrong.hidden = true;
    const one = { picture: null, item: h("li", {}, h("span", { class: "mark square", "aria-hidden": "true" }, "…")) };
    one.picture = drawAnew(file).then(
      (drawn) => shown(one, drawn),
      (error) => refused(one, error),
    );
    chosen.push(one);
    list.append(one.item);
    fits();
  };
  const shown = (one, drawn) => {
    if (!chosen.includes(one)) return null; // taken away before it was drawn
    say("The picture is added");
    if (onReady) {
      away(one);
      had += 1;
      fits();
      onReady(drawn);
      return drawn;
    }
    one.item.replaceChildren(
      h("img", { class: "mark square", src: drawn.small, alt: `Picture ${chosen.indexOf(one) + 1}`, width: 56, height: 56 }),
      button("Leave it out", () => {
        one.picture = null;
        away(one);
        say("The picture is left out");
        tiles.querySelector("input").focus();
      }),
    );
    return drawn;
  };
  const refused = (one, error) => {
    if (!(error instanceof NoPicture)) console.info("picture:", error);
    away(one);
    wrong.hidden = false;
    wrong.textContent = error instanceof NoPicture ? error.message : "This device could not draw the picture. The entry can be saved without it.";
    return null;
  };
  const away = (one) => {
    one.item.remove();
    chosen.splice(chosen.indexOf(one), 1);
    fits();
  };
  const tile = (words, props) => {
    const input = h("input", { type: "file", accept: ACCEPT, ...props });
    input.addEventListener("change", () => {
      const [file] = input.files;
      input.value = "";
      if (file) took(file);
    });
    return h("label", { class: "tile" }, input, h("span", {}, words));
  };
  // Where there is no camera to be handed over to, both would open the same window.
  const byHand = matchMedia("(pointer: coarse)").matches;
  tiles.append(...(byHand ? [tile("Take a picture", { capture: "environment" })] : []), tile(byHand ? "Choose a picture" : "Add a picture", {}));
  fits();
  const element = h("div", { class: "picture", role: "group", "aria-label": "Picture" }, list, wrong, tiles);
  return { element, taken: () => chosen.map((one) => one.picture).filter(Boolean) };
}

/** {data, small}: a JPEG as an ArrayBuffer, and a small one as an address of its own (data:). */
async function drawAnew(file) {
  if (file.size > LARGEST_FILE_MB * 1_000_000) throw new NoPicture(`This file is larger than ${LARGEST_FILE_MB} MB. Take the picture again, smaller.`);
  let opened;
  try {
    opened = await createImageBitmap(file);
  } catch {
    throw new NoPicture(unopened(file));
  }
  const whole = sheet(opened, SIDE);
  const small = sheet(opened, SMALL).toDataURL("image/jpeg", QUALITY);
  opened.close();
  let blob = await asJpeg(whole, QUALITY);
  if (blob.size > LARGEST_BYTES) blob = await asJpeg(whole, LESS_QUALITY);
  return { data: await blob.arrayBuffer(), small };
}

function unopened(file) {
  if (/hei[cf]/i.test(file.type) || /\.hei[cf]$/i.test(file.name)) {
    return "This is a HEIC file, which this browser cannot open. Use “Take a picture”, or set the camera to save JPEG and take it again. The entry can be saved without it.";
  }
  return "This file cannot be opened as a picture. Choose a JPEG, PNG or WebP. The entry can be saved without it.";
}

/** On white, for what is clear would become black. */
function sheet(opened, side) {
  const share = Math.min(1, side / Math.max(opened.width, opened.height));
  const canvas = h("canvas", { width: Math.max(1, Math.round(opened.width * share)), height: Math.max(1, Math.round(opened.height * share)) });
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#ffffff";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.imageSmoothingQuality = "high";
  pen.drawImage(opened, 0, 0, canvas.width, canvas.height);
  return canvas;
}

function asJpeg(canvas, quality) {
  return new Promise((resolve, reject) => {
    canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new NoPicture("This device has no room to draw the picture. The entry can be saved without it."))), "image/jpeg", quality);
  });
}
