// Where it was: the position of this device with its uncertainty, or typed.
//
// Exports
//   placeFields(before, changed)   {element, read}; read() gives locality, latitude, longitude, datum,
//                                  uncertainty_m, position_from, depths; throws Asked for what is no number

import { labelled } from "./boxes.js";
import { button, h, say } from "./dom.js";
import { Asked } from "./fields.js";

const LONGEST_MS = 60_000;
const DEPTH = { type: "text", inputmode: "decimal", autocomplete: "off", maxlength: "7" };

export function placeFields(before, changed) {
  const locality = h("input", { autocomplete: "off", maxlength: "200", value: before.locality ?? "" });
  const box = (value) => h("input", { type: "text", inputmode: "text", autocomplete: "off", maxlength: "14", value: value ?? "" });
  const latitude = box(before.latitude);
  const longitude = box(before.longitude);
  const uncertainty = h("input", { type: "text", inputmode: "numeric", autocomplete: "off", maxlength: "7", value: before.uncertainty_m ?? "" });
  const depths = [before.depth_from_m, before.depth_to_m].map((value) => h("input", { ...DEPTH, value: value ?? "" }));
  let from = before.position_from ?? "";
  const told = h("p", { class: "note", hidden: true, role: "status" });
  const tell = (words) => {
    told.hidden = false;
    told.textContent = words;
    say(words);
  };
  for (const one of [latitude, longitude]) one.addEventListener("input", () => { from = "typed"; });
  const here = button("Position of this device", async () => {
    here.disabled = true;
    tell("Looking for the position. Under open sky it takes up to a minute.");
    try {
      const { coords } = await position();
      latitude.value = coords.latitude.toFixed(6);
      longitude.value = coords.longitude.toFixed(6);
      uncertainty.value = String(Math.ceil(coords.accuracy));
      from = "device";
      tell(`Position of this device, within ${Math.ceil(coords.accuracy)} m (WGS84).`);
      changed();
    } catch (error) {
      tell(whyNot(error));
    }
    here.disabled = false;
  });
  return {
    element: h("fieldset", {}, h("legend", {}, "Where"),
      labelled("locality", "Place in words", locality),
      here, told,
      h("div", { class: "pair" },
        labelled("latitude", "Latitude", latitude, "Degrees, south −"),
        labelled("longitude", "Longitude", longitude, "Degrees, west −")),
      h("div", { class: "pair three" },
        labelled("uncertainty", "Within, m", uncertainty),
        labelled("depth-from", "Depth from, m", depths[0]),
        labelled("depth-to", "to, m", depths[1]))),
    read: () => read(),
    stated: () => ({
      locality: locality.value, latitude: latitude.value, longitude: longitude.value, uncertainty_m: uncertainty.value,
      position_from: from, depth_from_m: depths[0].value, depth_to_m: depths[1].value,
    }),
  };

  function read() {
    const [lat, lon] = [decimal(latitude, "The latitude"), decimal(longitude, "The longitude")];
    if ((lat === null) !== (lon === null)) throw new Asked("Give both latitude and longitude, or neither.", lat === null ? latitude : longitude);
    if (lat !== null && Math.abs(lat) > 90) throw new Asked("A latitude lies between −90 and 90. Are the two swapped?", latitude);
    if (lon !== null && Math.abs(lon) > 180) throw new Asked("A longitude lies between −180 and 180.", longitude);
    const within = decimal(uncertainty, "“Within”");
    return {
      locality: locality.value.trim(),
      latitude: lat,
      longitude: lon,
      datum: "WGS84",
      uncertainty_m: within === null ? null : Math.ceil(Math.abs(within)),
      position_from: lat === null ? "" : from || "typed",
      depth_from_m: decimal(depths[0], "The depth"),
      depth_to_m: decimal(depths[1], "The depth"),
    };
  }
}

/** A number as people write it: comma or point, a minus of any kind, N S E W after or before it. */
function decimal(box, what) {
  const text = box.value.trim().replace(",", ".").replace(/[−–]/g, "-").replace(/°/g, "");
  if (!text) return null;
  const side = /^[NSEW]|[NSEW]$/i.exec(text)?.[0].toUpperCase() ?? "";
  const number = text.replace(/[NSEW]/gi, "").trim();
  if (!/^-?\d+(\.\d+)?$/.test(number)) throw new Asked(`${what} is no number: write decimal degrees or metres, such as 57.0412.`, box);
  const value = Number(number);
  return side === "S" || side === "W" ? -Math.abs(value) : value;
}

function position() {
  return new Promise((resolve, reject) => {
    if (!navigator.geolocation) reject(new Error("none"));
    else navigator.geolocation.getCurrentPosition(resolve, reject, { enableHighAccuracy: true, timeout: LONGEST_MS, maximumAge: 0 });
  });
}

/** The codes are those of GeolocationPositionError (W3C Geolocation). */
function whyNot(error) {
  if (error.code === 1) return "This browser may not tell its position. Allow it in the browser’s settings, or type the position.";
  if (error.code === 3) return "No position within a minute. Try again under open sky, or type it.";
  return "This device does not know its position. Type it.";
}
