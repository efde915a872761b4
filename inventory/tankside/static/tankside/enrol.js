// Enrols this device with a code that a registrar made for it.

import { device, enrol } from "./device.js";
import { button, h, show } from "./dom.js";
import { startEmpty } from "./frame.js";
import { pending } from "./outbox.js";
import { canScan, scan } from "./scan.js";
import { askToStay } from "./store.js";

const waiting = await pending();
const me = await device();
await startEmpty();
// A scanned code opens this page with the code behind the #, also when it is open already.
const withCamera = await canScan();
const codeBehind = () => decodeURIComponent(location.hash.slice(1));
addEventListener("hashchange", () => codeBehind() && draw(codeBehind(), withCamera));
draw(codeBehind(), withCamera);

function draw(code, camera) {
  const input = h("input", { id: "code", autocomplete: "off", autocapitalize: "none", spellcheck: "false", value: code });
  const words = h("p", { class: "problem", role: "alert", hidden: true });
  const go = h("button", { class: "main" }, "Enrol this device");
  const submit = async (event) => {
    event.preventDefault();
    words.hidden = true;
    if (!input.value.trim()) return refuse("Type the four words of the code, or scan it.");
    go.disabled = true;
    const answer = await enrol(input.value.trim());
    go.disabled = false;
    if (answer.ok) {
      await askToStay();
      return showDone(answer.words);
    }
    refuse(answer.words);
  };
  const refuse = (said) => {
    words.textContent = said;
    words.hidden = false;
    input.focus();
  };
  show(
    "Enrol this device",
    me?.state === "enrolled" ? h("p", { class: "note" }, `This device is enrolled as ${me.name}. Another code makes it another device.`) : null,
    waiting.length ? h("p", { class: "note" }, `${waiting.length} ${waiting.length === 1 ? "entry waits" : "entries wait"} here and will be sent after enrolling.`) : null,
    h("p", {}, "A registrar makes the code on a computer, under “Devices”."),
    camera ? button("Scan the code", () => scan({ other: scanned, stop: () => draw("", true) })) : null,
    h("form", { on: { submit } }, h("div", { class: "field" }, h("label", { for: "code" }, "Code in words"), input), words, go),
    h("p", {}, h("a", { class: "button", href: "/tank/" }, "Back")),
  );
}

function scanned(text) {
  const code = text.includes("#") ? decodeURIComponent(text.slice(text.indexOf("#") + 1)) : text;
  draw(code, true);
  return true;
}

function showDone(words) {
  history.replaceState(null, "", "/tank/enrol");
  show("Enrolled", h("p", { class: "big sent" }, h("span", { "aria-hidden": "true" }, "✓"), ` ${words}`), h("a", { class: "button main", href: "/tank/" }, "To the tanks"));
}
