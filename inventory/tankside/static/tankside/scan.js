// Reads a label's code with the camera, where the browser can read codes (BarcodeDetector).
//
// Exports
//   canScan()   true where there is a camera and a reader; elsewhere the code is typed
//   scan({place, lot, other, stop})  draws the camera; calls place(code) or lot({place, lot}) for a label of this
//               site, other(text) for any other code when given, stop() when the person gives up

import { button, h, say, show } from "./dom.js";
import { known, placeOf } from "./lists.js";

const EVERY_MS = 200;

export async function canScan() {
  if (!("BarcodeDetector" in globalThis) || !navigator.mediaDevices?.getUserMedia) return false;
  const formats = await BarcodeDetector.getSupportedFormats().catch(() => []);
  return formats.includes("qr_code");
}

export async function scan({ place, lot, other, stop }) {
  const video = h("video", { playsinline: true, muted: true, class: "camera", "aria-label": "Picture of the camera" });
  const words = h("p", { class: "note", role: "alert", hidden: true });
  let stream = null;
  let looking = true;
  const end = () => {
    looking = false;
    for (const track of stream?.getTracks() ?? []) track.stop();
    removeEventListener("popstate", end);
  };
  addEventListener("popstate", end);
  show("Hold the label before the camera", video, words, button("Stop", () => { end(); stop(); }));
  const tell = (text) => {
    words.hidden = false;
    words.textContent = text;
  };
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    video.srcObject = stream;
    await video.play();
  } catch (error) {
    end();
    return tell(`The camera did not open (${error.name}). Allow it in the browser, or type the code.`);
  }
  const reader = new BarcodeDetector({ formats: ["qr_code"] });
  const look = async () => {
    if (!looking || !video.isConnected) return end();
    const found = await reader.detect(video).catch(() => []);
    if (looking && found.length && take(found[0].rawValue)) return end();
    setTimeout(look, EVERY_MS);
  };
  const take = (text) => {
    if (other?.(text)) return true;
    const code = codeIn(text);
    const lotOf = code.startsWith("lot/") && known()?.lots.find((one) => one.accession === code.slice(4));
    if (lotOf && lot) {
      lot({ place: lotOf.place, lot: lotOf.accession });
    } else if (placeOf(code) && place) {
      place(placeOf(code).code);
    } else {
      tell(`This code says “${text}”; that is no label of ours.`);
      return false;
    }
    say("Label read");
    return true;
  };
  look();
}

/** What stands behind the # of an address of this site, or the text itself. */
export function codeIn(text) {
  const at = text.indexOf("/tank/#");
  return decodeURIComponent(at === -1 ? text.trim() : text.slice(at + "/tank/#".length));
}
