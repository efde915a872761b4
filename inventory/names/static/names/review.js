// Keys for the page that decides one name. The page does all of this without them, by forms.
//
// 1 to 9 choose an answer, Enter decides, s skips, u undoes the last decision. Single letters can
// be switched off (WCAG 2.1.4), and never work while somebody types into a box.

const REMEMBERED = "names.keys";
const decide = document.getElementById("decide");
const keys = document.getElementById("keys");
let sent = false;

if (decide && keys) {
  const isOn = keys.querySelector("input");
  isOn.checked = localStorage.getItem(REMEMBERED) !== "off";
  isOn.addEventListener("change", () => localStorage.setItem(REMEMBERED, isOn.checked ? "on" : "off"));
  keys.hidden = false;
  document.addEventListener("keydown", (event) => {
    if (isOn.checked) pressed(event);
  });
  // One decision for one key press, however long the next page takes; anew when a page comes back.
  document.addEventListener("submit", (event) => {
    if (sent) event.preventDefault();
    sent = true;
  });
  window.addEventListener("pageshow", () => (sent = false));
  const first = decide.querySelector("input[type=radio]:checked") ?? decide.querySelector("input[type=radio]");
  if (isOn.checked) first.focus({ preventScroll: true });
}

function pressed(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || event.isComposing || sent) return;
  if (isTyping(event.target)) {
    if (event.key === "Escape") chosen()?.focus();
    return;
  }
  if (/^[1-9]$/.test(event.key)) choose(Number(event.key));
  else if (event.key === "Enter" && !event.target.closest("a, button, summary")) send(decide);
  else if (event.key === "s") send(document.getElementById("skip"));
  else if (event.key === "u") send(document.getElementById("undo"));
  else return;
  event.preventDefault();
}

function isTyping(element) {
  return element.matches("textarea, select, input:not([type=radio]):not([type=checkbox])");
}

function answers() {
  return [...decide.querySelectorAll("input[type=radio]")];
}

function chosen() {
  return answers().find((answer) => answer.checked) ?? answers()[0];
}

function choose(number) {
  const answer = answers()[number - 1];
  if (!answer) return;
  answer.checked = true;
  // Another name and keeping it want words: the box for them is the next thing needed.
  const box = { new: "new-name", keep: "why" }[answer.value];
  (box ? document.getElementById(box) : answer).focus();
}

function send(form) {
  form?.requestSubmit();
}
